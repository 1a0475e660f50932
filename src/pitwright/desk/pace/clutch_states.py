"""Which heats ran on the same clutch: by spring, recess, shoe set, build or bite speed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from pitwright.desk.clutch.model import UnknownClutchError, clutch_model, why
from pitwright.desk.clutch.observed import Observed, observed
from pitwright.desk.clutch.readings import reading_u
from pitwright.desk.pace.pace import PaceHeat
from pitwright.desk.wording import day_time, mm, part_label
from pitwright.mechanics.bite import bite_slopes
from pitwright.mechanics.clutch import bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.places import PartPlace
from pitwright.weekend.weekend import Weekend

__all__ = ["BY_WORDS", "GROUPINGS", "By", "ClutchState", "Grouped", "bands", "grouped", "named"]

By = Literal["spring", "recess", "shoes", "build", "bite"]
GROUPINGS: tuple[By, ...] = get_args(By)
BY_WORDS: Mapping[By, str] = {
    "spring": "spring",
    "recess": "nut recess",
    "shoes": "shoe set",
    "build": "build",
    "bite": "bite speed",
}

_RPM = 30 / math.pi
_APART = 2.0 * math.sqrt(2.0)
"""Two readings of one thing differ by less than this many u in nineteen cases of twenty."""


class _NotKnownError(Exception):
    """Nobody recorded what the heat is grouped by; the message says what."""


@dataclass(frozen=True)
class ClutchState:
    """Heats that ran on the same clutch. ``key`` is a part, a record or a middle value."""

    key: str
    label: str
    heats: tuple[str, ...]


@dataclass(frozen=True)
class Grouped:
    """Heats grouped: ``state_of`` and ``setting_of`` go by record; settings in mm or rpm.

    ``unknown`` names the heats that cannot be placed, with the reason; ``note`` says how near
    counted as the same.
    """

    by: By
    states: tuple[ClutchState, ...]
    state_of: Mapping[str, str]
    setting_of: Mapping[str, float]
    unknown: tuple[tuple[str, str], ...]
    note: str = ""


def grouped(weekend: Weekend, heats: Sequence[PaceHeat], by: By) -> Grouped:
    """Group heats by what they ran on: in the order they first ran, bands from low to high."""
    if by in ("recess", "bite"):
        return _by_value(weekend, heats, by)
    several = len({h.on.run.clutch for h in heats}) > 1
    placed: dict[str, tuple[str, str]] = {}
    unknown: list[tuple[str, str]] = []
    for heat in heats:
        try:
            key, label = _build(weekend, heat) if by == "build" else _part(heat, by)
        except _NotKnownError as error:
            unknown.append((heat.name, str(error)))
            continue
        if several:
            key, label = f"{heat.on.run.clutch}/{key}", f"{label} in clutch {heat.on.run.clutch}"
        placed[heat.record] = (key, label)
    return _grouped(by, heats, placed, {}, unknown)


def _part(heat: PaceHeat, by: By) -> tuple[str, str]:
    place: PartPlace = "shoes" if by == "shoes" else "spring"
    part = heat.on.state.fitted(place)
    if part is None:
        raise _NotKnownError(f"no {BY_WORDS[by]} noted")
    return part.part, part_label(part.label, part.part)


def _build(weekend: Weekend, heat: PaceHeat) -> tuple[str, str]:
    build = heat.on.state.build
    if build is None:
        raise _NotKnownError("no build noted before it")
    return build.id, f"{build.route} {day_time(build.finished_at, weekend.event.zone)}"


def _by_value(weekend: Weekend, heats: Sequence[PaceHeat], by: By) -> Grouped:
    """Bands of recess or bite speed, no wider than two readings of one clutch can differ."""
    scales: dict[str, Observed] = {}
    values: dict[str, float] = {}
    us: dict[str, list[float]] = {}
    unknown: list[tuple[str, str]] = []
    for heat in heats:
        clutch = heat.on.run.clutch
        try:
            if by == "recess":
                value, u = _recess(weekend, heat), reading_u(weekend.card(clutch), "recess") * 1e3
            else:
                if clutch not in scales:
                    scales[clutch] = observed(weekend, weekend.card(clutch))
                value, u = _bite(weekend, heat, scales[clutch])
        except _NotKnownError as error:
            unknown.append((heat.name, str(error)))
            continue
        values[heat.record] = value
        us.setdefault(clutch, []).append(u)
    placed: dict[str, tuple[str, str]] = {}
    widths = []
    for clutch, clutch_us in us.items():
        mine = {h.record: values[h.record] for h in heats if _is_in(h, clutch, values)}
        width = _APART * math.sqrt(sum(u * u for u in clutch_us) / len(clutch_us))
        widths.append(width)
        for band in bands(sorted(set(mine.values())), width):
            label = _band_label(by, band) + (f" in clutch {clutch}" if len(us) > 1 else "")
            for record, value in mine.items():
                if value in band:
                    placed[record] = (f"{clutch}/{sum(band) / len(band):.4f}", label)
    return _grouped(by, heats, placed, values, unknown, _width_note(by, widths))


def _is_in(heat: PaceHeat, clutch: str, values: Mapping[str, float]) -> bool:
    return heat.record in values and heat.on.run.clutch == clutch


def _recess(weekend: Weekend, heat: PaceHeat) -> float:
    recess = heat.on.state.recess
    if recess is None:
        raise _NotKnownError("no recess noted")
    if recess.overtaken:
        raise _NotKnownError("recess doubtful: a part was fitted since it was read")
    return round(recess.value_mm, 4)


def _bite(weekend: Weekend, heat: PaceHeat, scales: Observed) -> tuple[float, float]:
    """Bite speed and the standard uncertainty it has from this clutch's own readings [rpm]."""
    _recess(weekend, heat)
    try:
        model = clutch_model(weekend, heat.on.state)
        speed = bite_speed(scales.applied_to(model.clutch))
        slopes = bite_slopes(model.clutch)
    except UnknownClutchError as error:
        raise _NotKnownError(str(error)) from error
    except RangeError as error:
        raise _NotKnownError(why(error)) from error
    return round(speed * _RPM, 1), model.own_effect(slopes) * _RPM


