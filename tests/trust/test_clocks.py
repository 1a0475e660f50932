"""Clocks that are wrong: pointed out, and put right by a record."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pitwright.cli import main
from pitwright.store.create import new_weekend
from pitwright.store.merge import merge
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.clocks import clock_problems, stands_back
from pitwright.weekend.records import ClockShift, Correction, HeatRun, NoteRecord

T0 = datetime(2026, 5, 15, 8, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_weekend(tmp_path / "w", name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return tmp_path / "w"


def work(folder: Path, *minutes: float, laptop: str = "tent1") -> None:
    """Write a note at each of these minutes of the laptop's clock."""
    now = T0
    with Session(folder, laptop=laptop, clock=lambda: now) as session:
        for minute in minutes:
            now = T0 + timedelta(minutes=minute)
            session.append(NoteRecord(happened_at=now, text=f"at {minute:g}"))


def warnings(folder: Path) -> list[str]:
    opened = read_folder(folder, "tent1")
    assert all(p.weight == "warning" for p in opened.problems)
    return [str(p) for p in opened.problems]


def test_a_clock_set_back_is_pointed_out_with_what_to_do(folder: Path) -> None:
    work(folder, 0, 10, 200, 21)
    (said,) = warnings(folder)
    assert "lies 179 min before the record that tent1 wrote just before it" in said
    assert "--laptop tent1 --from 1 --to 3 --minutes -179" in said


def test_the_session_notices_at_once_and_beforehand(folder: Path) -> None:
    work(folder, 0, 200)
    now = T0 + timedelta(minutes=20)
    with Session(folder, laptop="tent1", clock=lambda: now) as session:
        assert session.problems == ()
        assert stands_back(session.records, "tent1", now) == timedelta(minutes=180)
        assert stands_back(session.records, "tent1", T0 + timedelta(minutes=200)) is None
        assert stands_back(session.records, "van2", now) is None
        session.append(NoteRecord(happened_at=now, text="x"))
        (problem,) = session.problems
        assert problem.weight == "warning"


def test_steps_of_seconds_and_other_laptops_clocks_are_nothing(folder: Path) -> None:
    work(folder, 0, 10, 9.5)
    work(folder, 3, 4, laptop="van2")
    assert warnings(folder) == []


def test_a_heat_noted_afterwards_is_no_wrong_clock(folder: Path) -> None:
    with Session(folder, laptop="tent1", clock=lambda: T0 + timedelta(hours=5)) as session:
        for hour in (4, 1):
            at = T0 + timedelta(hours=hour)
            session.append(HeatRun(happened_at=at, heat=f"Q{hour}", heat_kind="qualifier"))
    assert warnings(folder) == []


def test_records_outside_the_dates_are_counted_once_a_laptop(folder: Path) -> None:
    work(folder, -60 * 24 * 365, -60 * 24 * 365 + 5, 10)
    (said,) = warnings(folder)
    assert "is 15 May 2025, outside the weekend's dates; 2 records of tent1 so" in said
    assert "fine for work at home" in said


def test_the_venues_days_count_not_utc(folder: Path) -> None:
    work(folder, -60 * 8.5)  # Thursday 23:30 UTC is Friday 00:30 in Lisbon
    assert warnings(folder) == []
    work(folder, -60 * 9.5)
    assert "outside" in " ".join(warnings(folder))


