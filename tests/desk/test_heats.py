"""A heat from start to record, and the text of its form."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from factory import ZONE, WeekendMaker, local, scheduled

from pitwright.desk.form_text import (
    FieldError,
    FormError,
    read_choice,
    read_minutes,
    read_moment,
    read_quantity_field,
    read_rating,
    read_teeth,
    read_turns,
    shown_moment,
)
from pitwright.desk.heats.corrections import corrected, edit_form, read_edit, take_back
from pitwright.desk.heats.heat_form import add_form, finish_form, heat_form, read_heat
from pitwright.desk.heats.heats import (
    due_heat,
    go_on,
    landed,
    laps_of,
    rerun_name,
    running,
    start_heat,
    stop,
    tap,
    undo_tap,
)
from pitwright.desk.heats.note_forms import (
    delay_form,
    read_delay,
    read_note,
    read_setting,
    setting_doubt,
)
from pitwright.weekend.open_work import OpenHeat
from pitwright.weekend.records import HeatRun, ScheduleChange, Setting
from pitwright.weekend.weekend import Weekend

NINE = local(0, "9:00")
SCHEDULE = [
    scheduled("P1", "practice", 0, "9:00", 8, 1),
    scheduled("P2", "practice", 0, "10:00", 8, 2),
    scheduled("Q1", "qualifier", 1, "9:00", 6, 1),
]


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w", schedule=SCHEDULE)
    made.fit("spring", "S1")
    made.set_recess(1.35)
    return made


def values_of(weekend: Weekend, run: HeatRun, /, **typed: str) -> dict[str, str]:
    return {f.key: f.value for f in heat_form(weekend, run)} | typed


# Starting and tapping


def test_start_means_the_planned_heat_nearest_to_now(maker: WeekendMaker) -> None:
    with maker.session() as session:
        weekend = session.weekend
        due = due_heat(weekend, local(0, "9:04"))
        assert due is not None
        assert due.name == "P1"
        due = due_heat(weekend, local(0, "9:55"))
        assert due is not None
        assert due.name == "P2"
        assert due_heat(weekend, local(0, "16:00")) is None


def test_a_heat_run_or_called_off_is_not_due_again(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("p1", "practice")
    with maker.session() as session:
        due = due_heat(session.weekend, local(0, "9:10"))
        assert due is not None
        assert due.name == "P2"
        session.append(
            HeatRun(
                happened_at=local(0, "9:10"),
                heat=due.name,
                heat_kind=due.kind,
                status="cancelled",
                trouble="storm",
            )
        )
        assert due_heat(session.weekend, local(0, "9:30")) is None
        assert session.weekend.state().run_minutes == 8


def test_taps_make_laps_and_a_mistap_is_undone(maker: WeekendMaker) -> None:
    with maker.session() as session:
        heat = start_heat(session.weekend, NINE, planned=session.weekend.schedule[0])
    assert (heat.heat.heat, heat.heat.round, heat.heat.planned_minutes) == ("P1", 1, 8)
    for second in (12.0, 30.5, 48.75):
        heat = tap(heat, NINE + timedelta(seconds=second))
    assert laps_of(heat) == (18.5, 18.25)
    assert tap(heat, NINE + timedelta(seconds=49.0)) is heat  # the same crossing, hit twice
    heat = tap(heat, NINE + timedelta(seconds=55))
    assert laps_of(undo_tap(heat)) == (18.5, 18.25)
    shown = running(heat, NINE + timedelta(seconds=60))
    assert (shown.last, shown.best, shown.left_seconds) == (6.25, 6.25, 420)


def test_stopping_stops_the_clock_and_going_on_forgets_it(maker: WeekendMaker) -> None:
    with maker.session() as session:
        heat = start_heat(session.weekend, NINE, name="Test", kind="run-in")
    stopped = stop(heat, NINE + timedelta(minutes=5))
    assert running(stopped, NINE + timedelta(minutes=9)).seconds == 300
    assert tap(stopped, NINE + timedelta(minutes=6)) is stopped
    assert running(go_on(stopped), NINE + timedelta(minutes=9)).seconds == 540


def test_undoing_with_no_tap_is_harmless(maker: WeekendMaker) -> None:
    with maker.session() as session:
        heat = start_heat(session.weekend, NINE, name="Test")
    assert undo_tap(heat).taps == []
    assert laps_of(tap(heat, NINE + timedelta(seconds=3))) == ()


def test_a_clock_set_back_costs_no_earlier_lap(maker: WeekendMaker) -> None:
    with maker.session() as session:
        heat = start_heat(session.weekend, NINE, name="Test")
    for second in (10, 28, 46):
        heat = tap(heat, NINE + timedelta(seconds=second))
    back = heat.model_copy(update={"taps": [*heat.taps, heat.taps[0]]})
    assert laps_of(back) == (18, 18)


def test_a_clock_set_back_costs_the_lap_in_which_it_was_and_no_later_one(
    maker: WeekendMaker,
) -> None:
    with maker.session() as session:
        heat = start_heat(session.weekend, NINE, name="Test")
    for second in (10, 28, 46, 46.5, -3540, -3520, -3519, -3501):
        heat = tap(heat, NINE + timedelta(seconds=second))
    assert len(heat.taps) == 6  # two were second hits of the same crossing
    assert laps_of(heat) == (18, 18, 20, 19)


def test_a_name_is_used_once_and_a_rerun_gets_its_own(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.go(0, "9:30").heat("P1 rerun", "practice")
    with maker.session() as session:
        assert rerun_name(session.weekend, "P1") == "P1 rerun 2"
        assert rerun_name(session.weekend, "P1 rerun") == "P1 rerun 2"
        with pytest.raises(FormError, match="call it p1 rerun 2"):
            start_heat(session.weekend, maker.at, name="p1")
        with pytest.raises(FormError, match="give the heat a name"):
            start_heat(session.weekend, maker.at, name="  ")
        with pytest.raises(FormError, match="letters, digits"):
            start_heat(session.weekend, maker.at, name="P/1")


def test_a_running_heat_survives_the_app_dying(maker: WeekendMaker) -> None:
    with maker.session() as session:
        heat = start_heat(session.weekend, NINE, planned=session.weekend.schedule[0])
        heat = tap(tap(heat, NINE + timedelta(seconds=10.5)), NINE + timedelta(seconds=29.25))
        session.keep_heat(heat)
    with maker.session() as session:
        assert session.problems == ()
        found = session.weekend.open.heat
        assert isinstance(found, OpenHeat)
        assert laps_of(found) == (18.75,)
        with pytest.raises(FormError, match="P1 is still open"):
            start_heat(session.weekend, NINE, name="other")


def test_a_heat_whose_record_landed_before_the_app_died_is_known(maker: WeekendMaker) -> None:
    start = NINE + timedelta(seconds=3.7)
    with maker.session() as session:
        heat = start_heat(session.weekend, start, planned=session.weekend.schedule[0])
        session.keep_heat(heat)
        assert not landed(session.weekend, heat)
        session.append(finish_form(session.weekend, heat, start + timedelta(minutes=8)))
    with maker.session() as session:
        assert session.weekend.open.heat is not None
        assert landed(session.weekend, session.weekend.open.heat)


# The form


def test_the_clock_gives_the_minutes_and_the_last_heat_the_gearing(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice", pinion_teeth=[17, 21], spur_teeth=[46, 42])
    with maker.session() as session:
        start = local(0, "10:00")
        heat = stop(
            start_heat(session.weekend, start, planned=session.weekend.schedule[1]),
            start + timedelta(minutes=7, seconds=30),
        )
        base = finish_form(session.weekend, heat, start + timedelta(hours=1))
        assert (base.run_minutes, base.pinion_teeth, base.spur_teeth) == (7.5, [17, 21], [46, 42])


def test_a_form_makes_the_record(maker: WeekendMaker) -> None:
    with maker.session() as session:
        weekend = session.weekend
        base = add_form(weekend, local(0, "12:00"), weekend.schedule[0])
        typed = values_of(
            weekend,
            base,
            start="9:05",
            minutes="7:30",
            warm_up="1,5",
            air="75.2 F",
            track="31,5",
            humidity="55 %",
            pressure="1013 hPa",
            grip="4",
            bite="3",
            bottom_end="5",
            consistency="2",
            engine="105 C",
            fuel="0,085 l",
            pinion="17/21",
            spur="46 42",
            trouble="  dragged  on the grid ",
        )
        run = read_heat(weekend, base, typed, local(0, "12:00"))
    assert run.happened_at == local(0, "9:05")
    assert (run.run_minutes, run.warm_up_minutes) == (7.5, 1.5)
    air = run.conditions
    assert air.air_c == pytest.approx(24.0)
    assert (air.track_c, air.humidity_percent, air.pressure_hpa, air.grip) == (31.5, 55, 1013, 4)
    assert (run.bite_rating, run.bottom_end_rating, run.consistency_rating) == (3, 5, 2)
    assert run.fuel_used_ml == pytest.approx(85)
    assert (run.pinion_teeth, run.spur_teeth) == ([17, 21], [46, 42])
    assert run.trouble == "dragged on the grid"
    assert run.planned_minutes == 8


def test_empty_minutes_are_unknown_and_not_zero(maker: WeekendMaker) -> None:
    with maker.session() as session:
        base = add_form(session.weekend, local(0, "9:30"), session.weekend.schedule[0])
        typed = values_of(session.weekend, base, minutes="  ")
        run = read_heat(session.weekend, base, typed, local(0, "9:30"))
        assert run.run_minutes is None
        session.append(run)
        spring = session.weekend.state().spring
        assert spring is not None
        assert (spring.run_minutes, spring.unknown_runs) == (0, 1)


def test_every_wrong_field_is_named_at_once(maker: WeekendMaker) -> None:
    with maker.session() as session:
        base = add_form(session.weekend, local(0, "9:30"), session.weekend.schedule[0])
        typed = values_of(
            session.weekend,
            base,
            start="25:99",
            minutes="eight",
            bite="6",
            air="warm",
            kind="race",
            pinion="lots",
            round="1.5",
        )
        with pytest.raises(FormError) as caught:
            read_heat(session.weekend, base, typed, local(0, "9:30"))
    assert set(caught.value.errors) == {
        "start", "minutes", "bite", "air", "kind", "pinion", "round",
    }  # fmt: skip


def test_what_a_record_refuses_is_laid_at_its_field(maker: WeekendMaker) -> None:
    with maker.session() as session:
        base = add_form(session.weekend, local(0, "9:30"), session.weekend.schedule[0])
        for key, text in (("air", "600"), ("minutes", "-3"), ("fuel", "9000"), ("heat", "Q/1")):
            typed = values_of(session.weekend, base, **{key: text})
            with pytest.raises(FormError) as caught:
                read_heat(session.weekend, base, typed, local(0, "9:30"))
            assert set(caught.value.errors) == {key}, text


def test_a_heat_cannot_have_started_later_than_now(maker: WeekendMaker) -> None:
    with maker.session() as session:
        base = add_form(session.weekend, local(0, "9:30"), session.weekend.schedule[0])
        typed = values_of(session.weekend, base, start="Fri 11:00")
        with pytest.raises(FormError, match="still to come"):
            read_heat(session.weekend, base, typed, local(0, "9:30"))


def test_the_form_of_a_kept_heat_reads_back_as_the_same_heat(maker: WeekendMaker) -> None:
    record = maker.go(0, "9:00").heat(
        "P1",
        "practice",
        7.25,
        round=1,
        warm_up_minutes=1.5,
        bite_rating=4,
        engine_c=104.5,
        pinion_teeth=[17],
        tyres="37 shore",
        result="P3",
        note="fine",
    )
    with maker.session() as session:
        again = read_heat(session.weekend, record, values_of(session.weekend, record), maker.at)
    keep = {"id", "recorded_at", "laptop", "sequence"}
    assert again.model_dump(exclude=keep) == record.model_dump(exclude=keep)


# Correcting


def test_a_heat_is_corrected_and_taken_back_and_brought_back(maker: WeekendMaker) -> None:
    record = maker.go(0, "9:00").heat("P1", "practice", 80)
    with maker.session() as session:
        typed = values_of(session.weekend, record, minutes="8")
        new = read_heat(session.weekend, record, typed, maker.at)
        session.append(corrected(record, new, "", maker.at))
        assert session.weekend.state().run_minutes == 8
        living = session.weekend.heats[0].run
        session.append(take_back(living.id, living.clutch, "undo", maker.at))
        assert session.weekend.state().run_minutes == 80
        gone = session.append(take_back(record.id, record.clutch, "never ran", maker.at))
        assert session.weekend.heats == ()
        session.append(take_back(gone.id, record.clutch, "it did", maker.at))
        assert session.weekend.state().run_minutes == 80
        assert session.weekend.log.problems == ()


def test_a_setting_a_note_and_a_fit_are_edited_through_their_forms(maker: WeekendMaker) -> None:
    maker.go(0, "9:00")
    setting = maker.set_recess(1.5, turns_in=0.2)
    note = maker.note("Wet", about="P1")
    fit = maker.fit("spring", "S2", removed="S1", fate="kept")
    shims = maker.fit("end play shims", shims_mm=[0.1])
    with maker.session() as session:
        weekend = session.weekend

        def edited(record, **typed):
            values = {f.key: f.value for f in edit_form(weekend, record)} | typed
            return read_edit(weekend, record, values, maker.at)

        new = edited(setting, recess="1,45", at="8:50")
        assert (new.recess_mm, new.turns_in, new.happened_at) == (1.45, 0.2, local(0, "8:50"))
        assert edited(note, text="Dry").text == "Dry"
        assert edited(note).about == "P1"
        assert edited(fit, fate="disc").fate == "discarded"
        assert edited(fit, part="s3").part == "S3"
        assert edited(shims, shims="0,10 0.05").shims_mm == [0.1, 0.05]
        with pytest.raises(FormError, match="one of S1, S2, S3"):
            edited(fit, part="S9")
        with pytest.raises(FormError, match="taken off"):
            edited(fit, part="S1")


# Settings, notes, delays


def test_turns_alone_give_the_recess_by_the_pitch(maker: WeekendMaker) -> None:
    with maker.session() as session:
        now = maker.at + timedelta(minutes=5)
        made = read_setting(session.weekend, {"turns": "1/4 in"}, now)
        assert made.recess_mm == pytest.approx(1.35 + 0.25 * 0.75, abs=5e-4)
        made = read_setting(session.weekend, {"turns": "0,2 out"}, now)
        assert made.recess_mm == pytest.approx(1.20)
        with pytest.raises(FormError, match="give the recess, or the turns"):
            read_setting(session.weekend, {}, now)
        with pytest.raises(FormError, match="deeper than bottomed out"):
            read_setting(session.weekend, {"recess": "2.5"}, now)


def test_turns_alone_say_nothing_when_the_nut_is_anywhere(tmp_path: Path) -> None:
    with (
        WeekendMaker(tmp_path / "w").session() as session,
        pytest.raises(FormError, match="cannot be worked out"),
    ):
        read_setting(session.weekend, {"turns": "0.5"}, NINE)


def test_an_odd_setting_is_pointed_out_and_kept(maker: WeekendMaker) -> None:
    with maker.session() as session:
        now = maker.at + timedelta(minutes=5)

        def doubt(**typed: float) -> str:
            return setting_doubt(session.weekend, Setting(happened_at=now, **typed))

        assert "past the most the card allows" in doubt(recess_mm=1.8)
        assert "those turns would give 1.72 mm" in doubt(recess_mm=1.40, turns_in=0.5)
        assert doubt(recess_mm=1.40, turns_in=0.07) == ""


def test_a_note_needs_words_and_a_delay_a_heat(maker: WeekendMaker) -> None:
    with maker.session() as session:
        weekend, now = session.weekend, maker.at
        note = read_note(weekend, {"text": " cold ", "open": "y", "about": "P1"}, now)
        assert (note.text, note.open_point, note.about) == ("cold", True, "P1")
        with pytest.raises(FormError, match="nothing is written"):
            read_note(weekend, {"text": "  "}, now)
        delay = read_delay(weekend, {"minutes": "15 min", "heat": "p2"}, now)
        assert (delay.heat, delay.minutes, delay.change) == ("P2", 15, "delay")
        assert read_delay(weekend, {"minutes": "-5", "heat": "P2"}, now).minutes == -5
        with pytest.raises(FormError, match="one of P1, P2, Q1"):
            read_delay(weekend, {"minutes": "15", "heat": "Q9"}, now)


def test_what_is_over_or_called_off_is_not_delayed(maker: WeekendMaker) -> None:
    def why(heat: str) -> str:
        with maker.session() as session, pytest.raises(FormError) as refusal:
            read_delay(session.weekend, {"minutes": "10", "heat": heat}, maker.at)
        return refusal.value.errors["heat"]

    maker.go(0, "8:50").heat("P1", "practice", 8)
    assert why("p1") == "From heat: P1 was run already, Fri 08:50; one of P2, Q1"
    cancelled = ScheduleChange(happened_at=maker.at, change="cancel", heat="P2")
    maker.later(1).add(cancelled)
    assert why("P2") == "From heat: P2 was called off; one of Q1"
    with maker.session() as session:
        assert delay_form(session.weekend, maker.at)[1].value == "Q1"
        heat = HeatRun(happened_at=maker.at, heat="Q1", heat_kind="qualifier")
        session.keep_heat(OpenHeat(heat=heat))
        with pytest.raises(FormError, match="Q1 has started already; none is to come"):
            read_delay(session.weekend, {"minutes": "10", "heat": "Q1"}, maker.at)
        session.clear_heat()
    maker.add(heat.model_copy(update={"status": "cancelled"}))
    with maker.session() as session, pytest.raises(FormError, match="Q1 was called off"):
        read_delay(session.weekend, {"minutes": "10", "heat": "Q1"}, maker.at)


# Reading fields


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("8", 8), ("7,5 min", 7.5), ("8:30", 8.5), ("90 s", 1.5), ("0.5 h", 30), ("0", 0)],
)
def test_minutes(text: str, minutes: float) -> None:
    assert read_minutes(text) == pytest.approx(minutes)


@pytest.mark.parametrize("text", ["8:75", "eight", "8 mm", "8 8", "1:2:3"])
def test_what_is_not_minutes(text: str) -> None:
    with pytest.raises(FieldError):
        read_minutes(text)


@pytest.mark.parametrize(
    ("text", "turns"),
    [("0.25", 0.25), ("-0,5", -0.5), ("0.5 out", -0.5), ("1/4 turn in", 0.25), ("1 1/2 out", -1.5)],
)
def test_turns(text: str, turns: float) -> None:
    assert read_turns(text) == pytest.approx(turns)


def test_turns_that_contradict_themselves_are_refused() -> None:
    with pytest.raises(FieldError, match="say it twice"):
        read_turns("-0.5 out")


@pytest.mark.parametrize(
    ("text", "day", "clock"),
    [
        ("10:32", 1, "10:32"),
        ("Fri 10:32", 0, "10:32"),
        ("sunday 9.05", 2, "9:05"),
        ("2026-05-17 10:32", 2, "10:32"),
        ("2026-05-17T10:32", 2, "10:32"),
        ("15 May 23:59", 0, "23:59"),
    ],
)
def test_moments_are_the_venues_clock(text: str, day: int, clock: str) -> None:
    assert read_moment(text, ZONE, local(1, "12:00")) == local(day, clock)


@pytest.mark.parametrize("text", ["10", "24:10", "Foo 10:10", "31 Feb 10:10", "2026-13-01 10:00"])
def test_what_is_not_a_moment(text: str) -> None:
    with pytest.raises(FieldError):
        read_moment(text, ZONE, local(1, "12:00"))


def test_a_shown_moment_reads_back() -> None:
    for moment in (local(0, "0:00"), local(2, "23:59"), local(1, "9:05") + timedelta(seconds=7)):
        assert read_moment(shown_moment(moment, ZONE), ZONE, moment) == moment


def test_other_fields() -> None:
    assert read_quantity_field("29.92 inHg", "hPa") == pytest.approx(1013.2, abs=0.1)
    assert read_quantity_field("", "hPa") is None
    assert read_rating(" 3 ") == 3
    assert read_teeth("") == []
    assert read_choice("Q", ("practice", "qualifier")) == "qualifier"
    for bad in ("0", "6", "3.5", "good"):
        with pytest.raises(FieldError):
            read_rating(bad)
    with pytest.raises(FieldError, match="one of"):
        read_choice("r", ("run-in", "rerun"))
