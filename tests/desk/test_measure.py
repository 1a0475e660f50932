"""The measuring desk: what is typed, judged by the card and the log."""

from __future__ import annotations

import pytest
from factory import WeekendMaker

from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.instruments import judge_zero, tool_words
from pitwright.desk.measure.judged import judge_reading
from pitwright.desk.measure.judging import judge_on
from pitwright.desk.measure.measure import (
    check_record,
    correction_record,
    field_on,
)
from pitwright.desk.measure.words import detail_lines, saved_words
from pitwright.store.reader import read_folder
from pitwright.weekend.records import ZeroCheck


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    return made


def weekend_of(maker):
    found = read_folder(maker.folder, "tent1")
    assert not found.problems
    return found.weekend


def bench_of(maker, **more):
    return gather(weekend_of(maker), maker.at, **more)


def fields_on(bench):
    return [field_on(bench, key) for key in bench.card.quantities]


def edit_card(maker, old, new):
    path = maker.folder / "clutch.toml"
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))


def test_fields_follow_the_card_and_the_fitted_parts(maker):
    found = {f.key: f for f in fields_on(bench_of(maker))}
    assert list(found) == [
        "free_length",
        "recess",
        "shoe_thickness",
        "bell_clearance",
        "end_play",
        "bell_bore",
        "gear_mesh",
    ]
    assert (found["free_length"].part, found["free_length"].part_label) == ("S1", "Spring 1")
    assert found["free_length"].limits == "discard at 9.80 mm or below"
    assert found["recess"].limits == "1.20 to 1.50 mm"
    assert found["recess"].place is None
    assert found["bell_bore"].place == "bell"
    assert found["bell_bore"].part is None
    assert all(f.last is None for f in found.values())


def test_last_value_change_and_age_come_from_the_log(maker):
    maker.check(free_length=10.18)
    maker.heat("P1", "practice", 8)
    maker.later(3)
    maker.check(free_length=10.15)
    maker.later(20)
    last = fields_on(bench_of(maker))[0].last
    assert last.change_mm == pytest.approx(-0.03)
    assert last.change == "-0.03 mm"
    assert last.age == "20 min ago"
    maker.heat("P2", "practice", 8)
    last = fields_on(bench_of(maker))[0].last
    assert last.age == "8 min of running since"


def test_a_new_spring_has_no_last_value_and_the_old_recess_is_doubtful(maker):
    maker.check(free_length=9.75, recess=1.6)
    maker.later(5).fit("spring", "S2", removed="S1", fate="discarded")
    found = {f.key: f for f in fields_on(bench_of(maker))}
    assert found["free_length"].last is None
    assert found["recess"].last.overtaken
    assert "doubtful" in found["recess"].last.line()


def test_a_set_recess_counts_as_last_value(maker):
    maker.check(recess=1.30)
    maker.later(1).set_recess(1.42)
    last = {f.key: f for f in fields_on(bench_of(maker))}["recess"].last
    assert last.was_set
    assert last.value_mm == 1.42
    assert last.change_mm == pytest.approx(0.12)


# Trade facts, common practice without a source: 10.2 new, 9.8 discarded, recess at most 1.7,
# end play 0.2 to 0.3.
@pytest.mark.parametrize(
    ("quantity", "typed", "word"),
    [
        ("free_length", "10.2", "good"),
        ("free_length", "10,0", "good"),
        ("free_length", "9.81", "too close to call"),
        ("free_length", "9.8", "out"),
        ("free_length", "9,80", "out"),
        ("free_length", "9.79", "out"),
        ("recess", "1.4", "good"),
        ("recess", "1.5", "too close to call"),
        ("recess", "1.65", "out"),
        ("recess", "1.75", "out"),
        ("recess", "1.15", "out"),
        ("end_play", "0.25", "good"),
        ("end_play", "0.20", "too close to call"),
        ("end_play", "0.35", "out"),
        ("end_play", "0.15", "out"),
        ("bell_bore", "30.0", "good"),
        ("bell_bore", "30.4", "out"),
    ],
)
def test_verdicts_of_the_shipped_card(maker, quantity, typed, word):
    found = judge_on(bench_of(maker), quantity, typed, final=True)
    assert (found.state, found.word) == ("read", word)
    assert found.rule == "iso 14253-1"
    assert found.reading is not None
    assert found.reading.verdict == word
    assert bool(found.advice) == (word == "out")


