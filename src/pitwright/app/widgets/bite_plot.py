"""The plot of torque against engine speed, drawn by textual-plotext."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from textual.color import Color
from textual_plotext import PlotextPlot

if TYPE_CHECKING:
    from pitwright.desk.bite.bite import BiteDesk, BiteFigures
    from pitwright.desk.bite.curves import Curve
from pitwright.app.standing import Standing

__all__ = ["BitePlot"]

Rgb = tuple[int, int, int]


class BitePlot(Standing, PlotextPlot):
    """Torque capacity and engine torque; every line has its own sign, so it reads without colour.

    The clutch now: a solid line rising, dots falling. The compared heat: small plus signs. The
    engine: dashes. Bite, let-go and lock-up are named where they lie.
    """

    DEFAULT_CSS = "BitePlot { height: 1fr; }"

    def __init__(self) -> None:
        super().__init__()
        self._found: BiteDesk | None = None

    def on_mount(self) -> None:
        """Draw again when the theme changes."""
        self.app.theme_changed_signal.subscribe(self, lambda _theme: self.draw_again())

    def show(self, found: BiteDesk) -> None:
        """Draw a bite."""
        self._found = found
        self.draw_again()

    def draw_again(self) -> None:
        """Draw what was shown last, in the colours of the theme."""
        found = self._found
        if found is None:
            return
        plt: Any = self.plt
        plt.clear_figure()
        colours = self.app.theme_variables
        fore = _rgb(colours, "foreground")
        main, other, engine = (_rgb(colours, k) for k in ("primary", "secondary", "accent"))
        for curve in found.curves:
            xs, ys = ([p[i] / (1000, 1)[i] for p in curve.points] for i in (0, 1))
            if curve.of != "now":
                if curve.what == "rising":
                    plt.scatter(xs[::4], ys[::4], marker="+", color=other)
            elif curve.what == "rising":
                plt.plot(xs, ys, marker="braille", color=main)
            elif curve.what == "falling":
                plt.scatter(xs[::2], ys[::2], marker="·", color=main)
            else:
                plt.plot(xs, ys, marker="-", color=engine)
        if figures := _known(found):
            self._mark(found, figures, main, fore)
        plt.ylim(0, None)
        _ticks(plt, found)
        model = "" if found.calibrated else " (model, not calibrated)"
        plt.xlabel(f"1000 rpm{model}")
        self.refresh(layout=False)

    def _mark(self, found: BiteDesk, figures: BiteFigures, line: Rgb, word: Rgb) -> None:
        """Name the three speeds where they lie."""
        plt: Any = self.plt
        back = _rgb(self.app.theme_variables, "surface")
        peak = max(p[1] for c in found.curves for p in c.points)
        lock_torque = next((_at(c, figures) for c in found.curves if c.what == "engine"), 0.0)
        low, high = _span(found)
        gap = 2 * (high - low) / max(self.size.width - 8, 10)  # two columns
        for rpm, torque, label, side, lift in (
            (figures.let_go_rpm, 0.0, "let go", "right", 0.0),
            (figures.bite_rpm, 0.0, "bite", "left", 0.0),
            (figures.lock_up_rpm, lock_torque, "locks up", "right", 0.08),
        ):
            if rpm is None:
                continue
            x = rpm / 1000
            aside = x - gap if side == "right" else x + gap
            plt.scatter([x], [torque], marker="◆", color=line)
            plt.text(
                label, aside, torque + lift * peak, color=word, background=back, alignment=side
            )


def _known(found: BiteDesk) -> BiteFigures | None:
    return found.tried if found.curves and not found.tried.refused else None


def _at(curve: Curve, figures: BiteFigures) -> float:
    rpm = figures.lock_up_rpm or 0.0
    return min(curve.points, key=lambda p: abs(p[0] - rpm))[1]


def _span(found: BiteDesk) -> tuple[float, float]:
    """Return the ends of the speed axis [1000 rpm], with room for the first name on the left."""
    speeds = [p[0] / 1000 for c in found.curves for p in c.points]
    low, high = min(speeds), max(speeds)
    return low - 0.18 * (high - low), high


def _ticks(plt: Any, found: BiteDesk) -> None:
    """Put round numbers on both axes, a thousand rpm or a tenth of a newton metre apart."""
    points = [p for c in found.curves for p in c.points]
    if not points:
        return
    low, high = _span(found)
    plt.xlim(low, high)
    plt.xticks(range(2 * math.ceil(low / 2), math.floor(high) + 1, 2))
    peak = max(p[1] for p in points)
    step = next(s for s in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0) if peak / s <= 8)
    ticks = [round(step * i, 2) for i in range(math.floor(peak / step) + 1)]
    plt.yticks(ticks, [f"{t:g}" for t in ticks])


def _rgb(colours: dict[str, str], name: str) -> Rgb:
    found = Color.parse(colours[name])
    return (found.r, found.g, found.b)
