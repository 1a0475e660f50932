"""What is wrong in the log, told by the record and not by its file."""

from __future__ import annotations

from factory import FIRST_DAY, WeekendMaker

from pitwright.desk.problem_words import problem_words
from pitwright.store.log_writer import append_record
from pitwright.weekend.records import Correction


def told(maker):
    with maker.session() as session:
        zone = session.weekend.event.zone
        return [problem_words(p, session.records, zone) for p in session.problems]


def test_a_record_off_the_dates_is_told_by_kind_and_time(tmp_path):
    maker = WeekendMaker(tmp_path / "w").go(40, "10:32")
    maker.check(free_length=10.1)
    assert told(maker) == [
        "The check of Wed 10:32 is dated 24 June 2026, outside the weekend's dates"
    ]
    maker.later(5).set_recess(1.4)
    maker.later(5).note("late")
    (words,) = told(maker)
    assert words.endswith("outside the weekend's dates, and 2 more records of tent1")
    assert FIRST_DAY.year == 2026


def test_a_clock_set_back_names_the_record(tmp_path):
    maker = WeekendMaker(tmp_path / "w").go(1, "12:00")
    maker.check(free_length=10.1)
    maker.later(-45).set_recess(1.4)
    assert told(maker) == [
        "The nut setting of Sat 11:15 lies 45 min before the record that tent1 wrote just before "
        "it: its clock was set back"
    ]


def test_two_corrections_are_told_without_their_files(tmp_path):
    maker = WeekendMaker(tmp_path / "w").go(1, "9:00")
    wrong = maker.set_recess(1.3)
    for laptop in ("van1", "van2"):
        correction = Correction(happened_at=maker.at, replaces=wrong.id, reason="misread")
        append_record(maker.folder, correction, laptop=laptop, sequence=1, now=maker.at)
    assert told(maker) == [
        "The nut setting of Sat 09:00 is corrected twice; the later one is used for now"
    ]
    lost = Correction(happened_at=maker.at, replaces="20260516T080000Z-fit-van1-abcd", reason="x")
    append_record(maker.folder, lost, laptop="van2", sequence=2, now=maker.at)
    assert "The correction of Sat 09:00 corrects a record that is not in the log" in told(maker)


def test_an_unreadable_record_is_told_by_its_name_and_any_other_file_as_it_is(tmp_path):
    maker = WeekendMaker(tmp_path / "w").go(1, "9:00")
    zero = maker.check(free_length=10.1)
    (maker.folder / "log" / f"{zero.id}.toml").write_text("kind = ")
    (maker.folder / "log" / "by-hand.toml").write_text("kind = 'nothing'")
    words = told(maker)
    assert "The check of Sat 09:00 cannot be read" in words
    assert any(w.startswith("log/by-hand.toml: kind: 'nothing'") for w in words)