def bands(values: Sequence[float], width: float) -> list[tuple[float, ...]]:
    """Join sorted values to bands no wider than ``width``, the nearest neighbours first.

    >>> bands([1.30, 1.34, 1.36], 0.05)
    [(1.3,), (1.34, 1.36)]
    """
    found: list[tuple[float, ...]] = [(value,) for value in values]
    while len(found) > 1:
        spans = [found[i + 1][-1] - found[i][0] for i in range(len(found) - 1)]
        at = min(range(len(spans)), key=spans.__getitem__)
        if spans[at] > width + 1e-9:
            break
        found[at : at + 2] = [found[at] + found[at + 1]]
    return found


def _band_label(by: By, band: tuple[float, ...]) -> str:
    if by == "recess":
        ends = list(dict.fromkeys(f"{value:.2f}" for value in (band[0], band[-1])))
        return f"recess {' to '.join(ends)} mm"
    low, high = (round(value, -1) for value in (band[0], band[-1]))
    ends = list(dict.fromkeys(f"{value:,.0f}".replace(",", " ") for value in (low, high)))
    return f"bite {' to '.join(ends)} rpm"


def _width_note(by: By, widths: Sequence[float]) -> str:
    if not widths:
        return ""
    width = max(widths)
    if by == "recess":
        return f"Recesses within {mm(width)} count as one: two readings cannot tell them apart."
    return f"Bites within {round(width, -1):.0f} rpm count as one: the readings cannot tell them."


def _grouped(
    by: By,
    heats: Sequence[PaceHeat],
    placed: Mapping[str, tuple[str, str]],
    values: Mapping[str, float],
    unknown: Iterable[tuple[str, str]],
    note: str = "",
) -> Grouped:
    labels = _unique(dict(placed.values()))
    states = tuple(
        ClutchState(
            key,
            label,
            tuple(h.name for h in heats if h.record in placed and placed[h.record][0] == key),
        )
        for key, label in labels.items()
    )
    return Grouped(
        by,
        states,
        {record: labels[key] for record, (key, _label) in placed.items()},
        values,
        tuple(unknown),
        note,
    )


def _unique(labels: Mapping[str, str]) -> dict[str, str]:
    """Tell states of one label apart; the sentences name them by it."""
    found: dict[str, str] = {}
    for key, label in labels.items():
        same = sum(1 for other in labels.values() if other == label)
        name = f"{label} ({key})" if same > 1 else label
        while name in found.values():
            name += " again"
        found[key] = name
    return found


def named(found: Grouped, text: str) -> ClutchState | None:
    """Return the state a user means: by its label, its short name, or a number in its band."""
    wanted = " ".join(text.casefold().split())
    tests: tuple[Callable[[ClutchState], bool], ...] = (
        lambda s: wanted in (s.label.casefold(), s.key.casefold()),
        lambda s: s.label.casefold().endswith(f" {wanted}"),
    )
    for test in tests:
        fits = [state for state in found.states if test(state)]
        if len(fits) == 1:
            return fits[0]
    return _by_number(found, wanted)


def _by_number(found: Grouped, wanted: str) -> ClutchState | None:
    try:
        value = float(wanted.removesuffix("mm").removesuffix("rpm").replace(",", ".").strip())
    except ValueError:
        return None
    if not found.setting_of:
        return None
    near = 0.005 if found.by == "recess" else 5.0  # half of the last digit shown
    ranges: dict[str, list[float]] = {}
    for record, setting in found.setting_of.items():
        ranges.setdefault(found.state_of[record], []).append(setting)
    fits = [
        s
        for s in found.states
        if min(ranges[s.label]) - near <= value <= max(ranges[s.label]) + near
    ]
    return fits[0] if len(fits) == 1 else None
