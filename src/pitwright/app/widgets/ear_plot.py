"""The trace of the engine speed against time; its library is imported with the first picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, ClassVar, Final

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from pitwright.app.widgets.picture import Picture
from pitwright.desk.ear.against import was_held
from pitwright.desk.ear.picture import EarPicture, ear_picture, whole_or_launch

if TYPE_CHECKING:
    from textual_plotext import PlotextPlot

    from pitwright.desk.ear.against import Expected
    from pitwright.desk.ear.bench import EarBench
    from pitwright.desk.ear.ear import Take

__all__ = ["EarPlot"]

_UNSURE: Final = "·"
_TAKE_UP: Final = "━"
_OTHER: Final = "─"
_MODEL: Final = "╌"
_CURSOR: Final = "│"
_MARGIN_COLUMNS: Final = 8
_FRAME_ROWS: Final = 3


class EarPlot(Picture):
    """Engine speed against time, the take-ups in it, the model's level and the cursor."""

    DEFAULT_CSS: ClassVar[str] = """
    EarPlot { height: 1fr; }
    EarPlot .legend { height: 1; padding: 0 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._bench: EarBench | None = None
        self._model: Expected | None = None
        self._cursor_s = 0.0
        self._whole = False

    def compose(self) -> ComposeResult:
        """Lay out the legend; the canvas comes with the first picture."""
        yield Static("", classes="legend", markup=False)

    async def show(
        self,
        bench: EarBench | None,
        model: Expected | None,
        cursor_s: float,
        cursor_words: str,
        *,
        whole: bool,
    ) -> None:
        """Draw a recording; None takes the picture away."""
        self._bench, self._model, self._whole = bench, model, whole
        self._cursor_s = cursor_s
        self.display = bench is not None and len(bench.hearing.track) > 0
        if bench is None or not self.display:
            return
        await self._lay_canvas()
        level = f"  {_MODEL * 2} model" if self._level() is not None else ""
        self.query_one(".legend", Static).update(
            Content(f"{_TAKE_UP * 2} take-up  {_UNSURE} unsure{level}  {_CURSOR} ←→ {cursor_words}")
        )
        self.call_after_refresh(self._draw)

    def window(self) -> tuple[float, float]:
        """Return the stretch of the recording that is shown [s]."""
        if self._bench is None:
            return 0.0, 1.0
        return whole_or_launch(self._bench.hearing, self._bench.current, whole=self._whole)

    def _level(self) -> float | None:
        take = self._bench.current if self._bench is not None else None
        if self._model is None or (take is not None and take.how == "creep"):
            return self._model.creep_rpm if self._model is not None else None
        if take is not None and was_held(take, self._model):
            return self._model.held_rpm
        return self._model.plateau_rpm

    def _draw(self) -> None:
        canvas, bench = self._canvas, self._bench
        if canvas is None or bench is None:
            return
        left, right = self.window()
        speeds = [t.speed.rpm for t in bench.shown if t.speed is not None]
        level = self._level()
        levels = (*speeds, *((level,) if level is not None else ()))
        columns = max(canvas.size.width - _MARGIN_COLUMNS, 10)
        rows = 0 if self._whole else max(canvas.size.height - _FRAME_ROWS, 3)
        picture = ear_picture(bench.hearing, left, right, columns, levels, rows)
        if picture is not None:
            self._paint(canvas, picture, bench, level, columns)
            canvas.refresh()

    def _paint(
        self,
        canvas: PlotextPlot,
        picture: EarPicture,
        bench: EarBench,
        level: float | None,
        columns: int,
    ) -> None:
        plt: Any = canvas.plt
        plt.clear_figure()
        left, right = picture.left_s, picture.right_s
        step = (right - left) / columns
        if level is not None:
            across = [left + step * (i + 0.5) for i in range(0, columns, 2)]
            self._dots(canvas, [(x, level / 1000) for x in across], _MODEL, self._ink("secondary"))
        rows = max(canvas.size.height - _FRAME_ROWS, 3)
        heights = [
            picture.low + (picture.high - picture.low) * (i + 0.5) / rows for i in range(rows)
        ]
        if left <= self._cursor_s <= right:
            line = [(self._cursor_s, y) for y in heights]
            self._dots(canvas, line, _CURSOR, self._ink("foreground", 0.7))
        self._dots(canvas, picture.unsure, _UNSURE, self._ink("foreground", 0.5))
        for run in picture.sure_runs:
            xs, ys = [x for x, _ in run], [y for _, y in run]
            plt.plot(xs, ys, marker="braille", color=self._ink("primary"))
        current = bench.current
        for take in bench.takes:
            if not take.discarded:
                mine = current is not None and take.name == current.name
                self._mark(canvas, take, _TAKE_UP if mine else _OTHER, step)
        plt.xaxes(lower=True, upper=False)
        plt.yaxes(left=True, right=False)
        plt.xlim(left, right)
        plt.ylim(picture.low, picture.high)
        _ticks(plt, picture)

    def _mark(self, canvas: PlotextPlot, take: Take, sign: str, step: float) -> None:
        speed = take.speed
        if speed is None:
            return
        # Two a column, so that none is left out where columns and steps do not meet.
        count = max(1, round(2 * (speed.end_s - speed.start_s) / step))
        across = [speed.start_s + (i + 0.5) * step / 2 for i in range(count)]
        self._dots(canvas, [(x, speed.rpm / 1000) for x in across], sign, self._ink("accent"))


def _ticks(plt: Any, picture: EarPicture) -> None:
    """Put round numbers on both axes."""
    for low, high, most, put in (
        (picture.left_s, picture.right_s, 8, plt.xticks),
        (picture.low, picture.high, 6, plt.yticks),
    ):
        steps = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 60, 120, 300, 600, 1200)
        step = next((s for s in steps if (high - low) / s <= most), 3600)
        ticks = [step * i for i in range(math.ceil(low / step), math.floor(high / step) + 1)]
        put(ticks, [f"{tick:.1f}" if step < 1 else f"{tick:.0f}" for tick in ticks])
    plt.xlabel("seconds; 1000 rpm upward")