def test_advice_tells_low_from_high(maker):
    bench = bench_of(maker)
    assert judge_on(bench, "recess", "1.15").advice == "Turn the adjuster nut in"
    assert judge_on(bench, "recess", "1.75").advice.startswith("Turn the adjuster nut out")
    out = judge_on(bench, "free_length", "9.75")
    assert out.told().endswith("Fit a new spring")
    assert out.distance == "0.05 mm below the discard limit of 9.80 mm"
    assert out.in_few_words() == "0.05 mm below 9.80: Fit a new spring"


def test_commas_inches_and_repeats(maker):
    bench = bench_of(maker)
    assert judge_on(bench, "free_length", "10,15").value_mm == 10.15
    assert judge_on(bench, "free_length", "0.4 in").value_mm == pytest.approx(10.16)
    repeats = judge_on(bench, "free_length", "10.15 10,18\n10.16")
    assert repeats.reading.values_mm == [10.15, 10.18, 10.16]
    assert repeats.reading.typed == "10.15 10,18 10.16"
    assert repeats.u_mm < judge_on(bench, "free_length", "10.16").u_mm


def test_a_recess_counts_its_second_zeroing(maker):
    bench = bench_of(maker)
    recess = judge_on(bench, "recess", "1.40", instrument="caliper")
    length = judge_on(bench, "shoe_thickness", "4.90")
    # the same caliper; the difference of two depths carries one more resolution (GUM F.2.2.1)
    assert recess.u_mm**2 - length.u_mm**2 == pytest.approx(0.01**2 / 12)


@pytest.mark.parametrize(
    "typed", ["10.15", "9.98", "10,2", "10.15 10.18 9.99", "0.41 in", "10.15mm"]
)
def test_no_beginning_of_a_good_reading_flashes_an_error_or_out(maker, typed):
    bench = bench_of(maker)
    for end in range(1, len(typed) + 1):
        found = judge_on(bench, "free_length", typed[:end])
        if typed.endswith("in") and found.slip is not None:
            assert found.slip.explained  # shown as a doubt, not as a verdict
            continue
        assert found.state in ("partial", "read"), typed[:end]
        assert found.word in (None, "good"), typed[:end]


def test_a_half_typed_number_is_taken_as_it_stands_in_the_end(maker):
    bench = bench_of(maker)
    assert judge_on(bench, "free_length", "1").state == "partial"
    final = judge_on(bench, "free_length", "1", final=True)
    assert final.state == "read"
    assert final.slip.replacement == "10"
    assert judge_on(bench, "free_length", "10.", final=True).reading is None


def test_refused_text_says_why(maker):
    found = judge_on(bench_of(maker), "recess", "deep")
    assert found.state == "refused"
    assert "number" in found.reason
    assert found.reading is None


@pytest.mark.parametrize(
    ("typed", "replacement"),
    [("101.5", "10.15"), ("1.02", "10.2"), ("1015", "10.15"), ("10.51", "10.15")],
)
def test_slips_are_asked_about_and_mended(maker, typed, replacement):
    maker.check(free_length=10.16)
    found = judge_on(bench_of(maker), "free_length", typed, final=True)
    assert found.slip.replacement == replacement
    assert judge_on(bench_of(maker), "free_length", replacement, final=True).slip is None


def test_a_number_no_clutch_has_is_refused(maker):
    found = judge_on(bench_of(maker), "recess", "7777", final=True)
    assert found.state == "refused"
    assert found.reading is None


