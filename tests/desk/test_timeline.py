"""The timeline: rows in order, filters, details, the way back, the best heat."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
from factory import WeekendMaker, blank_weekend, local, race_weekend, scheduled

from pitwright.desk.heats.best_heat import before_best
from pitwright.desk.heats.happenings import Happening
from pitwright.desk.heats.heat_detail import HeatDetail, heat_detail
from pitwright.desk.heats.heats import start_heat
from pitwright.desk.heats.return_to import plan_lines, return_to
from pitwright.desk.heats.timeline import Timeline, TimelineFilter, timeline
from pitwright.desk.heats.timeline_rows import Day, HeatLine, lap_figures, lap_words
from pitwright.desk.nut.nut import nut_advice
from pitwright.store.session import Session
from pitwright.weekend.weekend import Weekend


@pytest.fixture(scope="module")
def sixty(tmp_path_factory: pytest.TempPathFactory) -> tuple[Weekend, WeekendMaker]:
    maker = race_weekend(tmp_path_factory.mktemp("sixty") / "w", 60)
    with maker.session() as session:
        assert session.problems == ()
        return session.weekend, maker


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(
        tmp_path / "w",
        schedule=[
            scheduled("P1", "practice", 0, "9:00", 8, 1),
            scheduled("P2", "practice", 0, "10:00", 8, 2),
            scheduled("P3", "practice", 0, "11:00", 8, 3),
        ],
    )
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("end play shims", shims_mm=[0.1, 0.05])
    made.set_recess(1.35)
    made.check(free_length=10.2, shoe_thickness=5.0, end_play=0.25)
    return made


def seen(maker: WeekendMaker, chosen: TimelineFilter | None = None) -> Timeline:
    with maker.session() as session:
        return timeline(session.weekend, maker.at, chosen)


def heat(found: Timeline, name: str) -> HeatLine:
    return next(h for h in found.heats if h.heat == name)


def words(detail: HeatDetail, section: str) -> dict[str, tuple[str, str, str]]:
    lines = next((s.lines for s in detail.sections if s.title == section), ())
    return {line.label: (line.text, line.word, line.source) for line in lines}


# Rows


def test_with_nothing_it_says_what_to_do_first(tmp_path: Path) -> None:
    with Session(blank_weekend(tmp_path / "w"), laptop="t") as session:
        found = timeline(session.weekend, local(0, "8:00"))
    assert found.rows == ()
    first = "\n".join(found.first_steps)
    for key in ("p ", "2 ", "c ", "3 ", "h ", "a "):
        assert f"\n{key}" in f"\n{first}"
    assert "weekend.toml" in first


def test_first_steps_leave_out_what_is_done(maker: WeekendMaker) -> None:
    first = "\n".join(seen(maker).first_steps)
    assert "recess" not in first
    assert "weekend.toml" not in first
    maker.go(0, "9:00").heat("P1", "practice")
    assert seen(maker).first_steps == ()


def test_sixty_heats_stand_in_order_with_what_happened_between(
    sixty: tuple[Weekend, WeekendMaker],
) -> None:
    weekend, maker = sixty
    found = timeline(weekend, maker.at)
    assert len(found.heats) == 60
    times = [row.at for row in found.rows if not isinstance(row, Day)]
    assert times == sorted(times)
    assert [row.date for row in found.rows if isinstance(row, Day)] == list(found.days)
    drawn = [row.record for row in found.rows if isinstance(row, Happening)]
    assert len(drawn) == len(set(drawn))
    springs = [h.start.spring for h in found.heats if h.start]
    assert list(dict.fromkeys(springs)) == ["S1", "S2", "S3"]
    assert sum(h.best for h in found.heats) == 1


def test_each_heat_shows_the_state_it_started_on(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).set_recess(1.45)
    maker.later(1).check("out", free_length=9.7)
    maker.later(1).fit("end play shims", shims_mm=[0.1])
    maker.go(0, "10:00").heat("P2", "practice")
    found = seen(maker)
    one, two = heat(found, "P1").start, heat(found, "P2").start
    assert one is not None
    assert two is not None
    assert (one.spring, one.spring_label, one.free_length_mm) == ("S1", "Spring 1", 10.2)
    assert (one.recess_mm, one.end_play_shims_mm, one.doubtful) == (1.35, (0.1, 0.05), ())
    assert (two.recess_mm, two.free_length_mm, two.end_play_mm) == (1.45, 9.7, 0.25)
    assert two.doubtful == ("end_play",)
    assert (heat(found, "P1").word, heat(found, "P2").word) == ("good", "out")
    assert [f.label for f in heat(found, "P2").flags] == ["Spring free length"]
    assert [c.sort for c in heat(found, "P2").changes] == ["setting", "reading", "fit"]


def test_statuses_of_what_is_planned_missed_called_off_and_stopped(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice", 3, status="stopped early", trouble="flame out")
    maker.go(0, "10:30").heat("P2 rerun", "practice", None)
    maker.go(0, "10:40")
    found = seen(maker)
    assert [(h.heat, h.status, h.rerun) for h in found.heats] == [
        ("P1", "stopped early", False),
        ("P2", "not noted", False),
        ("P2 rerun", "run", True),
        ("P3", "planned", False),
    ]
    assert heat(found, "P2 rerun").run_minutes is None
    day = next(row for row in found.rows if isinstance(row, Day))
    assert (day.heats_run, day.run_minutes, day.unknown_runs) == (2, 3, 1)


def test_a_cancelled_heat_hides_no_change_from_the_next(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).set_recess(1.5)
    maker.go(0, "10:00").heat("P2", "practice", None, status="cancelled")
    maker.go(0, "11:00").heat("P3", "practice")
    found = seen(maker)
    assert [c.sort for c in heat(found, "P3").changes] == ["setting"]
    assert heat(found, "P2").word == ""


def test_a_delay_moves_what_is_planned_and_says_so(maker: WeekendMaker) -> None:
    maker.go(0, "8:30").delay("P2", 15)
    line = heat(seen(maker), "P2")
    assert (line.at, line.moved_minutes) == (local(0, "10:15"), 15)


def test_a_running_heat_is_a_row_on_its_own_clutch(maker: WeekendMaker) -> None:
    maker.go(0, "9:01")
    with maker.session() as session:
        session.keep_heat(
            start_heat(session.weekend, maker.at, planned=session.weekend.schedule[0])
        )
        line = heat(timeline(session.weekend, maker.at + timedelta(minutes=2)), "P1")
    assert (line.status, line.key, line.record) == ("running", "running", "")
    assert line.start is not None
    assert line.start.recess_mm == 1.35


def test_a_correction_shows_on_its_heat(maker: WeekendMaker) -> None:
    record = maker.go(0, "9:00").heat("P1", "practice", 80)
    maker.later(1).correct(record, "one nought too many", run_minutes=8.0)
    line = heat(seen(maker), "P1")
    assert (line.run_minutes, line.corrected) == (8, "corrected: one nought too many")
    with maker.session() as session:
        detail = heat_detail(session.weekend, line.key, maker.at)
    corrections = words(detail, "Corrections")
    assert corrections["Run minutes"][0] == "was 80, now 8"
    assert corrections["Corrected Fri 10:21"][0] == "one nought too many"


def test_laps_leave_out_stops_and_show_a_glance() -> None:
    found = lap_figures([19.9, 18.2, 18.4, 55.0, 18.3, 18.1, 6.0])
    assert (found.count, found.best) == (7, 18.1)
    assert found.median == pytest.approx(18.3)
    assert lap_figures([]).best is None
    assert (lap_words(18.205), lap_words(62.305), lap_words(59.999), lap_words(None)) == (
        "18.20", "1:02.30", "1:00.00", "",
    )  # fmt: skip


# Filters


@pytest.mark.parametrize(
    "chosen",
    [
        TimelineFilter(day=date(2026, 5, 16)),
        TimelineFilter(kind="qualifier"),
        TimelineFilter(spring="S2"),
        TimelineFilter(text="dragged GRID"),
        TimelineFilter(day=date(2026, 5, 15), kind="practice", text="rain"),
        TimelineFilter(text="no such thing"),
    ],
)
def test_a_filter_keeps_just_what_fits(
    sixty: tuple[Weekend, WeekendMaker], chosen: TimelineFilter
) -> None:
    weekend, maker = sixty
    found = timeline(weekend, maker.at, chosen)
    shown = [row for row in found.rows if isinstance(row, HeatLine)]
    assert found.shown == len(shown)
    expected = [
        h.heat
        for h in timeline(weekend, maker.at).heats
        if (chosen.day is None or h.at.astimezone(weekend.event.zone).date() == chosen.day)
        and (chosen.kind is None or h.kind == chosen.kind)
        and (chosen.spring is None or (h.start and h.start.spring == chosen.spring))
        and (chosen.text != "dragged GRID" or h.heat == "P12")
        and (chosen.text != "rain" or h.heat == "P14")
        and chosen.text != "no such thing"
    ]
    assert [h.heat for h in shown] == expected
    assert len(found.heats) == 60


def test_a_search_finds_what_happened_after_the_last_heat(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).note("Crack in the bell")
    found = seen(maker, TimelineFilter(text="crack"))
    assert [r.text for r in found.rows if isinstance(r, Happening)] == ["Note: Crack in the bell"]


# Details


def test_the_detail_names_source_and_age_and_shows_no_ids(
    sixty: tuple[Weekend, WeekendMaker],
) -> None:
    weekend, maker = sixty
    line = heat(timeline(weekend, maker.at), "P14")
    detail = heat_detail(weekend, line.key, maker.at)
    clutch = words(detail, "Clutch at the start")
    assert clutch["Spring free length"][:2] == ("10.01 mm", "good")
    assert clutch["Spring free length"][2] == "caliper, Fri 13:20, 16 min since"
    assert clutch["Nut recess"] == ("1.55 mm", "", "set Fri 13:20, 16 min since")
    assert clutch["Spring"][2].startswith("fitted Fri 08:00, at least 1 h 27 min, 1 run not timed")
    text = str(detail.sections)
    assert not any(record.id in text for record in weekend.log.records)


def test_details_of_every_row_can_be_shown(sixty: tuple[Weekend, WeekendMaker]) -> None:
    weekend, maker = sixty
    for line in timeline(weekend, maker.at).heats[::7]:
        assert heat_detail(weekend, line.key, maker.at).sections
    with pytest.raises(KeyError):
        heat_detail(weekend, "nothing", maker.at)


def test_unknown_is_said_to_be_unknown(tmp_path: Path) -> None:
    made = WeekendMaker(tmp_path / "w")
    made.heat("P1", "practice", None)
    with made.session() as session:
        (line,) = timeline(session.weekend, made.at).heats
        detail = heat_detail(session.weekend, line.key, made.at)
    assert words(detail, "Heat")["Ran"][0] == "not known"
    clutch = words(detail, "Clutch at the start")
    assert clutch["Spring"][0] == clutch["Nut recess"][0] == "not known"


# The way back


def test_the_way_back_names_turns_parts_and_shims(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).set_recess(1.20)
    maker.fit("shoes", "H2", removed="H1")
    maker.fit("end play shims", shims_mm=[0.1, 0.2])
    maker.go(0, "10:00").heat("P2", "practice")
    with maker.session() as session:
        plan = return_to(session.weekend, "P1", maker.at)
        assert return_to(session.weekend, "P2", maker.at).moves == ()
    moves = {m.about: m for m in plan.moves}
    assert set(moves) == {"shoes", "end play shims", "recess"}
    assert "take off Shoe set 2, fit Shoe set 1" in moves["shoes"].text
    assert moves["end play shims"].shims_mm == ((0.2, -1), (0.05, 1))
    nut = moves["recess"]
    assert (nut.direction, nut.turns) == ("in", pytest.approx(0.2))
    assert "0.20 turn in (clockwise)" in nut.text
    assert "Spring: Spring 1" in plan.alike


def test_a_discarded_part_does_not_come_back(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).fit("spring", "S2", removed="S1", fate="discarded", reason="cracked")
    with maker.session() as session:
        plan = return_to(session.weekend, "P1", maker.at)
    spring = next(m for m in plan.moves if m.about == "spring")
    assert not spring.possible
    assert spring.text == (
        "Spring: Spring 1 was discarded (cracked); Spring 2, on the clutch now, has to do"
    )
    # With another spring the nut is counted from bottomed: (2.125 - 1.35) / 0.75 turns.
    nut = next(m for m in plan.moves if m.about == "recess")
    assert "1.03 turns out" in nut.text


def test_a_discarded_parts_place_is_taken_by_one_in_stock(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).fit("spring", "S2", removed="S1", fate="discarded", reason="cracked")
    maker.later(5).check("out", free_length=9.78)
    with maker.session() as session:
        spring = next(m for m in return_to(session.weekend, "P1", maker.at).moves)
    assert spring.possible
    assert spring.text == (
        "Spring: Spring 1 was discarded (cracked); take off Spring 2, "
        "fit Spring 3 in its place, not run yet"
    )


def test_with_none_like_a_discarded_part_left_it_says_so(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    for old, new in (("S1", "S2"), ("S2", "S3")):
        maker.later(5).fit("spring", new, removed=old, fate="discarded", reason="cracked")
    maker.later(5).check("out", free_length=9.78)
    with maker.session() as session:
        spring = next(m for m in return_to(session.weekend, "P1", maker.at).moves)
    assert not spring.possible
    assert spring.text == (
        "Spring: Spring 1 was discarded (cracked); none like it is left in stock"
    )


def test_a_part_of_another_kind_takes_no_place_and_one_of_none_is_in_doubt(
    maker: WeekendMaker,
) -> None:
    stock = maker.folder / "stock.toml"
    text = stock.read_text().replace('label = "Spring 2"\nkind = "1.6 x 9.0"', 'label = "Spring 2"')
    head, found, tail = text.partition('label = "Spring 3"\nkind = "1.6 x 9.0"')
    assert found
    stock.write_text(f'{head}label = "Spring 3"\nkind = "1.8 x 9.0"{tail}')
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).fit("spring", "S3", removed="S1", fate="discarded", reason="cracked")
    with maker.session() as session:
        spring = next(m for m in return_to(session.weekend, "P1", maker.at).moves)
    assert spring.text.endswith("fit Spring 2 in its place, not run yet; see that it is alike")


def test_wear_does_not_come_back_and_the_bite_may_not_either(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).check(free_length=9.70, shoe_thickness=4.9)
    with maker.session() as session:
        weekend = session.weekend
    plan = return_to(weekend, "P1", maker.at)
    text = "\n".join(plan_lines(plan, weekend))
    assert plan.moves == ()
    assert "Spring 1 is 0.50 mm shorter than then" in text
    assert "Shoe set 1 is 0.10 mm thinner" in text
    # The one answer that the nut advice gives, too.
    wanted = nut_advice(weekend, like="P1").wanted_mm
    assert wanted > 1.7
    assert f"bite asks for a recess of {wanted:.2f} mm, past the most the card allows" in text


def test_what_was_not_noted_then_is_no_move(tmp_path: Path) -> None:
    made = WeekendMaker(tmp_path / "w")
    made.heat("P1", "practice")
    made.later(5).set_recess(1.4)
    made.fit("spring", "S1")
    with made.session() as session:
        plan = return_to(session.weekend, "P1", made.at)
        assert plan.moves == ()
        assert len(plan.unknown) == 2
        assert "not everything is known" in plan.sentence
        with pytest.raises(KeyError):
            return_to(session.weekend, "Q9", made.at)


def test_a_setting_past_the_cards_limit_is_refused(maker: WeekendMaker) -> None:
    maker.go(0, "8:40").set_recess(1.9)
    maker.go(0, "9:00").heat("P1", "practice")
    maker.later(5).set_recess(1.4)
    with maker.session() as session:
        (nut,) = return_to(session.weekend, "P1", maker.at).moves
    assert not nut.possible
    assert "deeper than the card allows" in nut.text


def test_the_nut_is_counted_from_bottomed_once_a_spring_was_fitted(maker: WeekendMaker) -> None:
    maker.go(0, "8:40").fit("spring", "S1")
    maker.set_recess(1.4)
    maker.go(0, "9:00").heat("P1", "practice")
    # the same spring, off and on again: the nut came off with it
    maker.later(5).fit("spring", "S1", removed="S1")
    with maker.session() as session:
        (nut,) = return_to(session.weekend, "P1", maker.at).moves
    assert "bottom it out" in nut.text
    # bottomed at 2.125 mm, 0.75 mm a turn: the card's figures
    assert f"{(2.125 - 1.4) / 0.75:.2f} turns out" in nut.text


# The best heat


def test_what_changed_before_the_best_heat(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice", 8, [18.6] * 10)
    maker.later(5).set_recess(1.45)
    maker.go(0, "10:00").heat("P2", "practice", 8, [18.2] * 10)
    maker.go(0, "11:00").heat("P3", "practice", 8, [18.0] * 3)  # too few laps to count
    with maker.session() as session:
        found = before_best(session.weekend, maker.at)
    assert found.heat is not None
    assert found.before is not None
    assert (found.heat.heat, found.before.heat) == ("P2", "P1")
    assert [d.text for d in found.differences] == ["Nut recess: 1.35 mm → 1.45 mm (+0.10 mm)"]
    assert [c.sort for c in found.changes] == ["setting"]
    assert "quickest of 2 timed heats" in found.sentence
    assert "proves no change" in found.caution


def test_no_laps_no_best_heat(maker: WeekendMaker) -> None:
    maker.go(0, "9:00").heat("P1", "practice")
    with maker.session() as session:
        found = before_best(session.weekend, maker.at)
    assert found.heat is None
    assert "5 laps" in found.sentence


def test_the_timeline_needs_no_numpy(tmp_path: Path) -> None:
    folder = race_weekend(tmp_path / "w", 6).folder
    script = (
        "import sys, pathlib, datetime\n"
        "from pitwright.store.session import Session\n"
        "from pitwright.desk.heats.timeline import timeline\n"
        f"with Session(pathlib.Path({str(folder)!r})) as session:\n"
        "    found = timeline(session.weekend, datetime.datetime.now(datetime.UTC))\n"
        "assert found.heats[0].laps.best\n"
        "print(sorted({'numpy', 'pint', 'textual'} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"
