"""What the Bite screen asks for: what was seen, its speed, and the air."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from pitwright.app.widgets.dialogs import Choice, Field, FormDialog, Pick
from pitwright.desk.bite.form import air_trouble, observed_trouble
from pitwright.desk.cautions import CREEP_CAUTION
from pitwright.desk.clutch.air import AirRead

__all__ = ["air_form", "observed_form", "what_was_seen"]

_SEEN = (
    ("creep tachometer", "Creep, on the tachometer", "the wheels just begin to turn"),
    ("creep by ear", "Creep, by ear", ""),
    ("creep recording", "Creep, from a recording", ""),
    ("plateau tachometer", "Take-up, on the tachometer", "the steady speed while it slips"),
    ("plateau by ear", "Take-up, by ear", ""),
    ("plateau recording", "Take-up, from a recording", ""),
    ("bell", "The bell's temperature, by the gun", "soon after a heat, never by hand"),
)


def what_was_seen() -> Pick:
    """Ask what was seen and how; the answer is how and source, with a blank between."""
    choices = [Choice(*each) for each in _SEEN]
    return Pick("What did you see?", choices, caution=CREEP_CAUTION)


def observed_form(
    how: str,
    heats: Sequence[str],
    kept: Mapping[str, str],
    *,
    on_typed: Callable[[dict[str, str]], None],
) -> FormDialog:
    """Ask for the speed seen, how sure it is and in which heat; ``kept`` is an earlier draft."""
    last = heats[-1] if how == "plateau" and heats else ""
    return FormDialog(
        "The engine speed seen",
        [
            Field("rpm", "Speed, rpm", kept.get("rpm", "")),
            Field("u_rpm", "Sure to about ±, rpm", kept.get("u_rpm", ""), "if known"),
            Field("heat", "In heat", kept.get("heat", last), "empty: on the clutch as it is now"),
        ],
        check=lambda typed: observed_trouble(typed, heats),
        on_typed=on_typed,
        caution="" if how == "plateau" else CREEP_CAUTION,
    )


def air_form(air: AirRead | None) -> FormDialog:
    """Ask for the air, with the air read last filled in."""

    def shown(value: float | None) -> str:
        return "" if value is None else f"{value:g}"

    return FormDialog(
        "The air today; leave the temperature empty for the engine's reference air",
        [
            Field("air_c", "Temperature, °C", shown(air.air_c if air else None)),
            Field(
                "pressure_hpa",
                "Pressure here, hPa",
                shown(air.pressure_hpa if air else None),
                "at the track, not at sea level",
            ),
            Field("humidity_percent", "Humidity, %", shown(air.humidity_percent if air else None)),
        ],
        check=air_trouble,
        draft="air",
    )
