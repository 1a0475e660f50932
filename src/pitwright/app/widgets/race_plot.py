"""The picture of a race: the bite over its minutes with its band, and the window wanted.

Every part of it has a sign of its own, so that it reads without colour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final

from textual.app import ComposeResult
from textual.widgets import Static

from pitwright.app.widgets.picture import Picture
from pitwright.desk.race.picture import RacePicture, race_picture
from pitwright.desk.wear.picture import rows_between

if TYPE_CHECKING:
    from textual_plotext import PlotextPlot

    from pitwright.desk.race.race import Option, RaceDesk

__all__ = ["RacePlot"]

_BAND: Final = "░"
_WINDOW: Final = "═"
_BITE: Final = "•"
_MARGIN_COLUMNS: Final = 8
_MARGIN_ROWS: Final = 3


class RacePlot(Picture):
    """Shows how the bite goes over a race, with a legend under it."""

    DEFAULT_CSS: ClassVar[str] = """
    RacePlot {
        height: 1fr;
    }
    RacePlot .legend {
        height: auto;
        padding: 0 1;
    }
    RacePlot .empty {
        height: auto;
        padding: 1 1;
        display: none;
    }
    RacePlot.empty .empty {
        display: block;
    }
    RacePlot.empty .legend, RacePlot.empty PlotextPlot {
        display: none;
    }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._found: RaceDesk | None = None
        self._option: Option | None = None

    def compose(self) -> ComposeResult:
        """Lay out the legend; the canvas comes with the first picture."""
        yield Static("Nothing to draw: nothing can be said of it.", classes="empty", markup=False)
        legend = f"1000 rpm:  {_BITE} bite  {_BAND} 9 in 10  {_WINDOW} window wanted"
        yield Static(legend, classes="legend", markup=False)

    async def show(self, found: RaceDesk | None, option: Option | None) -> None:
        """Draw one option; None, or one of which nothing is known, leaves the picture empty."""
        self._found, self._option = found, option
        empty = option is None or option.outcome is None
        self.set_class(empty, "empty")
        if not empty:
            await self._lay_canvas()
            self.call_after_refresh(self._draw)

    def _draw(self) -> None:
        canvas, found, option = self._canvas, self._found, self._option
        if canvas is None or found is None or option is None:
            return
        columns = max(canvas.size.width - _MARGIN_COLUMNS, 10)
        rows = max(canvas.size.height - _MARGIN_ROWS, 3)
        picture = race_picture(found, option, columns, rows)
        if picture is not None:
            self._paint(canvas, picture, columns, rows)
            canvas.refresh()

    def _paint(self, canvas: PlotextPlot, picture: RacePicture, columns: int, rows: int) -> None:
        plt = canvas.plt
        plt.clear_figure()
        step = (picture.high - picture.low) / rows
        filled = [
            (x, y)
            for x, low, high in picture.columns(3 * columns)
            for y in rows_between(low, high, step / 2)
        ]
        self._dots(canvas, filled, _BAND, self._ink("foreground", 0.45))
        for height in picture.window:
            plt.plot([0.0, picture.right], [height, height], marker=_WINDOW,
                     color=self._ink("accent"))  # fmt: skip
        plt.plot([x for x, _ in picture.bite], [y for _, y in picture.bite], marker=_BITE,
                 color=self._ink("primary"))  # fmt: skip
        plt.xaxes(lower=True, upper=False)
        plt.yaxes(left=True, right=False)
        plt.xlim(0.0, picture.right)
        plt.ylim(picture.low, picture.high)
        plt.xticks(list(picture.x_ticks.at), list(picture.x_ticks.labels))
        plt.yticks(list(picture.y_ticks.at), list(picture.y_ticks.labels))
