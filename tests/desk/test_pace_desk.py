"""Pace and comparison at the desk, on weekends made so that the answer is known."""

from __future__ import annotations

import statistics
from dataclasses import replace
from itertools import pairwise

import pytest
from factory import WeekendMaker
from hypothesis import given
from hypothesis import strategies as st

from pitwright.desk.form_text import FormError
from pitwright.desk.pace.clutch_states import bands, grouped, named
from pitwright.desk.pace.compare import Asked, compare_heats, compare_lists
from pitwright.desk.pace.lap_preview import heat_for_laps, preview_lines
from pitwright.desk.pace.pace import (
    find_heats,
    heat_pace,
    lap_spread,
    lap_trace,
    pace_heats,
    usual_choice,
)
from pitwright.desk.pace.rule import PaceRule, read_rule, rule_form
from pitwright.desk.pace.words import (
    PaceColumns,
    choice_line,
    comparing_lines,
    heat_words,
    pace_lines,
    state_lines,
)
from pitwright.inference.laps import SetAsideRule

WOBBLE = (0.05, -0.04, 0.02, -0.05, 0.04, -0.02, 0.03, -0.03, 0.01, -0.01)


def laps(pace, *extra):
    return [pace + 1.2, pace + 0.1, *(pace + w for w in WOBBLE), *extra]


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.set_recess(1.35)
    made.check(free_length=10.15)
    made.later(10).build()
    return made


def alternate(maker, heats, gain, parts=("S1", "S2")):
    """Run heats on two springs in turn; the second is ``gain`` quicker."""
    for n in range(heats):
        spring = parts[n % 2]
        maker.later(20).fit("spring", spring)
        # A little scatter from heat to heat that does not follow the spring.
        pace = 18.0 + 0.01 * ((n * 7) % 5) - (gain if spring == parts[1] else 0.0)
        maker.heat(f"P{n + 1}", "practice", 4, laps(pace))
    with maker.session() as session:
        return session.weekend


def chosen(weekend):
    heats = pace_heats(weekend)
    usual = usual_choice(heats)
    return [h for h in heats if h.record in usual]


def test_warm_ups_and_stopped_heats_count_only_when_chosen(maker):
    maker.later(9).heat("P1", "practice", 4, laps(18.0))
    maker.later(9).heat("W1", "warm-up", 4, laps(18.0))
    maker.later(9).heat("P2", "practice", 2, laps(18.0), status="stopped early")
    maker.later(9).heat("P3", "practice", 4)
    maker.later(9).heat("P4", "practice", 4, laps(18.0), status="cancelled")
    with maker.session() as session:
        heats = pace_heats(session.weekend)
    assert [(h.name, h.aside_because) for h in heats] == [
        ("P1", ""),
        ("W1", "warm-up"),
        ("P2", "stopped early"),
        ("P3", "no laps kept"),
    ]
    assert usual_choice(heats) == {heats[0].record}
    line = choice_line(heats, usual_choice(heats), 100)
    assert line == "1 of 4 heats chosen; not unless you choose: W1 warm-up, P2 stopped early"


def test_laps_of_a_name_run_twice_are_the_later_runs(maker):
    first = maker.later(9).heat("Q1", "qualifier", 4)
    second = maker.later(30).heat("Q1", "qualifier", 4, laps(18.0))
    with maker.session() as session:
        heats = pace_heats(session.weekend)
    assert [h.record for h in heats] == [first.id, second.id]
    assert heats[0].laps == ()
    assert "later run" in heats[0].aside_because
    assert len(heats[1].laps) == 12
    assert len({h.name for h in heats}) == 2
    assert find_heats(heats, ["q1"]) == (heats[1],)
    with pytest.raises(KeyError, match="Q9"):
        find_heats(heats, ["Q1", "Q9"])


def test_changes_stand_before_the_heat_they_led_to(maker):
    maker.later(9).heat("P1", "practice", 4, laps(18.0))
    maker.later(5).set_recess(1.45)
    maker.later(5).fit("spring", "S2")
    maker.later(9).heat("P2", "practice", 4, laps(18.0))
    with maker.session() as session:
        heats = pace_heats(session.weekend)
        label = session.weekend.stock.parts("spring")[1].label
    assert heats[0].changes == ()
    assert label in heats[1].changes
    assert "recess 1.45 mm (+0.10)" in heats[1].changes