def test_one_slip_among_repeats_is_mended_alone(maker):
    maker.check(free_length=10.16)
    found = judge_on(bench_of(maker), "free_length", "10.15 101.8 10,16", final=True)
    assert found.slip.replacement == "10.15 10.18 10.16"


def test_a_reading_in_the_wrong_field_is_asked_about(maker):
    found = judge_on(bench_of(maker), "free_length", "4.9", final=True)
    assert found.slip.belongs_to == "shoe_thickness"


@pytest.mark.parametrize(("quantity", "typed"), [("free_length", "45"), ("shoe_thickness", "9.75")])
def test_a_size_no_part_has_is_not_called_good_by_its_one_limit(maker, quantity, typed):
    maker.check(free_length=10.15, shoe_thickness=4.98)
    found = judge_on(bench_of(maker), quantity, typed, final=True)
    assert found.word == "good"
    assert found.slip.explained  # shown as a doubt, not as a verdict
    assert found.slip.replacement is None
    assert found.in_few_words() == "no such size is known"


def test_what_cannot_be_kept_is_not_asked_about(maker):
    maker.check(free_length=10.15)
    bench = bench_of(maker)
    found = judge_on(bench, "free_length", "45679", final=True)
    assert found.state == "refused"
    assert found.slip is None
    meant = judge_on(bench, "free_length", "1015", final=True)
    assert meant.slip.replacement == "10.15"


def test_plausible_readings_are_never_asked_about(maker):
    maker.check(free_length=10.15, recess=1.3)
    bench = bench_of(maker)
    for quantity, typed in [("free_length", "10.08"), ("recess", "1.62"), ("end_play", "0.31")]:
        assert judge_on(bench, quantity, typed, final=True).slip is None


@pytest.mark.parametrize(
    ("quantity", "typed"),
    [
        *(("end_play", typed) for typed in ("0.0", "0.05", "0.12", "0.45", "0.9")),
        *(("recess", typed) for typed in ("0.4", "0.9", "2.1")),
        ("gear_mesh", "0.3"),
    ],
)
def test_what_a_mechanic_meets_is_judged_and_not_asked_about(maker, quantity, typed):
    found = judge_on(bench_of(maker), quantity, typed, final=True)
    assert (found.word, found.slip) == ("out", None)


def test_a_dangerous_reading_is_judged_first_and_asked_about_second(maker):
    maker.check(shoe_thickness=4.87)
    maker.later(30).check(shoe_thickness=4.86)
    bench = bench_of(maker)
    found = judge_on(bench, "shoe_thickness", "0.486", final=True)
    assert found.slip is not None
    assert found.slip.explained  # no shoe is that thin
    found = judge_on(bench, "shoe_thickness", "4.08", final=True)
    assert found.word == "out"
    assert found.slip is not None
    assert "digits swapped" in found.slip.question
    assert not found.slip.explained  # but a worn shoe may be, so the verdict shows
    first, _rest = detail_lines(field_on(bench, "shoe_thickness"), found)
    assert "below the discard limit" in first[1]
    assert found.slip.question == first[2]


def test_an_out_spring_is_asked_about_once_and_never_after_a_second_reading(maker):
    maker.check(free_length=10.15)
    bench = bench_of(maker)
    once = judge_on(bench, "free_length", "9.78", final=True)
    assert once.word == "out"
    assert once.slip.question == (
        "0.37 mm less than the last 10.15 mm: read it again to be sure, or keep it"
    )
    assert not once.slip.explained
    assert judge_on(bench, "free_length", "9.78 9.79", final=True).slip is None
    # two readings that do not agree, or a size no spring has, are still asked about
    assert judge_on(bench, "free_length", "9.78 9.98", final=True).slip is not None
    assert judge_on(bench, "free_length", "7.31 7.31", final=True).slip is not None


