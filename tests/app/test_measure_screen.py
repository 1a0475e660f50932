"""The Measure screen, played with a pilot over a real folder."""

from __future__ import annotations

import tomllib
from contextlib import asynccontextmanager

import pytest
from factory import WeekendMaker
from textual import events
from textual.widgets import Static
from waiting import until

from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.app.widgets.slip_dialog import AskSlip
from pitwright.store.session import Session
from pitwright.weekend.records import Check


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    made.check(free_length=10.18, recess=1.30)
    made.later(30)
    return made


@asynccontextmanager
async def measuring(maker, *, size=(80, 24), write=True):
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at, write=write) as session:
        app = PitwrightApp(session, first="measure", clock=lambda: maker.at)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            yield app, pilot


def entry(app, quantity):
    return next(e for e in app.screen_stack[1].query(ReadingEntry) if e.quantity == quantity)


def shown(app, quantity, where):
    # set in, so that decimal points stand under one another
    return str(entry(app, quantity).query_one(where, Static).content).strip()


async def type_(pilot, text):
    await pilot.press(*("space" if sign == " " else sign for sign in text))
    await pilot.pause()


def checks(maker):
    found = []
    for path in sorted((maker.folder / "log").glob("*-check-*.toml")):
        found.append(tomllib.loads(path.read_text()))
    return found


def screen_words(app):
    return [str(each.content) for each in app.screen.query(Static)]


def notices(app):
    return " | ".join(n.message for n in app._notifications)


async def test_the_flag_follows_every_key(maker):
    async with measuring(maker) as (app, pilot):
        flags = []
        for key in "10,15":
            await pilot.press(key)
            await pilot.pause()
            flags.append(shown(app, "free_length", ".flag"))
        assert flags == ["…", "…", "…", "✓ good", "✓ good"]
        assert shown(app, "free_length", ".shown") == "10.15 ± 0.04 mm"
        assert shown(app, "free_length", ".last") == "last ✓ 10.18 ± 0.03"
        assert shown(app, "free_length", ".told") == "0.35 mm above 9.80"


async def test_out_says_what_to_do_and_close_calls_what_settles_them(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "9.8")
        assert shown(app, "free_length", ".flag") == "✗ out"
        assert "Fit a new spring" in shown(app, "free_length", ".told")
        await pilot.press("down")
        await type_(pilot, "1.51")
        assert shown(app, "recess", ".flag") == "≈ too close to call"
        assert "better tool" in shown(app, "recess", ".told")
        detail = str(app.screen.query_one("#more", Static).content)
        assert "ISO 14253-1" in detail


async def test_inches_and_repeats_are_kept_in_millimetres(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "0.4 in")
        await pilot.press("down")
        await type_(pilot, "1,41 1.42 1.40")
        assert shown(app, "recess", ".shown") == "1.41 ± 0.03 mm"
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert shown(app, "recess", ".last").startswith("last ✓  1.41 ± 0.03   +0.11")
        assert entry(app, "recess").typed == ""
    kept = checks(maker)[-1]["readings"]
    assert [(r["quantity"], r["values_mm"]) for r in kept] == [
        ("free_length", [10.16]),
        ("recess", [1.41, 1.42, 1.4]),
    ]


async def test_the_record_says_all_that_was_in_force(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.15")
        await pilot.press("escape", "s")
        await pilot.pause()
        assert "1 reading kept" in notices(app)
    reading = checks(maker)[-1]["readings"][0]
    assert reading["part"] == "S1"
    assert reading["instrument"] == "caliper"
    assert reading["discard_below_mm"] == 9.8
    assert reading["rule"] == "iso 14253-1"
    assert reading["verdict"] == "good"
    assert reading["typed"] == "10.15"
    assert 0.01 < reading["u_mm"] < 0.02
    assert reading["k"] == pytest.approx(2.05, abs=0.05)


async def test_one_far_repeat_is_asked_about_before_it_discards_a_spring(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "9.94 9.60")
        assert shown(app, "free_length", ".flag") == "? a slip"
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, AskSlip)
        question = str(app.screen.query_one(".heading", Static).content)
        assert "Read it again: these two differ by 0.34 mm" in question
        assert "out" not in " ".join(screen_words(app))
        await pilot.press("n")
        await pilot.pause()
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert isinstance(app.screen, AskSlip)  # kept only once it is answered
    assert all(9.6 not in r["values_mm"] for c in checks(maker) for r in c["readings"])