def test_trace_and_spread_are_of_the_kept_laps():
    given_laps = tuple(laps(18.0, 40.0, 18.9, 9.0))
    pace = heat_pace(given_laps)
    trace = lap_trace("Q1", pace)
    assert [(n, why) for n, _s, why in trace.aside] == [
        (13, "stop"),
        (14, "mistake"),
        (15, "short"),
    ]
    assert [n for n, _s in trace.kept] == list(range(1, 13))
    spread = lap_spread("Q1", pace)
    kept = sorted(given_laps[:12])
    assert (spread.low, spread.high, spread.laps) == (kept[0], kept[-1], 12)
    assert spread.median == statistics.median(kept)
    # By hand: positions 2.75 and 8.25 of twelve sorted laps.
    assert spread.lower_quartile == pytest.approx(0.25 * kept[2] + 0.75 * kept[3])
    assert spread.upper_quartile == pytest.approx(0.75 * kept[8] + 0.25 * kept[9])
    words = "\n".join(heat_words(_heat(given_laps), pace))
    assert "lap 13 (40.00, stop)" in words
    assert "1 stop, 1 mistake, 1 short lap" in words


def _heat(of_laps):
    from types import SimpleNamespace

    return SimpleNamespace(name="Q1", laps=of_laps, changes=(), aside_because="")


def test_the_same_laps_are_worked_out_once():
    of_laps, same = tuple(laps(18.3)), tuple(laps(18.3))
    assert heat_pace(of_laps) is heat_pace(same)
    assert heat_pace(()) is None


def test_a_real_effect_is_found_and_the_other_differences_named(maker):
    weekend = alternate(maker, 10, 0.15)
    found = compare_heats(weekend, chosen(weekend), Asked("spring"))
    (comparison,) = found.comparisons
    assert comparison.verdict == "likely real"
    assert comparison.shift == pytest.approx(-0.15, abs=0.02)
    assert (comparison.n_a, comparison.n_b) == (5, 5)
    assert "likely real" in found.sentences[0]
    # Fitting a spring makes an older recess doubtful, so by recess nothing can be placed.
    by_recess = compare_heats(weekend, chosen(weekend), Asked("recess"))
    assert by_recess.comparisons == ()
    assert len(by_recess.left_out) == 10


def test_nothing_is_found_where_nothing_is(maker):
    weekend = alternate(maker, 10, 0.0)
    found = compare_heats(weekend, chosen(weekend), Asked("spring"))
    assert found.comparisons[0].verdict == "cannot tell yet"
    assert found.spread is not None
    assert [need.effect for need in found.needs] == [0.05, 0.10, 0.15, 0.20]


def test_a_step_of_the_track_is_said(maker):
    for n in range(10):
        maker.later(20).fit("spring", ("S1", "S2")[n % 2])
        rain = 0.9 if n >= 6 else 0.0
        maker.heat(f"P{n + 1}", "practice", 4, laps(18.0 + rain + 0.01 * ((n * 7) % 5)))
    with maker.session() as session:
        weekend = session.weekend
    found = compare_heats(weekend, chosen(weekend), Asked("spring"))
    assert found.comparisons[0].verdict == "cannot tell yet"
    assert "the track changed in one step between P6 and P7" in comparing_lines(found)[0]


def test_what_always_changed_along_is_said(maker):
    for n in range(10):
        maker.later(20).fit("spring", ("S1", "S2")[n % 2])
        maker.fit("shoes", ("H1", "H2")[n % 2])
        tyres = ("soft", "hard")[n % 2]
        maker.heat(f"P{n + 1}", "practice", 4, laps(18.0 - 0.1 * (n % 2)), tyres=tyres)
    with maker.session() as session:
        weekend = session.weekend
    found = compare_heats(weekend, chosen(weekend), Asked("spring"))
    assert "another shoe set and other tyres: it may be that instead" in found.sentences[0]
    one_kind = compare_heats(weekend, chosen(weekend)[:1], Asked("spring"))
    assert "nothing to compare by spring" in comparing_lines(one_kind)[0]