def test_a_shift_puts_the_range_right_and_the_warning_is_gone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    work(folder, 0, 190, 200, 21)
    call = ["shift-clock", str(folder), "--minutes", "-180", "--from", "2", "--to", "3"]
    assert main([*call, "--reason", "clock was three hours ahead"]) == 0
    out = capsys.readouterr().out
    assert out == "2 records of tent1 shifted by -180 min; the first from Fri 12:10 to Fri 09:10\n"
    opened = read_folder(folder, "tent1")
    assert opened.problems == ()
    assert opened.weekend is not None
    at = [(r.happened_at - T0).total_seconds() / 60 for r in opened.weekend.log.records]
    assert at == [0, 10, 20, 21]
    # Taken back, it is as it was.
    with Session(folder, laptop="tent1") as session:
        shift = next(r for r in session.records if isinstance(r, ClockShift))
        now = session.clock()
        session.append(Correction(happened_at=now, replaces=shift.id, reason="no"))
    assert len(warnings(folder)) >= 1


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        (["--minutes", "x"], "Shift by"),
        (["--minutes", "0"], "nothing to shift"),
        (["--minutes", "5", "--from", "0"], "First record"),
        (["--minutes", "5", "--from", "99"], "has no records with these numbers"),
        (["--minutes", "5", "--laptop", "other"], "one of tent1"),
        (["--minutes", "1e12"], "minutes"),
    ],
)
def test_a_shift_that_makes_no_sense_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], more: list[str], reason: str
) -> None:
    work(folder, 0)
    assert main(["shift-clock", str(folder), *more]) == 2
    assert reason in capsys.readouterr().err
    assert len(list((folder / "log").iterdir())) == 1


def test_a_correction_made_after_the_shift_is_not_shifted_again(folder: Path) -> None:
    now = T0
    with Session(folder, laptop="tent1", clock=lambda: now) as session:
        now = T0 + timedelta(hours=3)
        wrong = session.append(NoteRecord(happened_at=now, text="ahead"))
        before = session.append(
            Correction(
                happened_at=now, replaces=wrong.id, reason="r",
                replacement=wrong.model_copy(update={"text": "mended while ahead"}),
            )
        )  # fmt: skip
        now = T0 + timedelta(minutes=5)
        session.append(
            ClockShift(
                happened_at=now, of_laptop="tent1", first_sequence=1, last_sequence=2, minutes=-180
            )
        )
        (shown,) = session.weekend.log.records
        assert shown.happened_at == T0
        session.append(
            Correction(
                happened_at=now, replaces=before.id, reason="r",
                replacement=shown.model_copy(update={"text": "mended after"}),
            )
        )  # fmt: skip
        (shown,) = session.weekend.log.records
        assert isinstance(shown, NoteRecord)
        assert shown.text == "mended after"
        assert shown.happened_at == T0


def test_a_shift_noted_on_another_laptop_counts_until_it_is_taken_back(folder: Path) -> None:
    """tent1 ran three hours ahead for one record; van2 says so, not so, and so after all."""
    now = T0 + timedelta(minutes=5)
    work(folder, 180)
    mended = NoteRecord(
        id="next", happened_at=now, recorded_at=now, laptop="tent1", sequence=2, text="clock mended"
    )

    def told() -> tuple[timedelta | None, int]:
        problems = clock_problems(session.weekend.event, [*session.records, mended])
        return stands_back(session.records, "tent1", now), len(problems)

    with Session(folder, laptop="van2", clock=lambda: now) as session:
        assert told() == (timedelta(minutes=175), 1)
        shift = session.append(
            ClockShift(
                happened_at=now, of_laptop="tent1", first_sequence=1, last_sequence=1, minutes=-180
            )
        )
        assert told() == (None, 0)
        back = session.append(Correction(happened_at=now, replaces=shift.id, reason="no"))
        assert told() == (timedelta(minutes=175), 1)
        now += timedelta(seconds=1)
        session.append(Correction(happened_at=now, replaces=back.id, reason="it was, after all"))
        assert told() == (None, 0)