@pytest.mark.parametrize("typed", ["10.15", "10.15 10.16"])
def test_a_spring_that_grew_is_asked_about_even_after_a_second_reading(maker, typed):
    maker.check(free_length=10.18)
    maker.later(30).check(free_length=9.94)
    found = judge_on(bench_of(maker), "free_length", typed, final=True)
    assert found.slip is not None
    assert found.slip.question == (
        "0.21 mm more than the last 9.94 mm, which no wear does: is it another part? Or keep it"
    )


@pytest.mark.parametrize("typed", ["9.78", "9.82 9.83"])
def test_typing_an_out_spring_flashes_nothing_before_its_decimals(maker, typed):
    maker.check(free_length=10.15)
    bench = bench_of(maker)
    assert judge_on(bench, "free_length", "9").state == "partial"
    for end in range(1, len(typed) + 1):
        found = judge_on(bench, "free_length", typed[:end])
        assert found.state in ("partial", "read"), typed[:end]
        assert found.slip is None or not found.slip.explained


def test_per_quantity_rule_overrides_the_card(maker):
    edit_card(maker, 'when_low = "Fit a new spring"', 'when_low = "x"\nrule = "simple acceptance"')
    bench = bench_of(maker)
    found = judge_on(bench, "free_length", "9.81")
    assert (found.rule, found.word) == ("simple acceptance", "good")
    assert "simple acceptance" in found.rule_words
    assert found.reading.rule == "simple acceptance"
    assert judge_on(bench, "recess", "1.7").rule == "iso 14253-1"


def test_a_quantity_without_limits_has_no_verdict(maker):
    edit_card(maker, 'discard_above = { value = "30.4 mm"', '# { value = "30.4 mm"')
    found = judge_on(bench_of(maker), "bell_bore", "30.1")
    assert found.state == "read"
    assert found.word is None
    assert found.reading.verdict is None


def test_a_tool_the_card_says_nothing_of_is_taken_at_its_word(maker):
    edit_card(
        maker,
        'label = "Feeler gauge"\nkind = "feeler gauge"\nresolution = ',
        'label = "Feeler gauge"\nkind = "feeler gauge"\nrepeatability = ',
    )
    found = judge_on(bench_of(maker), "end_play", "0.25")
    assert (found.u_mm, found.rule, found.word) == (None, "simple acceptance", "good")
    assert any("too little" in note for note in found.notes)


@pytest.mark.parametrize(
    ("typed", "word"), [("1.5", "good"), ("1.65", "good"), ("1.7", "too close to call")]
)
def test_a_spring_that_is_run_in_has_the_full_depth(maker, typed, word):
    # common practice, no source: 1.2 to 1.5 mm on a new spring, up to 1.7 on a run-in one
    new = field_on(bench_of(maker), "recess")
    assert new.limits == "1.20 to 1.50 mm"
    found = judge_on(bench_of(maker), "recess", "1.65", final=True)
    assert found.advice.endswith("The full depth is for a spring that is run in")
    maker.later(20).heat("P1", "practice", 12)
    bench = bench_of(maker)
    assert field_on(bench, "recess").limits == "1.20 to 1.70 mm"
    assert judge_on(bench, "recess", typed, final=True).word == word


STEPS = """
[instruments.steps]
label = "Depth steps"
kind = "depth steps"
permissible_error = { value = "0.01 mm", from = "maker" }
steps = [
  { value = "1.2 mm", from = "maker" },
  { value = "1.4 mm", from = "maker" },
  { value = "1.6 mm", from = "maker" },
]
"""


@pytest.mark.parametrize(
    ("typed", "shown", "word"),
    [
        ("1.2", "1.19 to 1.41 mm", "too close to call"),
        ("1.4", "1.39 to 1.61 mm", "good"),
        ("1.6", "1.59 mm or more", "too close to call"),
        ("0", "1.21 mm or less", "too close to call"),
    ],
)
def test_a_go_no_go_tool_tells_an_interval(maker, typed, shown, word):
    with (maker.folder / "clutch.toml").open("a") as card:
        card.write(STEPS)
    maker.later(20).heat("P1", "practice", 12)
    found = judge_on(bench_of(maker), "recess", typed, instrument="steps", final=True)
    assert (found.shown, found.word) == (shown, word)
    assert found.reading.typed == shown