async def test_a_slip_is_asked_about_and_the_suggestion_can_be_taken(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "101.5")
        assert shown(app, "free_length", ".flag") == "? a slip"
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, AskSlip)
        await pilot.press("t")
        await pilot.pause()
        assert entry(app, "free_length").typed == "10.15"
        assert app.screen.focused.parent.parent is entry(app, "recess")
        await pilot.press("ctrl+s")
        await pilot.pause()
    assert checks(maker)[-1]["readings"][0]["values_mm"] == [10.15]


async def test_a_doubtful_reading_is_kept_only_after_a_yes(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "101.5")
        await pilot.press("escape", "s")
        await pilot.pause()
        assert isinstance(app.screen, AskSlip)
        await pilot.press("n")
        await pilot.pause()
        assert len(checks(maker)) == 1
        assert entry(app, "free_length").typed == "101.5"
        await pilot.press("escape", "s")
        await pilot.pause()
        await pilot.press("y")
        await pilot.pause()
    assert checks(maker)[-1]["readings"][0]["values_mm"] == [101.5]


async def test_enter_on_the_question_keeps_nothing_unseen(maker):
    async with measuring(maker) as (_app, pilot):
        await type_(pilot, "101.5")
        await pilot.press("enter", "enter", "enter", "enter")
        await pilot.pause()
        assert len(checks(maker)) == 1


async def test_a_lost_decimal_point_cannot_be_kept_as_it_is(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "1015")
        assert "10.15" in shown(app, "free_length", ".told")
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("y")
        await pilot.pause()
        assert isinstance(app.screen, AskSlip)
        await pilot.press("t")
        await pilot.pause()
        assert entry(app, "free_length").typed == "10.15"


async def test_a_reading_in_the_wrong_entry_can_be_moved(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "4.9")
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("m")
        await pilot.pause()
        assert entry(app, "free_length").typed == ""
        assert entry(app, "shoe_thickness").typed == "4.9"


