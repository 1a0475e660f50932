"""The step in hand: what to do, its cautions and checkpoints, and what it still wants."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from pitwright.app.standing import Standing
from pitwright.app.widgets.big_print import drawn, wrap_letters
from pitwright.app.widgets.flag import flag
from pitwright.desk.build.view import FitLine, MeasureLine, StepView

__all__ = ["StepPanel"]

_ROWS = (
    ("do", ""),
    ("caution", "Caution"),
    ("torque", "Tightness"),
    ("lock", "Thread-lock"),
    ("fit", "Fit"),
    ("measure", "Measure"),
    ("squeeze", "Squeeze"),
    ("tools", "Tools"),
    ("parts", "Parts"),
    ("note", "Note"),
    ("state", "This step"),
)


class StepPanel(Standing, VerticalScroll, can_focus=False):
    """One step, whole: rows that it has nothing for are left out."""

    DEFAULT_CSS = """
    StepPanel { padding: 0 1; scrollbar-size-vertical: 1; }
    StepPanel #step-title { color: $primary; height: auto; margin-bottom: 1; }
    StepPanel.-spread { padding: 1 2; }
    StepPanel.-spread .fact { margin-bottom: 1; }
    StepPanel.-spread #nut-advice { margin: 0 0 1 13; }
    StepPanel .fact { height: auto; }
    StepPanel .fact .name { width: 13; color: $foreground 65%; }
    StepPanel .fact .what { width: 1fr; height: auto; }
    StepPanel #fact-caution .name, StepPanel #fact-caution .what { color: $warning; }
    StepPanel #nut-advice { height: auto; margin-left: 13; color: $foreground 85%; }
    StepPanel #step-wants { height: auto; color: $accent; }
    """

    def compose(self) -> ComposeResult:
        """Lay out every row there can be."""
        yield Static("", id="step-title", markup=False)
        for key, name in _ROWS:
            with Horizontal(id=f"fact-{key}", classes="fact"):
                if name:
                    yield Static(name, classes="name", markup=False)
                yield Static("", classes="what", markup=False)
        yield Static("", id="nut-advice", markup=False)
        yield Static("", id="step-wants", markup=False)

    _title = ""

    def show(self, view: StepView, nut: str, *, fresh: bool, spread: bool) -> None:
        """Show a step; ``nut`` is the advice for the nut.

        ``fresh`` starts at the top; ``spread`` leaves a blank line between the rows. The title
        stands in large letters where there is room for them.
        """
        self.set_class(spread, "-spread")
        self._row("do", Content(view.do))
        self._row("caution", Content("\n".join(f"! {c}" for c in _cautions(view))))
        self._row("torque", _tight(view))
        self._row("lock", _lock(view))
        self._row("fit", Content("\n").join(_fit(f) for f in view.fits))
        self._row("measure", Content("\n").join(_measure(m) for m in view.measures))
        self._row("squeeze", Content(f"{view.squeezes} times" if view.squeezes else ""))
        self._row("tools", Content(", ".join(view.tools)))
        self._row("parts", Content(", ".join(view.parts)))
        self._row("note", Content(view.note))
        self._row("state", _state(view))
        advice = self.query_one("#nut-advice", Static)
        advice.display = bool(nut)
        advice.update(Content(nut))
        wants = self.query_one("#step-wants", Static)
        wants.display = bool(view.demands) and view.mark in ("open", "passed over")
        first, *later = view.demands or ("",)
        more = f"  (then: {'; '.join(later)})" if later else ""
        wants.update(Content(f"enter: {first}{more}"))
        self._title = view.title
        self.call_after_refresh(self._show_title)
        if fresh:
            self.scroll_home(animate=False)

    def on_resize(self) -> None:
        """See anew whether the title can be large."""
        self._show_title()

    def _show_title(self) -> None:
        title, spread = self._title, self.has_class("-spread")
        width = max(self.container_size.width, self.size.width) - (6 if spread else 3)
        used = sum(
            _height(str(s.content), width, s) for s in self.query(Static) if s.parent is self
        )
        used += sum(
            _height(str(row.query_one(".what", Static).content), width - 13, row) + int(spread)
            for row in self.query(".fact")
        )
        room = self.size.height - used - 1
        # The list shows the whole title; the first half of it may stand here alone.
        tried = [drawn(text, width) for text in (title, title.partition(":")[0])]
        large = next((text for text in tried if len(text.splitlines()) <= room), "")
        if wrap_letters(title, width, double=True) is not None:
            # Letters of double size leave half of the room to what there is to do.
            double = drawn(title, width, double=True)
            large = double if len(double.splitlines()) <= room // 2 else large
        shown = self.query_one("#step-title", Static)
        shown.update(Content(large or title))
        # On a small screen the list just above has the title already.
        shown.display = bool(large) or spread

    def _row(self, key: str, content: Content) -> None:
        row = self.query_one(f"#fact-{key}")
        row.display = bool(content.plain)
        row.query_one(".what", Static).update(content)


def _height(text: str, width: int, of: Widget) -> int:
    """Return about how many rows a text takes; hidden ones and the title itself take none."""
    if not of.display or of.id == "step-title":
        return 0
    return sum(1 + len(line) // max(width - 6, 10) for line in text.splitlines())


def _cautions(view: StepView) -> list[str]:
    return [*view.cautions, *([view.torque_caution] if view.torque_caution else [])]


def _tight(view: StepView) -> Content:
    if not view.torque:
        return Content("")
    done = Content.styled("  ✓ confirmed", "$flag-good") if view.torque_done else Content("")
    return Content.assemble(Content.styled(view.torque, "bold"), done)


def _lock(view: StepView) -> Content:
    style = "$warning" if "NOT" in view.thread_lock else "bold"
    return Content.styled(view.thread_lock, style) if view.thread_lock else Content("")


def _fit(fit: FitLine) -> Content:
    name = f"{fit.place.capitalize()}: "
    if fit.recorded:
        return Content.assemble(
            name, Content.styled(fit.recorded, "bold"), Content.styled("  ✓ recorded", "$flag-good")
        )
    before = f"there now: {fit.before}" if fit.before else "nothing recorded yet"
    return Content.assemble(name, Content.styled(before, "$foreground 65%"))


def _measure(measure: MeasureLine) -> Content:
    parts: list[Content | str] = [f"{measure.label}: "]
    if measure.verdict is not None:
        parts += [Content.styled(measure.value, "bold"), "  ", flag(measure.verdict), "  "]
    parts.append(Content.styled(measure.limits, "$foreground 80%"))
    if measure.before:
        parts.append(Content.styled(f"  ({measure.before})", "$foreground 65%"))
    return Content.assemble(*parts)


def _state(view: StepView) -> Content:
    words: list[str] = []
    if view.mark == "done":
        words.append(f"done in {view.worked}" if view.worked else "done, with others at once")
    if view.skipped_because:
        words.append(f"skipped: {view.skipped_because}")
    if view.out_because:
        words.append(f"out of limits, but: {view.out_because}")
    if view.mark == "done" and view.demands:
        words.append(f"but now: {'; '.join(view.demands)}")
    return Content("\n".join(words))