def test_three_springs_are_judged_by_holm_and_a_pair_alone(maker):
    for n in range(12):
        maker.later(20).fit("spring", ("S1", "S2", "S3")[n % 3])
        maker.heat(f"P{n + 1}", "practice", 4, laps(18.0 + 0.01 * ((n * 5) % 4)))
    with maker.session() as session:
        weekend = session.weekend
    every = compare_heats(weekend, chosen(weekend), Asked("spring"))
    assert [c.family for c in every.comparisons] == [3, 3, 3]
    labels = [s.label for s in every.states]
    alone = compare_heats(weekend, chosen(weekend), Asked("spring", pair=(labels[0], labels[2])))
    (comparison,) = alone.comparisons
    assert comparison.family == 1
    assert any("only question asked" in note for note in alone.notes)
    with pytest.raises(ValueError, match="no heat ran on"):
        compare_heats(weekend, chosen(weekend)[:2], Asked("spring", pair=(labels[0], labels[2])))


def test_one_before_the_other_cannot_be_told_from_the_track(maker):
    for n in range(10):
        maker.later(20)
        if n == 5:
            maker.fit("spring", "S2")
        maker.heat(f"P{n + 1}", "practice", 4, laps(18.0 - (0.3 if n >= 5 else 0)))
    with maker.session() as session:
        weekend = session.weekend
    found = compare_heats(weekend, chosen(weekend), Asked("spring"))
    assert found.comparisons[0].verdict == "cannot be told from the track changing"


def test_pace_follows_the_recess(maker):
    for n in range(12):
        recess = (1.30, 1.40, 1.50)[(n * 2) % 3]
        maker.later(20).set_recess(recess)
        pace = 18.0 + 0.8 * (recess - 1.30) + 0.01 * ((n * 7) % 5)
        maker.heat(f"P{n + 1}", "practice", 4, laps(pace))
    with maker.session() as session:
        weekend = session.weekend
    found = compare_heats(weekend, chosen(weekend), Asked("recess"))
    assert found.comparisons == ()
    assert found.slope.slope == pytest.approx(0.8, abs=0.1)
    assert found.slope.verdict == "likely real"
    assert "0.10 mm more recess is 0.08 s a lap slower" in found.sentences[0]
    pairs = compare_heats(weekend, chosen(weekend), Asked("recess", pairs=True))
    assert len(pairs.comparisons) == 3
    bite = compare_heats(weekend, chosen(weekend), Asked("bite"))
    # About 350 rpm of bite a tenth: the slope by bite is that of the recess, converted.
    assert bite.slope.slope * 350 == pytest.approx(0.08, abs=0.02)


def test_a_best_setting_in_the_middle_is_pointed_out(maker):
    for n in range(9):
        recess = (1.30, 1.45, 1.60)[n % 3]
        maker.later(20).set_recess(recess)
        maker.heat(f"P{n + 1}", "practice", 4, laps(18.0 + abs(recess - 1.45)))
    with maker.session() as session:
        weekend = session.weekend
    found = compare_heats(weekend, chosen(weekend), Asked("recess"))
    assert any("in the middle, at recess 1.45 mm" in note for note in found.notes)


def test_states_are_found_by_what_the_user_calls_them(maker):
    for recess in (1.35, 1.36, 1.50):
        maker.later(20).set_recess(recess)
        maker.heat(f"P{recess * 100:.0f}", "practice", 4, laps(18.0))
    with maker.session() as session:
        weekend = session.weekend
    by_recess = grouped(weekend, chosen(weekend), "recess")
    assert [s.label for s in by_recess.states] == ["recess 1.35 to 1.36 mm", "recess 1.50 mm"]
    for text in ("1.35", "1,36 mm", "Recess 1.35 to 1.36 mm"):
        assert named(by_recess, text) is by_recess.states[0]
    assert named(by_recess, "1.50") is by_recess.states[1]
    assert named(by_recess, "1.42") is None
    by_spring = grouped(weekend, chosen(weekend), "spring")
    assert named(by_spring, "s1") is by_spring.states[0]
    by_build = grouped(weekend, chosen(weekend), "build")
    assert len(by_build.states) == 1
    assert by_build.states[0].label.startswith("full rebuild")