def test_a_step_the_tool_has_not_is_refused(maker):
    with (maker.folder / "clutch.toml").open("a") as card:
        card.write(STEPS)
    found = judge_on(bench_of(maker), "recess", "1.3", instrument="steps", final=True)
    assert found.state == "refused"
    assert "1.2, 1.4, 1.6" in found.reason


def test_the_tool_used_last_is_remembered(maker):
    bench = bench_of(maker)
    record = check_record(
        [judge_on(bench, "end_play", "0.25", instrument="caliper", final=True)],
        now=maker.at,
        clutch="A",
    )
    maker.add(record)
    assert judge_on(bench_of(maker), "end_play", "0.25").instrument == "caliper"
    assert {f.key: f.instrument for f in fields_on(bench_of(maker))}["recess"] == "depth"


def test_an_unfitted_part_has_its_own_history(maker):
    maker.check(free_length=10.15)
    bench = bench_of(maker)
    record = check_record(
        [judge_on(bench, "free_length", "10.31", part="S2", final=True)], now=maker.at, clutch="A"
    )
    maker.later(1).add(record)
    found = weekend_of(maker).state().parts
    assert found["S2"].figures["free_length"].value_mm == 10.31
    assert found["S1"].figures["free_length"].value_mm == 10.15


def test_a_reading_of_nobodys_part_is_not_kept(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    found = judge_on(bench_of(maker), "free_length", "10.2", final=True)
    assert found.needs_part
    with pytest.raises(ValueError, match="which part"):
        check_record([found], now=maker.at, clutch="A")


def test_only_what_was_filled_in_becomes_the_check(maker):
    bench = bench_of(maker)
    judged = [
        judge_on(bench, "free_length", "9.7", final=True),
        judge_on(bench, "recess", " ", final=True),
        judge_on(bench, "end_play", "0.25", final=True),
    ]
    record = check_record(
        judged,
        now=maker.at,
        clutch="A",
        step="spring",
        reasons={"free_length": "none left"},
        squeezes={"free_length": 5},
    )
    assert [r.quantity for r in record.readings] == ["free_length", "end_play"]
    assert record.readings[0].reason == "none left"
    assert record.readings[0].squeezes == 5
    assert record.readings[0].discard_below_mm == 9.8
    assert record.step == "spring"
    words, is_out = saved_words([j for j in judged if j.state == "read"])
    assert is_out
    assert "Fit a new spring" in words


def test_an_unfinished_or_empty_form_is_no_check(maker):
    bench = bench_of(maker)
    with pytest.raises(ValueError, match="not finished"):
        check_record([judge_on(bench, "recess", "1.", final=True)], now=maker.at, clutch="A")
    with pytest.raises(ValueError, match="nothing"):
        check_record([judge_on(bench, "recess", "", final=True)], now=maker.at, clutch="A")


def test_a_correction_replaces_what_it_speaks_of_and_keeps_the_rest(maker):
    wrong = maker.check(free_length=10.51, recess=1.3, end_play=0.25, old_gauge=3.0)
    maker.later(5)
    bench = bench_of(maker, without=wrong.id)
    judged = [
        judge_on(bench, "free_length", "10.15", final=True),
        judge_on(bench, "recess", "1.3", final=True),
        judge_on(bench, "end_play", "", final=True),
    ]
    maker.add(correction_record(wrong, judged, now=maker.at, reason="digits swapped"))
    log = weekend_of(maker).log
    check = next(r for r in log.records if r.kind == "check")
    assert {r.quantity: r.value_mm for r in check.readings} == {
        "free_length": 10.15,
        "recess": 1.3,
        "old_gauge": 3.0,
    }
    assert check.happened_at == wrong.happened_at
    assert log.replaced[0].record.id == wrong.id


def test_a_correction_that_leaves_nothing_takes_the_check_back(maker):
    wrong = maker.check(end_play=0.25)
    bench = bench_of(maker, without=wrong.id)
    empty = [judge_on(bench, "end_play", "", final=True)]
    record = correction_record(wrong, empty, now=maker.at, reason="measured the other clutch")
    assert record.replacement is None


def test_a_kept_reading_is_shown_as_it_was_judged(maker):
    live = judge_on(bench_of(maker), "end_play", "0.25 0.24", final=True)
    kept = judge_reading(live.reading, live.label)
    assert kept.shown == live.shown
    assert (kept.word, kept.distance) == (live.word, live.distance)


def test_zero_checks_age_and_warn(maker):
    def zero(values):
        maker.add(ZeroCheck(happened_at=maker.at, instrument="caliper", values_mm=values))

    assert "never checked" in tool_words(bench_of(maker).tools["caliper"])
    zero([0.0, 0.01, 0.0])
    maker.later(120)
    tool = bench_of(maker).tools["caliper"]
    assert "2 h 00 min ago" in tool_words(tool)
    assert tool.notes == ()
    zero([-0.05])
    bench = bench_of(maker)
    note = bench.tools["caliper"].notes[0]
    assert note == "Caliper reads 0.05 mm short at zero: set it again, or add 0.05 mm"
    found = judge_on(bench, "free_length", "10.15")
    assert note in found.notes
    # the reading itself is not shifted behind the user's back, but it is trusted less
    assert found.value_mm == 10.15


def test_a_zero_that_is_off_counts_until_it_is_set_again(maker):
    def u(quantity="free_length"):
        return judge_on(bench_of(maker), quantity, "10.15", instrument="caliper").u_mm

    def zero(*values):
        maker.later(1).add(
            ZeroCheck(happened_at=maker.at, instrument="caliper", values_mm=list(values))
        )

    as_new, recess_as_new = u(), u("recess")
    zero(0.01)
    assert u() == as_new  # within the permissible error, which covers it
    zero(0.05)
    # rectangular: 0.02 of the maker's and 0.05 seen, in place of 0.02 alone (GUM 4.3.7)
    assert u() ** 2 - as_new**2 == pytest.approx((0.07**2 - 0.02**2) / 3)
    # the difference of two depths carries the same offset twice, so it drops out
    assert u("recess") == pytest.approx(recess_as_new)
    zero(0.0)
    assert u() == as_new


def test_a_zero_that_wanders_counts(maker):
    def found(quantity):
        return judge_on(bench_of(maker), quantity, "1.5", instrument="caliper", final=True).u_mm

    steady, recess_steady = found("shoe_thickness"), found("recess")
    maker.add(ZeroCheck(happened_at=maker.at, instrument="caliper", values_mm=[-0.02, 0.0, 0.02]))
    resolution = 0.01**2 / 12
    assert found("recess") ** 2 - recess_steady**2 == pytest.approx(0.02**2, rel=1e-4)
    assert found("shoe_thickness") ** 2 - steady**2 == pytest.approx(0.02**2 + resolution, rel=1e-4)


def test_a_zero_is_judged_as_typed(maker):
    card = weekend_of(maker).card().instruments["caliper"]

    def found(text):
        return judge_zero("caliper", card, text, now=maker.at, clutch="A")

    assert found("").record is None
    assert found("x").record is None
    assert found("-0,01 0.01").record.values_mm == [-0.01, 0.01]
    assert "set zero again" in found("0.04").text


def test_details_put_what_matters_first(maker):
    maker.check(free_length=10.15)
    bench = bench_of(maker)
    field = fields_on(bench)[0]
    first, rest = detail_lines(field, judge_on(bench, "free_length", ""))
    assert first == ["Spring free length · Spring 1 · Caliper · ISO 14253-1", field.how]
    assert "ISO 14253-1" in rest[0]
    first, _ = detail_lines(field, judge_on(bench, "free_length", "9.82"))
    # the verdict comes first; the question does not hide it
    assert "better tool" in first[1]
    assert "0.33 mm less than the last 10.15 mm" in first[2]


def test_more_readings_are_asked_for_where_they_would_settle_it(maker):
    edit_card(
        maker,
        'label = "Caliper"\nkind = "caliper"\nresolution = { value = "0.01 mm", from = "maker" }\n'
        'permissible_error = { value = "0.02 mm", from = "maker" }',
        'label = "Caliper"\nkind = "caliper"\nresolution = { value = "0.01 mm", from = "maker" }\n'
        'permissible_error = { value = "0.005 mm", from = "maker" }',
    )
    bench = bench_of(maker)
    found = judge_on(bench, "free_length", "9.815")
    assert found.word == "too close to call"
    assert "more reading" in found.settle
    # and it does: the promised number of readings at the same value settles it
    count = 1 + int(found.settle.split()[0]) if found.settle[0].isdigit() else 2
    assert judge_on(bench, "free_length", " ".join(["9.815"] * count)).word == "good"


@pytest.mark.parametrize(
    ("typed", "asked", "explained"),
    [
        ("9.94 9.60", "these two differ by 0.34 mm", True),  # one would discard it, one would not
        ("9.78 9.62", "these two differ by 0.16 mm", False),  # out whichever is right
        ("10.15 10.14 9.94", "9.94 mm does not fit the others", True),
        ("10.15 10.10", "", False),
    ],
)
def test_a_repeat_far_from_the_others_is_asked_about(maker, typed, asked, explained):
    found = judge_on(bench_of(maker), "free_length", typed, final=True)
    if not asked:
        assert found.slip is None
        return
    assert asked in found.slip.question
    assert found.slip.apart
    assert found.slip.explained == explained
    assert found.slip.in_few_words() == "read it again"


def test_inches_have_the_inch_display_s_resolution(maker):
    u = {
        t: judge_on(bench_of(maker), "free_length", t, final=True).u_mm
        for t in ("9.83", "0.387 in")
    }
    thou = 0.0254
    assert u["0.387 in"] ** 2 - u["9.83"] ** 2 == pytest.approx((thou**2 - 0.01**2) / 12)
    edit_card(
        maker,
        'label = "Caliper"\n',
        'label = "Caliper"\nresolution_inch = { value = "0.0005 in", from = "maker" }\n',
    )
    found = judge_on(bench_of(maker), "free_length", "0.387 in", final=True)
    assert found.u_mm**2 - u["9.83"] ** 2 == pytest.approx((0.0127**2 - 0.01**2) / 12)
    assert "read in inches, to 0.0005 in (0.013 mm)" in found.notes
    assert judge_on(bench_of(maker), "free_length", "9.83", final=True).u_mm == u["9.83"]


def test_the_scatter_of_a_tool_is_learnt_from_earlier_repeats(maker):
    edit_card(
        maker,
        """permissible_error = { value = "0.02 mm", from = "maker" }
repeatability = { value = "0.01 mm", from = "measured" }

[instruments.depth]""",
        """permissible_error = { value = "0.02 mm", from = "maker" }

[instruments.depth]""",
    )
    alone = judge_on(bench_of(maker), "free_length", "10.15 10.17", final=True)
    for _ in range(4):
        twice = judge_on(bench_of(maker), "free_length", "10.15 10.17", final=True)
        maker.add(check_record([twice], now=maker.at, clutch="A"))
    known = judge_on(bench_of(maker), "free_length", "10.15 10.17", final=True)
    assert alone.reading.k > 5.0
    assert known.reading.k < 2.5
