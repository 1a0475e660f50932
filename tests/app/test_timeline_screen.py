"""The Timeline played by keys: heats run, things noted, corrected, looked up."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from factory import LAPTOP, WeekendMaker, blank_weekend, local, race_weekend, scheduled
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, Static
from waiting import until

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.heat_detail import HeatDetailScreen
from pitwright.app.screens.timeline import TimelineScreen
from pitwright.app.widgets.dialogs import FormDialog, Pick
from pitwright.app.widgets.show_text import ShowText
from pitwright.store.files import StoreError
from pitwright.store.session import Session
from pitwright.weekend.open_work import Timer
from pitwright.weekend.records import Fit, HeatRun, NoteRecord, ScheduleChange, Setting

SMALL = (80, 24)


class Clock:
    """A clock that tests put on."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def on(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


def opened(folder: Path, clock: Clock) -> tuple[Session, PitwrightApp]:
    session = Session(folder, laptop=LAPTOP, clock=clock)
    return session, PitwrightApp(session, clock=clock)


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(
        tmp_path / "w",
        schedule=[
            scheduled("P1", "practice", 0, "9:00", 8, 1),
            scheduled("P2", "practice", 0, "10:00", 8, 2),
        ],
    )
    made.fit("spring", "S1")
    made.set_recess(1.35)
    return made


async def typed(pilot: Pilot[None], text: str) -> None:
    names = {" ": "space", ".": "full_stop", ",": "comma", "[": "left_square_bracket",
             "]": "right_square_bracket", "/": "slash", "-": "minus"}  # fmt: skip
    for sign in text:
        await pilot.press(names.get(sign, sign))


async def fill(pilot: Pilot[None], **values: str) -> None:
    for key, text in values.items():
        field = pilot.app.screen.query_one(f"#field-{key}", Input)
        field.focus()
        field.value = text
    await pilot.pause()


def list_text(app: PitwrightApp) -> str:
    rows = app.screen.query_one("#rows", OptionList)
    return "\n".join(str(rows.get_option_at_index(i).prompt) for i in range(rows.option_count))


def shown(app: PitwrightApp, selector: str) -> str:
    widget = app.screen.query_one(selector, Static)
    return str(widget.render()) if widget.display else ""


async def cursor_on(pilot: Pilot[None], words: str) -> None:
    rows = pilot.app.screen.query_one("#rows", OptionList)
    for index in range(rows.option_count):
        option = rows.get_option_at_index(index)
        if words in str(option.prompt) and not option.disabled:
            rows.highlighted = index
            await pilot.pause()
            return
    raise AssertionError(f"no row with {words!r}:\n{list_text(pilot.app)}")  # type: ignore[arg-type]


