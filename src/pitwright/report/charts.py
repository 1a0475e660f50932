"""The sheet's pictures as SVG, told apart by marks and line styles so that grey print will do."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

from pitwright.desk.sheet.day_sheet import DaySheet
from pitwright.desk.wear.part_forecast import PartForecast
from pitwright.report.document import clean

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["HOW_TO_GET_PICTURES", "charts"]

HOW_TO_GET_PICTURES: Final = (
    "The pictures are left out: they need matplotlib, which pip install 'pitwright[report]' brings."
)

_MARKS: Final = ("o", "s", "^", "D", "v", "P", "X", "*")
_STYLES: Final = ("-", "--", "-.", ":")
_GREYS: Final = ("#000000", "#4a4a4a", "#7a7a7a")
_WIDTH_IN, _HEIGHT_IN = 6.8, 2.7
_MOST_LABELS: Final = 24
_MOST_SIGNS: Final = 26


def charts(sheet: DaySheet) -> dict[str, bytes] | None:
    """Return each of the sheet's pictures as SVG by its name, None without matplotlib.

    The same sheet gives the same bytes.
    """
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure
    except ImportError:
        return None
    # User text is never read as mathematics between dollar signs.
    settings: Any = {  # one name typed for every release of the library
        "svg.hashsalt": "pitwright",
        "svg.fonttype": "path",
        "text.parse_math": False,
        "font.family": ["DejaVu Sans"],
        "font.size": 8.5,
        "axes.spines.top": False,
        "axes.spines.right": False,
    }
    found: dict[str, bytes] = {}
    for name, draw in _drawings(sheet):
        with mpl.rc_context(settings):
            figure = Figure(figsize=(_WIDTH_IN, _HEIGHT_IN), layout="constrained")
            draw(figure.add_subplot())
            kept = io.BytesIO()
            figure.savefig(kept, format="svg", metadata={"Date": None, "Creator": None})
            found[name] = kept.getvalue()
    return found


def _drawings(sheet: DaySheet) -> Iterable[tuple[str, Callable[[Axes], None]]]:
    if sheet.timed:
        yield "laps", lambda axes: _laps(axes, sheet)
    if any(h.bite.rpm is not None for h in sheet.heats):
        yield "bite", lambda axes: _bite(axes, sheet)
    labels = dict(sheet.wear_labels)
    for quantity in dict.fromkeys(found.quantity for found in sheet.wear):
        of_kind = [found for found in sheet.wear if found.quantity == quantity]
        yield f"wear:{quantity}", _wear_drawing(of_kind, labels.get(quantity, quantity))


def _wear_drawing(of_kind: Sequence[PartForecast], label: str) -> Callable[[Axes], None]:
    return lambda axes: _wear(axes, of_kind, label)


def _heat_axis(axes: Axes, names: Sequence[str]) -> None:
    step = -(-len(names) // _MOST_LABELS)
    places = range(0, len(names), step)
    axes.set_xticks(list(places), [_short(names[n]) for n in places])
    if len(names) > 12 or any(len(name) > 5 for name in names):
        axes.tick_params(axis="x", labelrotation=60)
    axes.set_xlim(-0.6, len(names) - 0.4)
    axes.grid(axis="y", color="#d0d0d0", linewidth=0.6)


def _laps(axes: Axes, sheet: DaySheet) -> None:
    heats = sheet.timed
    for place, heat in enumerate(heats):
        count = len(heat.laps)
        # In the order driven, from left to right within the heat's place.
        at = [place - 0.3 + 0.6 * n / max(count - 1, 1) for n in range(count)]
        axes.plot(
            at, heat.laps, ".", color="#6a6a6a", markersize=3, label="lap" if not place else None
        )
    timed = [(n, h.lap_figures) for n, h in enumerate(heats) if h.lap_figures.best is not None]
    axes.plot(
        [n for n, _ in timed],
        [f.median or 0.0 for _, f in timed],
        "-s", color="black", markersize=5, linewidth=1, label="median",
    )  # fmt: skip
    axes.plot(
        [n for n, _ in timed],
        [f.best or 0.0 for _, f in timed],
        "v", color="black", markerfacecolor="white", markersize=6, label="best",
    )  # fmt: skip
    typical = [f.median for _, f in timed if f.median is not None]
    best = [f.best for _, f in timed if f.best is not None]
    if typical and best:
        # A stop for fuel would flatten everything else; laps beyond are cut off, as the label says.
        top = max(typical) + 2.5 * max(max(typical) - min(best), 0.02 * max(typical))
        cut = sum(1 for heat in heats for lap in heat.laps if lap > top)
        axes.set_ylim(bottom=min(best) - 0.15 * (top - min(best)), top=top)
        if cut:
            axes.set_title(
                f"{cut} slower lap{'' if cut == 1 else 's'} above the picture",
                fontsize=7,
                loc="right",
            )
    axes.set_ylabel("lap time, s")
    _heat_axis(axes, [h.heat for h in heats])
    _legend(axes)


def _bite(axes: Axes, sheet: DaySheet) -> None:
    heats = [h for h in sheet.heats if h.bite.rpm is not None]
    axes.errorbar(
        range(len(heats)),
        [h.bite.rpm or 0.0 for h in heats],
        yerr=[2 * (h.bite.u_rpm or 0.0) for h in heats],
        fmt="-o", color="black", ecolor="#7a7a7a", capsize=3, markersize=4, linewidth=1,
    )  # fmt: skip
    axes.set_ylabel("bite, rpm" if sheet.calibrated else "bite, rpm (the model's own)")
    _heat_axis(axes, [h.heat for h in heats])


def _wear(axes: Axes, of_kind: Sequence[PartForecast], label: str) -> None:
    for number, found in enumerate(of_kind):
        axes.plot(
            [p.minutes for p in found.points],
            [p.value_mm for p in found.points],
            linestyle=_STYLES[number % len(_STYLES)],
            marker=_MARKS[number % len(_MARKS)],
            color=_GREYS[number % len(_GREYS)],
            markersize=4.5,
            linewidth=1,
            label=_short(found.label),
        )
    fitted = next((f for f in of_kind if f.standing == "fitted"), of_kind[0])
    if fitted.limit is not None:
        axes.axhline(
            fitted.limit.value_mm, color="black", linestyle=(0, (6, 3)), linewidth=1.4,
            label=f"{fitted.limit.name}, {_short(fitted.label)}",
        )  # fmt: skip
    axes.set_xlabel("minutes of running")
    axes.set_ylabel(f"{_short(label).lower()}, mm")
    axes.grid(color="#d0d0d0", linewidth=0.6)
    _legend(axes)


def _short(label: str) -> str:
    """Return a label that leaves room for the picture."""
    said = clean(label)
    return said if len(said) <= _MOST_SIGNS else f"{said[: _MOST_SIGNS - 1]}…"


def _legend(axes: Axes) -> None:
    options: dict[str, Any] = {"frameon": False, "fontsize": 7.5}
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), **options)
