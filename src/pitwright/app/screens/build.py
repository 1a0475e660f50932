"""Build: the rebuild step by step, kept at every tick."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Final

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from pitwright.app.screens.build_steps import BuildSteps
from pitwright.app.widgets.big_print import BigPrint
from pitwright.app.widgets.build_choice import BuildChoice
from pitwright.app.widgets.step_list import StepList, strip
from pitwright.app.widgets.step_panel import StepPanel
from pitwright.desk.build import build as desk
from pitwright.desk.build.facts import is_settled, result_of, step_in_hand
from pitwright.desk.build.view import BuildView, big_facts, build_view, head_line
from pitwright.weekend.procedure import Step

__all__ = ["BuildScreen"]

_WIDE = 120
_STEP_KEYS: Final[dict[str, Callable[[Step], bool]]] = {
    "measure": lambda step: bool(step.measures),
    "fit": lambda step: bool(step.fits),
    "thread_lock": lambda step: step.thread_lock == "medium",
    "torque": lambda step: step.torque is not None,
}


class BuildScreen(BuildSteps):
    """The open build, or the choice of a new one."""

    TITLE = "Build"
    PURPOSE = "Rebuild the clutch in order, with nothing forgotten."
    HELP_TEXT = """
Enter or space does the next thing the step in hand wants: it asks for the part, the reading, the
thread-lock, the tightness, and then ticks the step. Every tick is kept at once; quit when you
like and go on later at the same step. b shows the step in large print, d ticks several at once,
x gives the build up.

