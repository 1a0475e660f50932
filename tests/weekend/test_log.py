"""Corrections replace without erasing; conflicts are shown; clocks can be put right."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from pitwright.weekend.log import in_force
from pitwright.weekend.records import Build, ClockShift, Correction, NoteRecord, StepResult

NOON = datetime(2026, 5, 16, 12, tzinfo=UTC)


def note(name: str, text: str = "seen", *, minutes: float = 0, sequence: int = 1) -> NoteRecord:
    at = NOON + timedelta(minutes=minutes)
    return NoteRecord(
        id=name, happened_at=at, recorded_at=at, laptop="a", sequence=sequence, text=text
    )


def correction(
    name: str, replaces: str, replacement: NoteRecord | None, *, minutes: float = 60
) -> Correction:
    at = NOON + timedelta(minutes=minutes)
    return Correction(
        id=name,
        happened_at=at,
        recorded_at=at,
        laptop="a",
        sequence=int.from_bytes(name[-2:].encode()),  # no two of a test have the same
        replaces=replaces,
        reason="slip",
        replacement=replacement,
    )


def texts(*records: NoteRecord | Correction | ClockShift) -> list[str]:
    return [r.text for r in in_force(records).records if isinstance(r, NoteRecord)]


def test_a_correction_takes_the_place_of_what_it_corrects() -> None:
    log = in_force([note("one", "wrong"), correction("fix", "one", note("", "right"))])
    assert [(r.id, r.text) for r in log.records if isinstance(r, NoteRecord)] == [("fix", "right")]
    assert [r.record.id for r in log.replaced] == ["one"]
    assert not log.problems


def test_a_correction_without_replacement_takes_the_record_back() -> None:
    assert texts(note("one"), correction("fix", "one", None)) == []


def test_a_correction_of_a_correction_counts_instead() -> None:
    first = correction("fix", "one", note("", "better"))
    second = correction("fix2", "fix", note("", "best"), minutes=70)
    assert texts(note("one", "wrong"), first, second) == ["best"]


def test_taking_back_a_correction_restores_the_record() -> None:
    first = correction("fix", "one", note("", "better"))
    undo = correction("undo", "fix", None, minutes=70)
    assert texts(note("one", "first"), first, undo) == ["first"]


def test_taking_back_a_taking_back_takes_the_record_back_again() -> None:
    strike = correction("strike", "one", None)
    undo = correction("undo", "strike", None, minutes=70)
    again = correction("again", "undo", None, minutes=80)
    assert texts(note("one"), strike, undo) == ["seen"]
    assert texts(note("one"), strike, undo, again) == []


def test_two_corrections_of_one_record_are_a_conflict_that_names_both() -> None:
    log = in_force(
        [
            note("one", "wrong"),
            correction("fix-a", "one", note("", "from a")),
            correction("fix-b", "one", note("", "from b"), minutes=61),
        ]
    )
    (problem,) = log.problems
    assert "fix-a" in problem.reason
    assert "fix-b" in problem.reason
    assert [r.text for r in log.records if isinstance(r, NoteRecord)] == ["from b"]


def test_a_conflict_is_settled_by_taking_one_correction_back() -> None:
    log = in_force(
        [
            note("one", "wrong"),
            correction("fix-a", "one", note("", "from a")),
            correction("fix-b", "one", note("", "from b"), minutes=61),
            correction("settle", "fix-b", None, minutes=70),
        ]
    )
    assert not log.problems
    assert [r.text for r in log.records if isinstance(r, NoteRecord)] == ["from a"]


def test_a_correction_of_nothing_is_a_problem_and_changes_nothing() -> None:
    log = in_force([note("one"), correction("fix", "gone", note("", "x"))])
    assert len(log) == 1
    assert "gone" in log.problems[0].reason


def test_corrections_in_a_ring_end_and_are_reported() -> None:
    ring = [correction("a", "b", note("", "x")), correction("b", "a", note("", "y"))]
    assert any("leads back" in p.reason for p in in_force(ring).problems)


def test_order_is_by_moment_then_laptop_then_sequence() -> None:
    late, early = note("late", "2", minutes=1), note("early", "1")
    same = note("same", "1b", sequence=2)
    assert texts(late, same, early) == ["1", "1b", "2"]


def test_a_clock_shift_moves_its_laptops_range_and_no_other() -> None:
    shift = ClockShift(
        id="s",
        happened_at=NOON,
        recorded_at=NOON,
        laptop="a",
        sequence=5,
        of_laptop="a",
        first_sequence=2,
        last_sequence=3,
        minutes=-60,
    )
    log = in_force([note("1", sequence=1), note("2", sequence=2), shift])
    moments = {r.id: r.happened_at for r in log.records}
    assert moments == {"1": NOON, "2": NOON - timedelta(hours=1)}


def test_the_order_of_reading_does_not_matter() -> None:
    records = [
        note("one", "wrong"),
        correction("fix", "one", note("", "right")),
        note("two", "also", minutes=5),
    ]
    assert texts(*records) == texts(*records[::-1])


def shift_by(name: str, minutes: float, *, laptop: str = "a", at: float = 30) -> ClockShift:
    moment = NOON + timedelta(minutes=at)
    return ClockShift(
        id=name,
        happened_at=moment,
        recorded_at=moment,
        laptop=laptop,
        sequence=5,
        of_laptop="a",
        first_sequence=1,
        last_sequence=3,
        minutes=minutes,
    )


def test_a_correction_from_another_laptop_is_shifted_when_it_was_made_before_the_shift() -> None:
    """Who corrects before it copies the wrong time; who has seen the shift copies the right one."""
    shift = shift_by("s", -60, laptop="b", at=30)
    for made, expected in ((20, NOON - timedelta(hours=1)), (40, NOON)):
        (record,) = in_force(
            [note("one"), shift, correction("fix", "one", note("", "right"), minutes=made)]
        ).records
        assert (record.id, record.happened_at) == ("fix", expected)


def test_a_shift_counts_again_when_its_taking_back_is_taken_back() -> None:
    shift, back = shift_by("s", -60), correction("back", "s", None, minutes=70)
    again = correction("again", "back", None, minutes=80)
    for records, expected in (
        ([shift], NOON - timedelta(hours=1)),
        ([shift, back], NOON),
        ([shift, back, again], NOON - timedelta(hours=1)),
    ):
        (record,) = in_force([note("one"), *records]).records
        assert record.happened_at == expected


def test_two_files_that_claim_one_name_end_in_an_answer() -> None:
    """A folder cannot hold them; a chain that met itself would otherwise never end."""
    twins = [
        correction("fix", "one", note("", "right")),
        correction("fix", "fix", note("", "again"), minutes=70),
    ]
    assert texts(note("one", "wrong"), *twins) == ["right"]


def test_a_shift_moves_every_moment_of_a_build() -> None:
    build = Build(
        id="built",
        happened_at=NOON,
        recorded_at=NOON,
        laptop="a",
        sequence=1,
        finished_at=NOON + timedelta(minutes=50),
        route="full rebuild",
        steps=[],
        results=[
            StepResult(step="nut", done_at=NOON + timedelta(minutes=10)),
            StepResult(step="screw", thread_lock_at=NOON + timedelta(minutes=20)),
        ],
    )
    (shifted,) = in_force([build, shift_by("s", -60)]).records
    assert isinstance(shifted, Build)
    hour = timedelta(hours=1)
    assert shifted.finished_at == build.finished_at - hour
    assert shifted.results[0].done_at == NOON + timedelta(minutes=10) - hour
    assert shifted.results[0].thread_lock_at is None
    assert shifted.results[1].thread_lock_at == NOON + timedelta(minutes=20) - hour


def test_what_was_replaced_is_shifted_as_what_replaced_it() -> None:
    shift = shift_by("s", -60, laptop="b", at=30)
    log = in_force([note("one"), shift, correction("fix", "one", None, minutes=20)])
    assert [r.record.happened_at for r in log.replaced] == [NOON - timedelta(hours=1)]