def test_lists_of_heats_are_compared_as_they_are(maker):
    weekend = alternate(maker, 6, 0.1)
    heats = chosen(weekend)
    found = compare_lists(weekend, heats[0::2], heats[1::2], heats)
    (comparison,) = found.comparisons
    assert (comparison.a, comparison.b) == ("P1 + P3 + P5", "P2 + P4 + P6")
    assert "another spring" in found.sentences[0]
    assert comparison.verdict == "cannot tell yet"
    with pytest.raises(ValueError, match="P1 stands on both sides"):
        compare_lists(weekend, heats[:2], heats[:1])


def test_opening_laps_and_scatter_can_be_compared(maker):
    weekend = alternate(maker, 4, 0.1)
    opening = compare_heats(weekend, chosen(weekend), Asked("spring", "opening"))
    assert opening.states[0].values[0] == pytest.approx(1.3, abs=0.02)
    scatter = compare_heats(weekend, chosen(weekend), Asked("spring", "scatter"))
    assert scatter.states[0].values[0] == pytest.approx(0.03, abs=0.011)


@given(
    st.lists(st.floats(0.5, 3.0), min_size=1, max_size=25, unique=True),
    st.floats(0.0, 1.0),
)
def test_bands_are_no_wider_than_asked_and_lose_nothing(values, width):
    found = bands(sorted(values), width)
    assert [v for band in found for v in band] == sorted(values)
    assert all(band[-1] - band[0] <= width + 1e-9 for band in found)
    for left, right in pairwise(found):
        assert right[-1] - left[0] > width


def test_the_table_keeps_to_its_width_and_lines_up(maker):
    weekend = alternate(maker, 4, 0.1)
    heats = pace_heats(weekend)
    paces = [heat_pace(h.laps) for h in heats]
    for width in (21, 40, 75, 120):
        columns = PaceColumns(width, heats)
        rows = [columns.head(), *(columns.row(h, p) for h, p in zip(heats, paces, strict=True))]
        assert {len(row) for row in rows} == {columns.width}
        assert columns.width <= width
        assert {row.index(".") for row in rows[1:]} == {rows[1].index(".")}
    full = pace_lines(heats, paces, 120)
    assert full[0].split()[:3] == ["heat", "laps", "best"]
    assert any(line.startswith("  -- ") for line in full)
    for width in (60, 100):
        found = compare_heats(weekend, chosen(weekend), Asked("spring"))
        assert all(len(line) <= width for line in state_lines(found, width))


def test_the_rule_is_read_and_refused():
    usual = PaceRule()
    values = {f.key: f.value for f in rule_form(usual)}
    assert read_rule(values) == usual
    assert read_rule({}) == usual
    mine = read_rule({"stop": "2", "percent": "5", "opening": "3", "best_n": "10"})
    assert mine == PaceRule(SetAsideRule(stop_ratio=2.0, mistake_ratio=1.05, opening=3), 10, 3)
    for bad, key in (
        ({"stop": "0.9"}, "stop"),
        ({"percent": "60"}, "percent"),
        ({"short": "1.2"}, "short"),
        ({"spreads": "0"}, "spreads"),
        ({"opening": "1.5"}, "opening"),
        ({"best_n": "0"}, "best_n"),
        ({"run_n": "x"}, "run_n"),
        ({"stop": "nan"}, "stop"),
    ):
        with pytest.raises(FormError) as error:
            read_rule(bad)
        assert error.value.first[0] == key


def test_a_stricter_rule_changes_what_counts():
    of_laps = tuple(laps(18.0, 18.4))
    assert heat_pace(of_laps).set_aside == ()
    strict = replace(SetAsideRule(), mistake_ratio=1.01)
    assert [m.lap for m in heat_pace(of_laps, strict).set_aside] == [13]


def test_the_preview_doubts_laps_that_do_not_fit_the_heat(maker):
    maker.later(9).heat("P1", "practice", 8)
    with maker.session() as session:
        heat = heat_for_laps(session.weekend, "p1")
    fitting = preview_lines(heat, [20.0] * 24, "lap times")
    assert not any(line.startswith("!") for line in fitting)
    doubted = preview_lines(heat, [20.0] * 6, "lap times", driver="Ann")
    assert "6 laps of Ann" in doubted[1]
    assert any("ran 8 min, these laps add up to 2.0 min" in line for line in doubted)