async def test_an_unfinished_number_stops_the_save(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.")
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert "not finished" in notices(app)
        assert len(checks(maker)) == 1
        assert entry(app, "free_length").typed == "10."


async def test_undo_and_redo(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.155")
        await pilot.press("ctrl+z", "ctrl+z")
        await pilot.pause()
        assert entry(app, "free_length").typed == "10.1"
        assert shown(app, "free_length", ".flag") == "✓ good"
        await pilot.press("ctrl+y")
        await pilot.pause()
        assert entry(app, "free_length").typed == "10.15"


async def test_a_pasted_column_becomes_repeats(maker):
    async with measuring(maker) as (app, pilot):
        app.screen.focused.post_message(events.Paste("10,15\n10,18\r\n10,16\n"))
        await pilot.pause()
        assert entry(app, "free_length").typed == "10,15 10,18 10,16"
        assert shown(app, "free_length", ".flag") == "✓ good"


@pytest.mark.parametrize("end", ["\r", "\u2028", "\x85"])
async def test_numbers_on_lines_of_a_paste_do_not_run_together(maker, end):
    """A terminal sends a carriage return where the copied text had a line feed."""
    async with measuring(maker) as (app, pilot):
        app.post_message(events.Paste(f"10,15{end}10,18{end}10,16{end}"))
        await pilot.pause()
        assert entry(app, "free_length").typed == "10,15 10,18 10,16"


async def test_what_is_typed_survives_another_screen_and_reopening(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.15 10.")
        await pilot.press("escape", "down")
        await pilot.press("escape", "q")
        await pilot.pause()
    draft = tomllib.loads((maker.folder / "open/tent1/drafts/measure.toml").read_text())
    assert draft["fields"]["free_length"] == "10.15 10."
    maker.later(5)
    async with measuring(maker) as (app, pilot):
        assert entry(app, "free_length").typed == "10.15 10."
        assert "5 min ago is back" in notices(app)
        await type_(pilot, "18")
        await pilot.press("ctrl+s")
        await pilot.pause()
    assert checks(maker)[-1]["readings"][0]["values_mm"] == [10.15, 10.18]
    assert not (maker.folder / "open/tent1/drafts/measure.toml").exists()


async def test_the_draft_is_on_disk_shortly_after_the_last_key(maker):
    async with measuring(maker) as (_app, pilot):
        await type_(pilot, "10.1")
        path = maker.folder / "open/tent1/drafts/measure.toml"
        for _ in range(50):
            await pilot.pause(0.1)
            if path.exists():
                break
        # nothing was left or quit: this is what a dead battery leaves behind
        assert tomllib.loads(path.read_text())["fields"]["free_length"] == "10.1"


async def test_an_unfitted_spring_can_be_measured(maker):
    async with measuring(maker) as (app, pilot):
        await pilot.press("escape", "p")
        await pilot.pause()
        await pilot.press("down", "enter")
        await pilot.pause()
        assert entry(app, "free_length").part == "S2"
        assert shown(app, "free_length", ".last") == "not measured yet"
        await pilot.press("enter")
        await type_(pilot, "10.3")
        await pilot.press("ctrl+s")
        await pilot.pause()
        parts = app.weekend.state().parts
        assert parts["S2"].figures["free_length"].value_mm == 10.3
        assert parts["S1"].figures["free_length"].value_mm == 10.18


async def test_a_reading_without_a_fitted_part_asks_which(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.2")
        await pilot.press("ctrl+s")
        await pilot.pause()
        await pilot.press("enter")
        await pilot.pause()
        assert app.weekend.state().parts["S1"].figures["free_length"].value_mm == 10.2
        assert shown(app, "free_length", ".last").startswith("last ✓ 10.20")


async def test_another_tool_changes_the_uncertainty_and_is_remembered(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.15")
        await pilot.press("escape", "i")
        await pilot.pause()
        await pilot.press("end", "enter")
        await pilot.pause()
        assert shown(app, "free_length", ".shown") == "10.150 ± 0.005 mm"
        await pilot.press("s")
        await pilot.pause()
        assert entry(app, "free_length").field.instrument == "micrometer"


async def test_the_last_check_is_corrected_and_the_first_one_stays(maker):
    before = {p.name: p.read_bytes() for p in (maker.folder / "log").iterdir()}
    async with measuring(maker) as (app, pilot):
        await pilot.press("escape", "e")
        await pilot.pause()
        assert entry(app, "free_length").typed == "10.18"
        assert app.screen.query_one("#banner").has_class("shown")
        await pilot.press("backspace", "6", "ctrl+s")
        await pilot.pause()
        await type_(pilot, "misread")
        await pilot.press("enter")
        await pilot.pause()
        records = [r for r in app.weekend.log.records if isinstance(r, Check)]
        assert len(records) == 1
        assert {r.quantity: r.value_mm for r in records[0].readings} == {
            "free_length": 10.16,
            "recess": 1.3,
        }
        assert not app.screen.query_one("#banner").has_class("shown")
    after = {p.name: p.read_bytes() for p in (maker.folder / "log").iterdir()}
    assert before.items() <= after.items()
    assert len(after) == len(before) + 1


async def test_a_correction_can_be_given_up(maker):
    async with measuring(maker) as (app, pilot):
        await pilot.press("escape", "e")
        await pilot.pause()
        await pilot.press("escape", "c")
        await pilot.pause()
        assert entry(app, "free_length").typed == ""
        assert len(list((maker.folder / "log").iterdir())) == 4


async def test_a_zero_check_is_kept(maker):
    async with measuring(maker) as (app, pilot):
        await pilot.press("escape", "z")
        await pilot.pause()
        await pilot.press("enter")
        await pilot.pause()
        await type_(pilot, "-0,01 0")
        await pilot.press("enter")
        await pilot.pause()
        zero = app.weekend.log.records[-1]
        assert (zero.kind, zero.instrument, zero.values_mm) == (
            "zero check",
            "caliper",
            [-0.01, 0.0],
        )


async def test_enter_on_the_last_entry_offers_to_save(maker):
    async with measuring(maker) as (_app, pilot):
        await type_(pilot, "10.15")
        for _ in range(7):
            await pilot.press("enter")
            await pilot.pause()
        await pilot.press("y")
        await pilot.pause()
    assert checks(maker)[-1]["readings"][0]["values_mm"] == [10.15]


async def test_letters_are_text_in_an_entry_and_keys_outside(maker):
    async with measuring(maker) as (app, pilot):
        await pilot.press("s")
        await pilot.pause()
        assert entry(app, "free_length").typed == "s"
        assert shown(app, "free_length", ".flag") == "! not a reading"
        await pilot.press("escape", "c")
        await pilot.pause()
        assert entry(app, "free_length").typed == ""


async def test_nut_advice_stands_where_the_recess_is_measured(maker):
    maker.heat("P1", "practice", 8)
    maker.later(10)
    async with measuring(maker, size=(140, 40)) as (app, pilot):
        panel = app.screen.query_one("#nut-advice", Static)
        await type_(pilot, "10.15")
        await pilot.press("down")
        await pilot.pause(0.3)
        assert panel.has_class("shown")
        # free length lost 0.03 mm since the heat started, one for one
        assert "P1" in str(panel.content)
        assert "1.33" in str(panel.content)
        await pilot.press("down")
        await pilot.pause(0.3)
        assert not panel.has_class("shown")


async def test_the_nut_advice_never_contradicts_what_is_typed(maker):
    maker.heat("P1", "practice", 8)
    maker.later(10)
    async with measuring(maker, size=(140, 40)) as (app, pilot):
        panel = app.screen.query_one("#nut-advice", Static)
        for typed, word, advice in (
            ("9.78 ", "✗ out", "Nut: first settle what was typed"),
            ("9.78 9.78", "✗ out", "Nut: no setting for a spring that is out. Fit a new spring"),
            ("101.5 ", "? a slip", "Nut: first settle what was typed"),
        ):
            await type_(pilot, typed)
            await pilot.pause(0.3)
            assert shown(app, "free_length", ".flag") == word
            assert str(panel.content) == advice
            entry(app, "free_length").clear()
        await pilot.press("down")
        await type_(pilot, "1.80")
        await pilot.pause(0.3)
        assert shown(app, "recess", ".flag") == "✗ out"
        assert "0.67 turns out (anticlockwise), " in str(panel.content)


async def test_reading_only_keeps_nothing_and_says_so(maker):
    async with measuring(maker, write=False) as (app, pilot):
        await type_(pilot, "10.15")
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert "reading only" in notices(app)
        assert entry(app, "free_length").typed == "10.15"
    assert len(checks(maker)) == 1


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_all_entries_and_flags_fit(maker, size):
    async with measuring(maker, size=size) as (app, pilot):
        form = app.screen.query_one("#form")
        assert form.max_scroll_y == 0
        await type_(pilot, "9.82")
        for each in app.screen.query(ReadingEntry):
            assert form.region.contains_region(each.region)
        flag = entry(app, "free_length").query_one(".flag", Static)
        assert flag.content_region.width >= len("≈ too close to call")


async def test_a_second_instance_neither_claims_nor_touches_a_draft(maker):
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as writer:
        writer.keep_draft("measure", {"free_length": "10.1", "recess": "1.3"})
        async with measuring(maker) as (app, pilot):
            assert not app.session.writable
            assert entry(app, "free_length").typed == ""
            assert "is back" not in notices(app)
            await type_(pilot, "9.9")
            await pilot.pause(0.6)
            await pilot.press("escape", "f6")
            await pilot.pause()
            assert not app.session.writable
            writer.close()
            await pilot.press("f6")
            await pilot.pause()
            assert app.session.writable
            assert entry(app, "free_length").typed == "9.9", "what is typed here stays"
            assert entry(app, "recess").typed == "1.3"
            assert "is back" in notices(app)


async def test_a_value_that_has_not_changed_is_told_so(maker):
    maker.check(free_length=10.18)
    async with measuring(maker.later(5)) as (app, pilot):
        await pilot.press("escape")
        await pilot.pause(0.3)
        told = str(app.screen.query_one("#more", Static).content)
        assert "10.18" in told
        assert "as the one before" in told
        assert "0.00 mm since" not in told


async def test_no_minutes_are_left_while_what_is_typed_is_out(maker):
    for length in (10.15, 10.12):
        maker.later(20).heat("P1" if length > 10.13 else "P2", "practice", 10)
        maker.later(5).check(free_length=length)
    async with measuring(maker, size=(140, 40)) as (app, pilot):
        line = app.screen.query_one("#wear-line", Static)
        await until(pilot, lambda: "min left" in str(line.content))
        counted = str(line.content)
        await type_(pilot, "9.70 9.70")
        await pilot.pause(0.3)
        assert shown(app, "free_length", ".flag") == "✗ out"
        assert str(line.content) == "Out as typed: Fit a new spring"
        await pilot.pause(0.8)
        assert "min left" not in str(line.content)
        entry(app, "free_length").clear()
        await until(pilot, lambda: str(line.content) == counted)