async def test_with_nothing_it_says_what_to_do_first(tmp_path: Path) -> None:
    session, app = opened(blank_weekend(tmp_path / "w"), Clock(local(0, "8:00")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            assert isinstance(app.screen, TimelineScreen)
            assert "What to do first" in shown(app, "#first-steps")
            for key in ("enter", "r", "b", "e", "x", "f", "escape", "u", "space"):
                await pilot.press(key)
                await pilot.pause()
                if not isinstance(app.screen, TimelineScreen):
                    await pilot.press("escape")
            assert isinstance(app.screen, TimelineScreen)


async def test_a_heat_is_run_by_keys_and_survives_the_app_dying(maker: WeekendMaker) -> None:
    clock = Clock(local(0, "9:02"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            clock.on(10)
            await pilot.press("space")
            for lap in (18.25, 18.5, 2.5):
                clock.on(lap)
                await pilot.press("space")
            await pilot.press("u")
            await pilot.pause()
            panel = shown(app, "#running")
            assert "P1 running" in panel
            assert "laps 2   last 18.50   best 18.25" in panel
    # The app is gone; another finds the heat still running.
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            assert "P1 running" in shown(app, "#running")
            clock.on(430.75)
            await pilot.press("h")
            await pilot.pause()
            assert isinstance(app.screen, FormDialog)
            assert app.screen.query_one("#field-minutes", Input).value == "8"
            await fill(pilot, bite="4", air="75 F", trouble="dragged, a bit")
            await pilot.press("f2")
            await pilot.pause()
            assert isinstance(app.screen, TimelineScreen)
            assert shown(app, "#running") == ""
            assert "dragged, a bit" in list_text(app)
    with Session(maker.folder, laptop=LAPTOP) as after:
        assert after.problems == ()
        assert after.weekend.open.heat is None
        assert after.weekend.open.drafts == {}
        (heat,) = after.weekend.heats
        assert heat.run.happened_at == local(0, "9:02")
        assert (heat.run.heat, heat.run.round, heat.run.run_minutes) == ("P1", 1, 8.0)
        assert heat.run.bite_rating == 4
        assert heat.run.conditions.air_c == pytest.approx(75 / 1.8 - 32 / 1.8, abs=1e-4)
        assert heat.laps == (18.25, 18.5)


async def test_a_heat_stopped_by_mistake_goes_on(maker: WeekendMaker) -> None:
    clock = Clock(local(0, "9:02"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("h")
            clock.on(60)
            await pilot.press("h")
            await pilot.pause()
            await pilot.press("escape")
            await pilot.pause()
            assert "stopped, not kept yet" in shown(app, "#running")
            await pilot.press("g")
            await pilot.pause()
            clock.on(60)
            app.screen.refresh_heat()  # type: ignore[attr-defined]
            assert "P1 running  02:00" in shown(app, "#running")
            await pilot.press("h")
            await pilot.pause()
            assert app.screen.query_one("#field-minutes", Input).value == "2"


@pytest.mark.parametrize(("answer", "count"), [("1", (20.0, 21.0)), ("2", (18.25, 18.5))])
async def test_of_tapped_laps_and_others_of_the_heat_none_are_lost(
    maker: WeekendMaker, answer: str, count: tuple[float, ...]
) -> None:
    clock = Clock(local(0, "9:02"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL, notifications=True) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            for lap in (10, 18.25, 18.5):
                clock.on(lap)
                await pilot.press("space")
            clock.on(400)
            session.keep_laps("P1", [20.0, 21.0], b"from the timing")
            await pilot.press("h")
            await pilot.pause()
            await pilot.press("f2")
            await pilot.pause()
            assert isinstance(app.screen, Pick)
            # Both are on the disk before anything is answered.
            aside = maker.folder / "laps" / "as-it-came" / f"P1 tapped on {LAPTOP}.txt"
            assert "18.25" in aside.read_text()
            assert session.weekend.open.heat is None
            await pilot.press(answer)
            await pilot.pause()
            said = [n.message for n in app._notifications if n.title == "Laps of P1"]
            assert "laps/as-it-came" in said[0]
    with Session(maker.folder, laptop=LAPTOP) as after:
        (heat,) = after.weekend.heats
        assert heat.laps == count
    kept = [p.read_text() for p in (maker.folder / "laps").rglob("P1*")]
    for lap in ("20", "18.25", "from the timing"):
        assert any(lap in text for text in kept), lap


async def test_laps_of_a_heat_taken_back_are_put_aside_when_its_name_starts_again(
    maker: WeekendMaker,
) -> None:
    run = maker.go(0, "9:00").heat("P1", "practice", 2, [20.0, 21.0])
    maker.later(1).correct(run, "aborted")
    clock = Clock(local(0, "9:20"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL, notifications=True) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            assert session.weekend.open.heat is not None
            assert session.weekend.open.heat.heat.heat == "P1"
            said = [n.message for n in app._notifications if n.title == "Laps put aside"]
            assert "2 laps" in said[0]
            assert "laps/as-it-came" in said[0]
    with Session(maker.folder, laptop=LAPTOP) as after:
        assert not after.weekend.laps.get("P1")
    assert "21" in (maker.folder / "laps" / "as-it-came" / "P1 replaced.txt").read_text()


async def test_what_was_filled_in_before_going_on_stays_but_for_the_minutes(
    maker: WeekendMaker,
) -> None:
    clock = Clock(local(0, "9:02"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("h")
            clock.on(60)
            await pilot.press("h")
            await pilot.pause()
            await fill(pilot, tyres="37 shore")
            await pilot.press("escape", "g")
            clock.on(120)
            await pilot.press("h")
            await pilot.pause()
            assert app.screen.query_one("#field-minutes", Input).value == "3"
            assert app.screen.query_one("#field-tyres", Input).value == "37 shore"
            await pilot.press("escape")
            await cursor_on(pilot, "running")
            await pilot.press("x", "y")
            await pilot.pause()
            assert session.weekend.open.drafts == {}


async def test_it_asks_which_heat_when_the_cursor_is_on_another(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:09")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await cursor_on(pilot, "P2")
            await pilot.press("h")
            await pilot.pause()
            assert isinstance(app.screen, Pick)
            await pilot.press("down", "enter")
            await pilot.pause()
            assert session.weekend.open.heat is not None
            assert session.weekend.open.heat.heat.heat == "P1"


async def test_a_form_comes_back_when_the_disk_will_not_have_it(
    maker: WeekendMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:09")))

    def full(*_arguments: object) -> None:
        raise StoreError(28, "No space left on device")

    with session:
        async with app.run_test(size=SMALL, notifications=True) as pilot:
            await pilot.pause()
            await pilot.press("n")
            await pilot.pause()
            with monkeypatch.context() as patch:
                patch.setattr(session, "append", full)
                patch.setattr(session, "keep_draft", full)
                await fill(pilot, text="Bearing rough")
                await pilot.press("f2")
                await pilot.pause()
                assert isinstance(app.screen, FormDialog)
                assert app.screen.query_one("#field-text", Input).value == "Bearing rough"
            await pilot.press("f2")
            await pilot.pause()
            assert "Bearing rough" in list_text(app)


async def test_a_heat_started_by_mistake_is_forgotten_after_a_question(
    maker: WeekendMaker,
) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:02")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            await cursor_on(pilot, "running")
            await pilot.press("x")
            await pilot.pause()
            assert session.weekend.open.heat is not None
            await pilot.press("y")
            await pilot.pause()
            assert session.weekend.open.heat is None
            assert session.weekend.heats == ()


async def test_what_is_wrong_in_a_heat_is_said_and_nothing_is_lost(maker: WeekendMaker) -> None:
    clock = Clock(local(0, "9:30"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("a")
            await pilot.pause()
            await fill(pilot, heat="P1", kind="prac", start="9:00", minutes="abc")
            await pilot.press("f2")
            await pilot.pause()
            assert isinstance(app.screen, FormDialog)
            assert "Run minutes" in shown(app, ".trouble")
            assert app.screen.focused is app.screen.query_one("#field-minutes")
            await pilot.press("escape")
            await pilot.pause()
            assert session.weekend.heats == ()
            await pilot.press("a")
            await pilot.pause()
            assert app.screen.query_one("#field-minutes", Input).value == "abc"
            await fill(pilot, minutes="7,5")
            await pilot.press("f2")
            await pilot.pause()
            assert session.weekend.heats[0].run.run_minutes == 7.5


async def test_the_heat_form_is_usable_at_80_by_24(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("a")
            await pilot.pause()
            fields = list(app.screen.query(Input))
            assert len(fields) == 23
            around = app.screen.query_one(".fields")
            for field in fields:
                field.focus()
                await pilot.pause()
                assert field.region.width >= 17, field.id
                assert around.region.contains_region(field.region), field.id
            hint = app.screen.query_one(".hint").region
            assert hint.bottom <= 24
            await fill(pilot, heat="")
            app.screen.query_one("#field-note", Input).focus()
            await pilot.press("enter")
            await pilot.pause()
            assert "give it a name" in shown(app, ".trouble")


async def test_a_note_is_a_draft_until_it_is_kept(maker: WeekendMaker) -> None:
    clock = Clock(local(0, "9:30"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("n")
            await pilot.pause()
            await typed(pilot, "[bold]cold[")
            await pilot.press("escape")
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("n")
            await pilot.pause()
            assert app.screen.query_one("#field-text", Input).value == "[bold]cold["
            await pilot.press("f2")
            await pilot.pause()
            assert "[bold]cold[" in list_text(app)
            record = session.weekend.log.records[-1]
            assert isinstance(record, NoteRecord)
            assert session.weekend.open.drafts == {}


async def test_a_paste_of_several_lines_is_kept_whole_in_one(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("n")
            await pilot.pause()
            app.post_message(events.Paste("Dragged on the grid\r\n  bell was blue\r\n"))
            await pilot.pause()
            await pilot.press(*"!")
            assert app.screen.query_one("#field-text", Input).value == (
                "Dragged on the grid bell was blue!"
            )
            await pilot.press("f2")
            await pilot.pause()
            assert "Dragged on the grid bell was blue!" in list_text(app)


async def test_the_nut_is_set_and_doubts_are_pointed_out(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL, notifications=True) as pilot:
            await pilot.pause()
            await pilot.press("c")
            await pilot.pause()
            await fill(pilot, turns="0,2 in")
            await pilot.press("f2")
            await pilot.pause()
            record = session.weekend.log.records[-1]
            assert isinstance(record, Setting)
            assert record.recess_mm == pytest.approx(1.5)
            assert record.turns_in == pytest.approx(0.2)
            await pilot.press("c")
            await pilot.pause()
            await fill(pilot, recess="1.85")
            await pilot.press("f2")
            await pilot.pause()
            assert any("past the most" in n.message for n in app._notifications)


async def test_a_spring_is_fitted_and_the_old_one_discarded(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            for key in ("p", "enter", "down", "enter", "down", "enter", "enter"):
                await pilot.press(key)
                await pilot.pause()
            record = session.weekend.log.records[-1]
            assert isinstance(record, Fit)
            assert (record.place, record.part, record.removed) == ("spring", "S2", "S1")
            assert (record.fate, record.reason) == ("discarded", "worn out")
            assert "Spring 2 fitted, Spring 1 discarded" in list_text(app)


async def test_the_choice_of_a_spring_begins_at_none_that_is_out(maker: WeekendMaker) -> None:
    maker.later(1).check("out", free_length=9.78)
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("p", "enter")
            await pilot.pause()
            rows = app.screen.query_one(OptionList)
            first, second = (str(rows.get_option_at_index(i).prompt) for i in (0, 1))
            assert first == "Spring 1  fitted now, out: 9.78 mm, not run yet"
            assert rows.highlighted == 1
            assert second.startswith("Spring 2")
            await pilot.press("escape")
    for old, new in (("S1", "S2"), ("S2", "S3")):
        maker.later(1).fit("spring", new, removed=old)
        maker.later(1).check("out", free_length=9.7)
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("p", "enter")
            await pilot.pause()
            before = len(session.weekend.log.records)
            await pilot.press("enter")
            await pilot.pause()
            assert isinstance(app.screen, Pick)
            assert app.screen.query_one(OptionList).highlighted is None
            assert len(session.weekend.log.records) == before


async def test_shims_are_typed_as_a_stack(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("p", "end", "enter")
            await pilot.pause()
            await typed(pilot, "0.10 0.05")
            await pilot.press("enter")
            await pilot.pause()
            record = session.weekend.log.records[-1]
            assert isinstance(record, Fit)
            assert (record.place, record.shims_mm) == ("end play shims", [0.10, 0.05])


async def test_a_delay_moves_the_schedule(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "8:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await pilot.press("d")
            await pilot.pause()
            await fill(pilot, minutes="20")
            await pilot.press("f2")
            await pilot.pause()
            record = session.weekend.log.records[-1]
            assert isinstance(record, ScheduleChange)
            assert [h.starts_at for h in session.weekend.schedule] == [
                local(0, "9:20"),
                local(0, "10:20"),
            ]
            assert "09:20" in list_text(app)


async def test_a_heat_is_edited_taken_back_and_brought_back(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice", 80, [18.2] * 6)
    clock = Clock(local(0, "9:30"))
    session, app = opened(maker.folder, clock)
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await cursor_on(pilot, "P1")
            await pilot.press("e")
            await pilot.pause()
            await fill(pilot, minutes="8", heat="P1 late", reason="one nought too many")
            await pilot.press("f2")
            await pilot.pause()
            assert "corrected: one nought too many" in list_text(app)
            (heat,) = session.weekend.heats
            assert (heat.run.heat, heat.run.run_minutes, len(heat.laps)) == ("P1 late", 8, 6)
            assert session.weekend.laps["P1"] == ()

            await cursor_on(pilot, "P1 late")
            await pilot.press("x", "y")
            await pilot.pause()
            await pilot.press("enter")
            await pilot.pause()
            assert session.weekend.heats[0].run.run_minutes == 80
            assert session.weekend.heats[0].laps == (18.2,) * 6

            await cursor_on(pilot, "P1")
            await pilot.press("x", "y")
            await pilot.pause()
            await pilot.press("enter")
            await pilot.pause()
            assert session.weekend.heats == ()
            await cursor_on(pilot, "Heat P1")
            await pilot.press("x", "y")
            await pilot.pause()
            assert session.weekend.heats[0].run.run_minutes == 80
    with Session(maker.folder, laptop=LAPTOP) as after:
        assert after.problems == ()


async def test_laps_that_follow_a_heat_put_others_of_its_new_name_aside(
    maker: WeekendMaker,
) -> None:
    aborted = maker.go(0, "9:00").heat("P1", "practice", 2, [30.0, 31.0])
    maker.later(1).correct(aborted, "aborted")
    maker.later(5).heat("P1 again", "practice", 8, [18.2] * 6)
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await cursor_on(pilot, "P1 again")
            await pilot.press("e")
            await pilot.pause()
            await fill(pilot, heat="P1")
            await pilot.press("f2")
            await pilot.pause()
            (heat,) = session.weekend.heats
            assert (heat.run.heat, heat.laps) == ("P1", (18.2,) * 6)
    assert "31" in (maker.folder / "laps" / "as-it-came" / "P1 replaced.txt").read_text()


async def test_a_planned_heat_is_taken_off_the_schedule(maker: WeekendMaker) -> None:
    session, app = opened(maker.folder, Clock(local(0, "8:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await cursor_on(pilot, "P2")
            await pilot.press("x", "y")
            await pilot.pause()
            assert [h.cancelled for h in session.weekend.schedule] == [False, True]
            assert "cancelled" in list_text(app)


async def test_a_rerun_gets_its_own_name(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    session, app = opened(maker.folder, Clock(local(0, "9:30")))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await cursor_on(pilot, "P1")
            await pilot.press("R")
            await pilot.pause()
            await pilot.press("f2")
            await pilot.pause()
            assert session.weekend.open.heat is not None
            assert session.weekend.open.heat.heat.heat == "P1 rerun"


async def test_looking_only_says_so(maker: WeekendMaker) -> None:
    clock = Clock(local(0, "9:02"))
    with Session(maker.folder, laptop="other", clock=clock):
        session, app = opened(maker.folder, clock)
        with session:
            assert not session.writable
            async with app.run_test(size=SMALL, notifications=True) as pilot:
                await pilot.pause()
                for key in ("h", "n", "c", "a", "d"):
                    await pilot.press(key)
                    await pilot.pause()
                    assert isinstance(app.screen, TimelineScreen), key
                assert session.weekend.open.heat is None
                assert len(app._notifications) >= 3


async def test_an_open_heat_that_landed_already_is_cleared_away(maker: WeekendMaker) -> None:
    clock = Clock(local(0, "9:30"))
    session, app = opened(maker.folder, clock)
    with session:
        run = HeatRun(happened_at=local(0, "9:00"), heat="P1", heat_kind="practice")
        from pitwright.weekend.open_work import OpenHeat

        session.keep_heat(OpenHeat(heat=run, stopped_at=local(0, "9:08")))
        session.append(run)
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            assert session.weekend.open.heat is None
            assert shown(app, "#running") == ""


@pytest.fixture(scope="module")
def sixty(tmp_path_factory: pytest.TempPathFactory) -> WeekendMaker:
    return race_weekend(tmp_path_factory.mktemp("sixty") / "w", 60)


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (140, 40)])
async def test_sixty_heats_stay_in_their_columns(
    sixty: WeekendMaker, size: tuple[int, int]
) -> None:
    session, app = opened(sixty.folder, Clock(sixty.at))
    with session:
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            header = shown(app, "#columns")
            lines = list_text(app).splitlines()
            width = app.screen.query_one("#rows").size.width
            assert max(len(line) for line in lines) <= width
            assert len(header) <= width
            at = header.index("median")
            heats = [line for line in lines if line.startswith(" ") and "18." in line]
            assert len(heats) == 59
            for line in heats:
                assert line[at : at + 6].strip().replace(".", "").isdigit(), line
            assert app.screen.query_one("#beside").display == (size[0] >= 130)


async def test_filters_and_search_narrow_the_list(sixty: WeekendMaker) -> None:
    session, app = opened(sixty.folder, Clock(sixty.at))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            everything = app.screen.query_one("#rows", OptionList).option_count
            await pilot.press("f", "down", "down", "enter")
            await pilot.pause()
            assert "Only Saturday: 20 of 60 heats" in shown(app, "#chosen")
            await pilot.press("escape")
            await pilot.pause()
            assert app.screen.query_one("#rows", OptionList).option_count == everything
            await pilot.press("slash")
            await pilot.pause()
            await typed(pilot, "dragged")
            await pilot.press("enter")
            await pilot.pause()
            assert "1 of 60 heats" in shown(app, "#chosen")
            assert "P12" in list_text(app)


async def test_detail_way_back_and_best_heat_open_and_close(sixty: WeekendMaker) -> None:
    session, app = opened(sixty.folder, Clock(sixty.at))
    with session:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await cursor_on(pilot, "Q30")
            await pilot.press("enter")
            await pilot.pause()
            assert isinstance(app.screen, HeatDetailScreen)
            assert shown(app, "#title").startswith("Q30, qualifier")
            await pilot.press("right")
            await pilot.pause()
            assert shown(app, "#title").startswith("Q31")
            assert "Clutch at the start" in shown(app, "#left")
            await pilot.press("r")
            await pilot.pause()
            assert isinstance(app.screen, ShowText)
            await pilot.press("escape", "escape")
            await pilot.pause()
            assert isinstance(app.screen, TimelineScreen)
            await pilot.press("b")
            await pilot.pause()
            assert isinstance(app.screen, ShowText)
            await pilot.press("escape")
            await pilot.pause()
            assert isinstance(app.screen, TimelineScreen)


async def test_starting_on_wet_thread_lock_is_warned_of_and_never_barred(
    maker: WeekendMaker,
) -> None:
    begun = local(0, "9:02")
    session, app = opened(maker.folder, Clock(begun))
    with session:
        due = begun + timedelta(minutes=12, seconds=20)
        session.keep_timers(
            [Timer(name="thread-lock A thread-lock", label="Thread-lock handling time", due_at=due)]
        )
        async with app.run_test(size=SMALL, notifications=True) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            assert session.weekend.open.heat is not None
            await until(
                pilot,
                lambda: any(
                    "not set" in n.title and "09:15" in n.message for n in app._notifications
                ),
            )


async def test_starting_on_set_thread_lock_warns_of_nothing(maker: WeekendMaker) -> None:
    begun = local(0, "9:02")
    session, app = opened(maker.folder, Clock(begun))
    with session:
        due = begun - timedelta(minutes=1)
        session.keep_timers(
            [Timer(name="thread-lock A thread-lock", label="Thread-lock handling time", due_at=due)]
        )
        async with app.run_test(size=SMALL, notifications=True) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            assert session.weekend.open.heat is not None
            assert not any("not set" in n.title for n in app._notifications)