def test_a_second_shift_tells_the_times_as_the_first_left_them(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    work(folder, 0, 10)
    for told in ("from Fri 09:00 to Fri 08:00", "from Fri 08:00 to Fri 07:00"):
        call = ["shift-clock", str(folder), "--laptop", "tent1", "--minutes", "-60"]
        assert main(call) == 0
        assert told in capsys.readouterr().out
    with Session(folder, laptop="tent1") as session:
        first = session.weekend.log.records[0]
        assert first.happened_at == T0 - timedelta(hours=2)
        # So does one after a correction, whatever the record said before it.
        at = first.model_copy(update={"happened_at": T0 + timedelta(hours=3)})
        later = session.clock() + timedelta(minutes=1)
        session.clock = lambda: later
        session.append(Correction(happened_at=T0, replaces=first.id, reason="r", replacement=at))
    assert main([*call, "--from", "1", "--to", "1"]) == 0
    assert "from Fri 12:00 to Fri 11:00" in capsys.readouterr().out


def test_a_shift_never_moves_what_another_laptop_of_the_name_wrote(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = folder.with_name("other")
    shutil.copytree(folder, other)
    work(folder, 180, 190)
    work(other, 1, 2, 3)
    assert main(["shift-clock", str(folder), "--laptop", "tent1", "--minutes", "-180"]) == 0
    merge(folder, other)
    records = read_folder(folder, "tent1").weekend.log.records  # type: ignore[union-attr]
    at = sorted((r.happened_at - T0).total_seconds() / 60 for r in records)
    assert at == [0, 1, 2, 3, 10]
    capsys.readouterr()
    # Now nobody knows any more whose clock a range of numbers means.
    call = ["shift-clock", str(folder), "--laptop", "tent1", "--minutes", "5"]
    assert main(call) == 2
    assert "tent1 has number 1 twice" in capsys.readouterr().err
    assert main([*call, "--from", "3"]) == 0


def test_no_range_is_shifted_in_which_a_record_cannot_be_read(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    work(folder, 180, 190, 200, 210)
    path = next(p for p in (folder / "log").iterdir() if "at 200" in p.read_text())
    whole = path.read_text()
    path.write_text("<<<<<<< mine\n" + whole)
    call = ["shift-clock", str(folder), "--laptop", "tent1", "--minutes", "-180"]
    for more in ([], ["--from", "3"], ["--from", "2", "--to", "4"]):
        assert main([*call, *more]) != 0
        assert "number 3 of tent1 is not there or cannot be read" in capsys.readouterr().err
    # Each side of it by itself may be; what is then said of the mended one means it alone.
    main([*call, "--to", "2"])
    main([*call, "--from", "4"])
    path.write_text(whole)
    (said,) = warnings(folder)
    assert "--laptop tent1 --from 3 --to 3 --minutes -170" in said
    assert main([*call, "--from", "3", "--to", "3"]) == 0
    assert warnings(folder) == []


def test_an_old_shift_that_names_no_records_leaves_numbers_alone_that_stand_twice(
    folder: Path,
) -> None:
    other = folder.with_name("other")
    shutil.copytree(folder, other)
    work(folder, 180, 190)
    work(other, 1)
    shift = ClockShift(
        happened_at=T0, of_laptop="tent1", first_sequence=1, last_sequence=2, minutes=-180
    )
    with Session(folder, laptop="van2") as session:
        session.append(shift)
    merge(folder, other)
    records = read_folder(folder, "tent1").weekend.log.records  # type: ignore[union-attr]
    at = sorted((r.happened_at - T0).total_seconds() / 60 for r in records)
    assert at == [1, 10, 180]


def test_two_laptops_of_one_name_are_noticed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = folder.with_name("other")
    work(folder, 0)
    shutil.copytree(folder, other)
    work(folder, 10, 20, 30)
    work(other, 11, 21)
    told = "is number 2 of tent1, as log/"
    more = "and 1 more number so: two laptops of one name, or one entry kept twice"
    for call in (["merge", str(folder), str(other), "--dry-run"],
                 ["merge", str(folder), str(other)], ["verify", str(folder)]):  # fmt: skip
        assert main(call) == 0
        said = capsys.readouterr().out
        assert told in said
        assert more in said
        assert said.count("two laptops of one name") == 1
        # Their clocks are not held against each other.
        assert "set back" not in said