A reading that is out stops the tick until you measure again, fit another part, or say why it may
stay. A step that is skipped wants a reason before the build can be signed off. The engine stays
off and the clutch cold while hands are near it.
"""
    CSS_PATH = "build.tcss"
    # With a build open the keys are the screen's own; nothing may take enter away from them.
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,enter", "advance", "Tick", id="build.tick", key_display="↵",
                tooltip="Do what the step wants next, then tick it"),
        Binding("m", "measure", "Measure", id="build.measure",
                tooltip="Measure here, or measure again"),
        Binding("f", "fit", "Fit", id="build.fit", tooltip="Record the part or shims going on"),
        Binding("l", "thread_lock", "Lock", id="build.lock",
                tooltip="Say whether the thread-lock is applied"),
        Binding("t", "torque", "Tight", id="build.torque", tooltip="Confirm that it is tight"),
        Binding("s", "skip", "Skip", id="build.skip",
                tooltip="Skip this step; without a reason it stays open"),
        Binding("u", "untick", "Undo", id="build.untick", tooltip="Untick: open this step again"),
        Binding("n", "note", "Note", id="build.note", tooltip="Write a note to this step"),
        Binding("p", "pause", "Pause", id="build.pause",
                tooltip="Stop the working time, or let it run again"),
        Binding("b", "big", "Big", show=False, id="build.big", tooltip="Large print, or back"),
        Binding("d", "several", "Several", show=False, id="build.several",
                tooltip="Tick several steps done at once; their times do not count"),
        Binding("o", "sign_off", "Sign off", id="build.sign",
                tooltip="Sign the build off and write its record"),
        Binding("o", "what_bars", "What bars it", show=False, id="build.bars",
                tooltip="See what is still in the way of the sign-off"),
        Binding("x", "abandon", "Give up", show=False, id="build.abandon",
                tooltip="Give this build up, with a reason"),
        Binding("up", "go(-1)", "Step back", show=False, id="build.up",
                tooltip="Take up the step before"),
        Binding("down", "go(1)", "Step on", show=False, id="build.down",
                tooltip="Take up the step after"),
        Binding("pageup", "scroll(-1)", "Scroll up", show=False, id="build.pageup"),
        Binding("pagedown", "scroll(1)", "Scroll down", show=False, id="build.pagedown"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._big = False
        self._shown_step = ""

    def compose_body(self) -> ComposeResult:
        """Lay out both faces: a build in progress, and none."""
        with Vertical(id="build-open"):
            with Horizontal(id="build-head"):
                yield Static("", id="build-state", markup=False)
            yield Static("", id="build-strip", markup=False)
            with Vertical(id="build-bench"):
                with Vertical(id="build-side"):
                    yield StepList()
                    with VerticalScroll(id="build-so-far", can_focus=False):
                        yield Static("So far", classes="heading", markup=False)
                        yield Static("", id="so-far", markup=False)
                yield StepPanel()
            yield BigPrint()
        yield BuildChoice(id="build-none")

    def on_mount(self) -> None:
        """Let the time in the line above the step run."""
        self.set_interval(1.0, self._show_head)

    # Showing

    def on_resize(self) -> None:
        """Put the list beside the step when there is room."""
        self.set_class(self.size.width >= _WIDE, "-wide")
        self.set_class(self.size.width < _WIDE, "-narrow")
        self.show_weekend()

    def show_weekend(self) -> None:
        """Show the open build, or the choice of a new one."""
        build, choice = self.build, self.query_one(BuildChoice)
        self.query_one("#build-open").display = build is not None
        if build is None:
            choice.show(self.weekend, self.pitwright.clutch)
        else:
            choice.put_away()
            self._show_build(build_view(self.weekend, build, self.pitwright.clock()))
        self.refresh_bindings()

    def _show_build(self, view: BuildView) -> None:
        self._show_head()
        bench, big = self.query_one("#build-bench"), self.query_one(BigPrint)
        bench.display = not self._big
        big.display = self._big
        self.query_one("#build-strip", Static).update(strip(view.steps))
        step = view.in_hand
        if self._big:
            facts = big_facts(step)
            title = step.title.partition(":")[0] if facts else step.title
            cautions = [*step.cautions, step.torque_caution]
            big.show(title, facts, [f"! {c}" for c in cautions if c], self.query_one("#body").size)
            return
        self.query_one(StepList).show(view.steps)
        self.query_one("#build-so-far").set_class(not view.so_far, "-none")
        self.query_one("#so-far", Static).update(Content("\n".join(view.so_far)))
        panel = self.query_one(StepPanel)
        panel.show(
            step,
            self._nut() if step.shows_nut else "",
            fresh=step.step != self._shown_step,
            spread=self.has_class("-wide"),
        )
        self._shown_step = step.step

    def _nut(self) -> str:
        from pitwright.desk.nut.nut import nut_advice
        from pitwright.desk.nut.words import nut_lines

        build = self.build
        if build is None or build.clutch not in self.weekend.clutches:
            return ""
        return "\n".join(nut_lines(nut_advice(self.weekend, clutch=build.clutch)))

    def _show_head(self) -> None:
        build = self.build
        if build is None:
            return
        words = head_line(self.weekend, build, self.pitwright.clock())
        paused = build.worked_since is None
        shown = Content(words)
        if paused:
            shown = Content.assemble(Content.styled("PAUSED", "bold $warning"), "  ", words)
        self.query_one("#build-state", Static).update(shown)

    # Keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer what makes sense for the step in hand."""
        build = self.build
        if action in _STEP_KEYS:
            return build is not None and _STEP_KEYS[action](step_in_hand(build))
        if action in ("advance", "note", "pause", "big", "several", "go", "abandon"):
            return build is not None
        if action == "skip":
            return build is not None and result_of(build, step_in_hand(build).id).done_at is None
        if action == "untick":
            return build is not None and is_settled(result_of(build, step_in_hand(build).id))
        if action in ("sign_off", "what_bars"):
            settled = build is not None and all(
                is_settled(result_of(build, s.id)) for s in build.steps
            )
            return build is not None and settled == (action == "sign_off")
        return super().check_action(action, parameters)

    def action_big(self) -> None:
        """Show the step in large print, or as usual."""
        self._big = not self._big
        self.show_weekend()

    def action_scroll(self, pages: int) -> None:
        """Scroll the step in hand, when it is longer than the screen."""
        if self.build is None:
            self.query_one(BuildChoice).scroll_steps(pages)
            return
        panel = self.query_one(BigPrint) if self._big else self.query_one(StepPanel)
        panel.scroll_page_down() if pages > 0 else panel.scroll_page_up()

    # Beginning and end

    def on_build_choice_begin(self, event: BuildChoice.Begin) -> None:
        """Begin a build on the route chosen."""
        if self.build is None:
            now = self.pitwright.clock()
            self.take(desk.start(self.weekend, event.route, now, self.pitwright.clutch))

    def ended(self) -> None:
        """Begin the next build in the usual print."""
        self._big = False
