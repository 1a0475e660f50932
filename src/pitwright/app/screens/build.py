"""Build: the rebuild step by step, kept at every tick."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any, ClassVar, Final, cast

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.build_asks import BuildAsks
from pitwright.app.screens.base import WeekendScreen
from pitwright.app.widgets.big_print import BigPrint
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.app.widgets.step_list import StepList, strip
from pitwright.app.widgets.step_panel import StepPanel
from pitwright.desk.build import build as desk
from pitwright.desk.build.end import abandon_note, hindrances, loose_ends, sign_off
from pitwright.desk.build.facts import demands, is_settled, landed, result_of, step_in_hand
from pitwright.desk.build.view import (
    BuildView,
    LastBuild,
    big_facts,
    build_view,
    head_line,
    last_build,
    route_steps,
    routes,
)
from pitwright.desk.build.worktime import carry_on, keep_time, pause, resume
from pitwright.desk.wording import minutes_words
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import Route, Step

__all__ = ["BuildScreen"]

_WIDE = 120
_KEEP_EVERY_SECONDS = 10.0
_STEP_KEYS: Final[dict[str, Callable[[Step], bool]]] = {
    "measure": lambda step: bool(step.measures),
    "fit": lambda step: bool(step.fits),
    "thread_lock": lambda step: step.thread_lock == "medium",
    "torque": lambda step: step.torque is not None,
}


class BuildScreen(WeekendScreen):
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
        Binding(
            "space,enter",
            "advance",
            "Tick",
            id="build.tick",
            key_display="↵",
            tooltip="Do what the step wants next, then tick it",
        ),
        Binding(
            "m", "measure", "Measure", id="build.measure", tooltip="Measure here, or measure again"
        ),
        Binding("f", "fit", "Fit", id="build.fit", tooltip="Record the part or shims going on"),
        Binding(
            "l",
            "thread_lock",
            "Lock",
            id="build.lock",
            tooltip="Say whether the thread-lock is applied",
        ),
        Binding("t", "torque", "Tight", id="build.torque", tooltip="Confirm that it is tight"),
        Binding(
            "s",
            "skip",
            "Skip",
            id="build.skip",
            tooltip="Skip this step; without a reason it stays open",
        ),
        Binding("u", "untick", "Undo", id="build.untick", tooltip="Untick: open this step again"),
        Binding("n", "note", "Note", id="build.note", tooltip="Write a note to this step"),
        Binding(
            "p",
            "pause",
            "Pause",
            id="build.pause",
            tooltip="Stop the working time, or let it run again",
        ),
        Binding("b", "big", "Big", id="build.big", show=False, tooltip="Large print, or back"),
        Binding(
            "d",
            "several",
            "Several",
            id="build.several",
            show=False,
            tooltip="Tick several steps done at once; their times do not count",
        ),
        Binding(
            "o",
            "sign_off",
            "Sign off",
            id="build.sign",
            tooltip="Sign the build off and write its record",
        ),
        Binding(
            "o",
            "what_bars",
            "What bars it",
            id="build.bars",
            show=False,
            tooltip="See what is still in the way of the sign-off",
        ),
        Binding(
            "x",
            "abandon",
            "Give up",
            id="build.abandon",
            show=False,
            tooltip="Give this build up, with a reason",
        ),
        Binding(
            "up",
            "go(-1)",
            "Step back",
            id="build.up",
            show=False,
            tooltip="Take up the step before",
        ),
        Binding(
            "down",
            "go(1)",
            "Step on",
            id="build.down",
            show=False,
            tooltip="Take up the step after",
        ),
        Binding("pageup", "scroll(-1)", "Scroll up", id="build.pageup", show=False),
        Binding("pagedown", "scroll(1)", "Scroll down", id="build.pagedown", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._asks = BuildAsks(self)
        self._big = False
        self._shown_step = ""

    # The open build

    @property
    def build(self) -> OpenBuild | None:
        """The build in progress."""
        return self.weekend.open.build

    def take(self, build: OpenBuild) -> bool:
        """Keep a build as it now is and show it; on failure the one before still stands."""
        session = self.pitwright.session

        def write() -> bool:
            session.keep_build(build)
            return True

        if not self.pitwright.guard(write):
            return False
        self.show_weekend()
        return True

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
        with Vertical(id="build-none"):
            with Vertical(id="build-begin"):
                yield Static("Last build", classes="heading")
                yield Static("", id="build-last", markup=False)
                yield Static("Begin a build: arrows choose, enter begins", classes="heading")
                yield OptionList(id="build-routes")
            with VerticalScroll(id="build-preview", can_focus=False):
                yield Static("", classes="quiet", markup=False)

    def on_mount(self) -> None:
        """Take up a build left behind, and keep its working time from now on."""
        self.set_interval(_KEEP_EVERY_SECONDS, self._keep_time)
        self.set_interval(1.0, self._show_head)
        build = self.build
        if build is None or not self.pitwright.session.writable:
            return
        if landed(build, self.weekend) is not None:
            # The record landed and then the app died: only the clearing away is missing.
            self.pitwright.guard(self.pitwright.session.clear_build)
            self.notify("The last build was signed off already; its record is in the log")
            return
        self.take(resume(build, self.pitwright.clock()))

    def on_unmount(self) -> None:
        """Keep the working time when the app is left."""
        self._keep_time()

    def _keep_time(self) -> None:
        build, session = self.build, self.pitwright.session
        if build is None or build.worked_since is None or not session.writable:
            return
        now = self.pitwright.clock()
        self.pitwright.guard(lambda: session.keep_build(keep_time(build, now)))

    # Showing

    def on_resize(self) -> None:
        """Put the list beside the step when there is room."""
        super().on_resize()
        self.set_class(self.size.width >= _WIDE, "-wide")
        self.set_class(self.size.width < _WIDE, "-narrow")
        self.show_weekend()

    def show_weekend(self) -> None:
        """Show the open build, or the choice of a new one."""
        if not self.is_mounted:
            return
        build = self.build
        self.query_one("#build-open").display = build is not None
        self.query_one("#build-none").display = build is None
        if build is None:
            self._show_choice()
        else:
            self._show_build(build_view(self.weekend, build, self.pitwright.clock()))
        self.refresh_bindings()

    def _show_build(self, view: BuildView) -> None:
        self.query_one("#build-routes").disabled = True
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
        if build is None or not self.is_mounted:
            return
        words = head_line(self.weekend, build, self.pitwright.clock())
        paused = build.worked_since is None
        shown = Content(words)
        if paused:
            shown = Content.assemble(Content.styled("PAUSED", "bold $warning"), "  ", words)
        self.query_one("#build-state", Static).update(shown)

    def _show_choice(self) -> None:
        last = last_build(self.weekend, self.pitwright.clutch)
        self.query_one("#build-last", Static).update(Content(_last_words(last)))
        options = self.query_one("#build-routes", OptionList)
        options.disabled = False
        held = options.highlighted
        choices = routes(self.weekend)
        options.set_options(
            Option(
                Content(
                    f"{c.route.capitalize():<16}{minutes_words(c.time.minutes):>12}"
                    f"{c.steps:>5} steps   by {c.time.basis}"
                ),
                id=c.route.replace(" ", "-"),
            )
            for c in choices
        )
        options.highlighted = held if held is not None else 0
        self._show_preview()
        if self.focused is None and not self.app.screen.is_modal:
            options.focus()

    def _show_preview(self) -> None:
        choices = routes(self.weekend)
        at = self.query_one("#build-routes", OptionList).highlighted
        if at is None or at >= len(choices):
            return
        steps = route_steps(self.weekend, choices[at].route)
        lines = [
            f"{number:>2}  {title:<52}{minutes_words(time.minutes):>8}"
            for number, (title, time) in enumerate(steps, 1)
        ]
        preview = self.query_one("#build-preview", VerticalScroll)
        preview.query_one(Static).update(Content("\n".join(lines)))
        preview.scroll_home(animate=False)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the steps of the route under the cursor."""
        event.stop()
        if self.build is None:
            self._show_preview()

    # Keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer what makes sense for the step in hand."""
        build = self.build
        if action in _STEP_KEYS:
            return build is not None and _STEP_KEYS[action](step_in_hand(build))
        if action in (
            "advance",
            "note",
            "pause",
            "big",
            "several",
            "go",
            "abandon",
        ):
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

    @work(exclusive=True, group="build")
    async def _run(self, question: Callable[[], Coroutine[Any, Any, object]]) -> None:
        await question()

    def action_advance(self) -> None:
        """Do the next thing the step wants, and tick it when it wants nothing more."""
        self._run(self._advance)

    async def _advance(self) -> None:
        for _ in range(20):
            build = self.build
            if build is None:
                return
            step = step_in_hand(build)
            wanted = demands(build, self.weekend, step)
            if not wanted:
                if all(is_settled(result_of(build, s.id)) for s in build.steps):
                    await self._sign_off()
                else:
                    self.take(desk.tick(build, self.weekend, self.pitwright.clock()))
                    await self._offer_end()
                return
            if not await self._asks.answer(wanted[0]):
                return

    async def _offer_end(self) -> None:
        build = self.build
        if build is not None and not hindrances(build, self.weekend):
            await self._sign_off()

    def action_measure(self) -> None:
        """Measure at this step."""
        build = self.build
        if build is not None:
            self._run(lambda: self._choose(step_in_hand(build).measures, self._asks.measure))

    def action_fit(self) -> None:
        """Record what goes on at this step."""
        build = self.build
        if build is not None:
            places: list[Any] = list(step_in_hand(build).fits)
            self._run(lambda: self._choose(places, self._asks.fit))

    async def _choose(
        self, names: list[Any], ask: Callable[[Any], Coroutine[Any, Any, bool]]
    ) -> None:
        name = names[0]
        if len(names) > 1:
            card = self.weekend.clutches.get(self.build.clutch) if self.build else None
            known = card.quantities if card is not None else {}
            labels = [known[n].label if n in known else str(n).capitalize() for n in names]
            name = await self.app.push_screen_wait(
                Pick("Which one?", [Choice(n, la) for n, la in zip(names, labels, strict=True)])
            )
        if name is not None:
            await ask(name)

    def action_thread_lock(self) -> None:
        """Answer the thread-lock checkpoint."""
        self._run(self._asks.thread_lock)

    def action_torque(self) -> None:
        """Answer the torque checkpoint."""
        self._run(self._asks.torque)

    def action_skip(self) -> None:
        """Skip the step in hand."""
        build = self.build
        if build is None:
            return
        step = step_in_hand(build)

        def keep(reason: str) -> bool:
            return self.take(desk.skip(build, reason, self.pitwright.clock()))

        self._run(
            lambda: self._asks.line(
                f"build skip {build.at + 1}",
                f"Skip: {step.title}",
                keep,
                value=result_of(build, step.id).skipped_because,
                hint="why? With nothing typed it stays open and bars the sign-off",
            )
        )

    def action_untick(self) -> None:
        """Open the step in hand again."""
        build = self.build
        if build is not None:
            self.take(desk.untick(build, step_in_hand(build).id, self.pitwright.clock()))

    def action_note(self) -> None:
        """Write the note of the step in hand."""
        build = self.build
        if build is None:
            return
        step = step_in_hand(build)
        self._run(
            lambda: self._asks.line(
                f"build note {build.at + 1}",
                f"Note: {step.title}",
                lambda text: self.take(desk.note_step(build, text)),
                value=result_of(build, step.id).note,
            )
        )

    def action_pause(self) -> None:
        """Stop the working time, or let it run again."""
        build, now = self.build, self.pitwright.clock()
        if build is not None:
            paused = build.worked_since is None
            self.take(carry_on(build, now) if paused else pause(build, now))

    def action_big(self) -> None:
        """Show the step in large print, or as usual."""
        self._big = not self._big
        self.show_weekend()

    def action_go(self, by: int) -> None:
        """Take up the step before or after."""
        build = self.build
        if build is None:
            return
        at = build.at + by
        if 0 <= at < len(build.steps):
            self.take(desk.go_to(build, build.steps[at].id, self.pitwright.clock()))

    def action_scroll(self, pages: int) -> None:
        """Scroll the step in hand, when it is longer than the screen."""
        panel = self.query_one("#build-preview", VerticalScroll)
        if self.build is not None:
            panel = self.query_one(BigPrint) if self._big else self.query_one(StepPanel)
        panel.scroll_page_down() if pages > 0 else panel.scroll_page_up()

    def on_step_list_chosen(self, event: StepList.Chosen) -> None:
        """Take up the step that was clicked."""
        build = self.build
        if build is not None:
            self.take(desk.go_to(build, event.step, self.pitwright.clock()))

    def action_several(self) -> None:
        """Tick several steps at once."""
        self._run(self._several)

    async def _several(self) -> None:
        build = self.build
        if build is None:
            return
        still_open = [s for s in build.steps[build.at :] if not is_settled(result_of(build, s.id))]
        if not still_open:
            self.notify("No open step from here on")
            return
        last = await self.app.push_screen_wait(
            Pick(
                "Done at once, from here up to and with which step?",
                [Choice(s.id, s.title) for s in still_open],
            )
        )
        if last is None:
            return
        names = [s.id for s in still_open]
        names = names[: names.index(last) + 1]
        build, left = desk.batch_tick(build, self.weekend, names, self.pitwright.clock())
        if not self.take(build):
            return
        if left:
            many = f"{len(left)} steps still want" if len(left) > 1 else "1 step still wants"
            self.notify(f"{len(names) - len(left)} ticked; {many} an answer", severity="warning")
        await self._offer_end()

    # Beginning and end

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Begin a build on the route chosen."""
        event.stop()
        if self.build is None and event.option.id is not None:
            route = cast("Route", event.option.id.replace("-", " "))
            now = self.pitwright.clock()
            self.take(desk.start(self.weekend, route, now, self.pitwright.clutch))

    def action_sign_off(self) -> None:
        """Sign the build off, or say what bars it."""
        self._run(self._sign_off)

    async def _sign_off(self) -> None:
        build = self.build
        if build is None:
            return
        barred = hindrances(build, self.weekend)
        if barred:
            steps = {h.step: h for h in reversed(barred)}
            ordered = [steps[s.id] for s in build.steps if s.id in steps]
            many = f"{len(ordered)} steps stand" if len(ordered) > 1 else "1 step stands"
            step = await self.app.push_screen_wait(
                Pick(
                    f"Not yet: {many} in the way. Go to",
                    [Choice(h.step, f"{h.title}:", h.words) for h in ordered],
                )
            )
            if step is not None:
                self.take(desk.go_to(build, step, self.pitwright.clock()))
            return
        ends = loose_ends(build)
        remarks = "".join(f"\n  {line}" for line in ends)
        question = f"Sign off this {build.route}?{' Note:' if ends else ''}{remarks}"
        if not await self.app.push_screen_wait(Confirm(question, weighty=True)):
            return
        if landed(build, self.weekend) is None:
            record = sign_off(build, self.weekend, self.pitwright.clock())
            if self.pitwright.keep(record) is None:
                return
        self._clear_away("Signed off; the build is in the log")

    def action_what_bars(self) -> None:
        """Say what bars the sign-off."""
        self._run(self._sign_off)

    def action_abandon(self) -> None:
        """Give the build up."""
        self._run(self._abandon)

    async def _abandon(self) -> None:
        build = self.build
        if build is None or not await self.app.push_screen_wait(
            Confirm(
                f"Give up this {build.route}? What was measured and fitted stays in the log; "
                "the ticks become a note."
            )
        ):
            return

        def keep(reason: str) -> bool:
            note = abandon_note(build, self.weekend, reason, self.pitwright.clock())
            return self.pitwright.keep(note) is not None

        if await self._asks.line(
            "build given up", "Why is it given up?", keep, check=desk.reason_trouble
        ):
            self._clear_away("Given up; a note of it is in the log")

    def _clear_away(self, said: str) -> None:
        session = self.pitwright.session

        def clear() -> bool:
            session.clear_build()
            for form in list(session.weekend.open.drafts):
                if form.startswith("build "):
                    session.keep_draft(form, {})
            return True

        if self.pitwright.guard(clear):
            self._big = False
            self.notify(said)
        self.pitwright.announce()


def _last_words(last: LastBuild | None) -> str:
    if last is None:
        return "None on record yet."
    worked = f", {last.worked} of work" if last.worked else ""
    lines = [f"{last.route.capitalize()}, finished {last.finished}{worked}"]
    return "\n".join([*lines, *(f"  {remark}" for remark in last.remarks)])
