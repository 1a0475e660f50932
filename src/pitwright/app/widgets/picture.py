"""A picture with a legend under it; the plotting library is imported with the first one drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual.color import Color
from textual.containers import Vertical

if TYPE_CHECKING:
    from textual_plotext import PlotextPlot
from pitwright.app.standing import Standing

__all__ = ["Picture", "Rgb"]

Rgb = tuple[int, int, int]


class Picture(Standing, Vertical):
    """Draws afresh in the colours of a new theme and to a new size; a subclass says what."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._canvas: PlotextPlot | None = None

    def on_mount(self) -> None:
        """Draw afresh in the colours of a new theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _theme: self._draw())

    def on_resize(self) -> None:
        """Draw to the new size."""
        self.call_after_refresh(self._draw)

    async def _lay_canvas(self) -> None:
        if self._canvas is None:
            from textual_plotext import PlotextPlot

            self._canvas = PlotextPlot()
            await self.mount(self._canvas, before=0)

    def _draw(self) -> None:
        raise NotImplementedError

    def _dots(
        self, canvas: PlotextPlot, points: Sequence[tuple[float, float]], sign: str, color: Rgb
    ) -> None:
        if points:
            canvas.plt.scatter(
                [x for x, _ in points], [y for _, y in points], marker=sign, color=color
            )

    def _ink(self, name: str, strength: float = 1.0) -> Rgb:
        """Return a colour of the theme, blended into the ground it stands on."""
        variables = self.app.theme_variables
        ground = Color.parse(variables.get("surface", "#000000"))
        color = Color.parse(variables.get(name, variables.get("foreground", "#ffffff")))
        return ground.blend(color, strength).rgb
