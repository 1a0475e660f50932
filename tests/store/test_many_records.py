"""What is remembered between two looks at a log gives the same as a first look at it.

Work is counted here, not timed: which files are parsed, which records are folded.
"""

from __future__ import annotations

import os
import random
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from factory import LAPTOP, WeekendMaker, local, race_weekend

from pitwright.desk.heats.happenings import happenings
from pitwright.store import log_files
from pitwright.store.log_writer import append_record
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.records import (
    AnyRecord,
    Check,
    ClockShift,
    Correction,
    Fit,
    HeatRun,
    NoteRecord,
    Reading,
    Setting,
    StockChange,
)
from pitwright.weekend.state import State, bears_on, first_state, state_after
from pitwright.weekend.weekend import Weekend

OTHER = "box2"


@pytest.fixture(autouse=True)
def _no_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pitwright.store.files.os.fsync", lambda _handle: None)


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files of the log that were parsed, by name."""
    names: list[str] = []
    real = log_files._record

    def counted(text: str, shown: str) -> Any:
        names.append(shown)
        return real(text, shown)

    monkeypatch.setattr(log_files, "_record", counted)
    return names


def folded_afresh(weekend: Weekend, moment: datetime | None) -> State:
    """Fold the log from its beginning, record by record."""
    card = weekend.card()
    state = first_state(card, weekend.stock)
    for record in weekend.log.records:
        if moment is not None and record.happened_at > moment:
            break
        if bears_on(card, record):
            state = state_after(card, state, record)
    return replace(state, moment=moment or state.moment)


def some_record(rng: random.Random, at: datetime) -> AnyRecord:
    length = Reading(
        quantity="free_length", values_mm=[round(rng.uniform(9.7, 10.2), 2)], verdict="good"
    )
    play = Reading(quantity="end_play", values_mm=[0.25], verdict=rng.choice(("good", "out")))
    made: list[AnyRecord] = [
        Fit(happened_at=at, place="spring", part=rng.choice(("S1", "S2", "S3"))),
        Fit(happened_at=at, place="bell", part="B1"),
        Check(happened_at=at, readings=[length, play]),
        Setting(happened_at=at, recess_mm=round(rng.uniform(1.2, 1.6), 2)),
        HeatRun(happened_at=at, heat=f"P{rng.randint(1, 99)}", heat_kind="practice", run_minutes=6),
        NoteRecord(happened_at=at, text=f"note {rng.randint(100, 999)}"),
        StockChange(
            happened_at=at, change="lost", place="spring", part=rng.choice(("S2", "S3")), reason="?"
        ),
    ]
    return rng.choice(made)


def one_step(rng: random.Random, session: Session, maker: WeekendMaker) -> str:
    """Do something to the log by the session or from outside; return what."""
    files = sorted((session.folder / "log").iterdir())
    # Now and then something is noted late, between what is there already.
    at = maker.at - timedelta(minutes=rng.choice((0, 0, 0, 30, 200)))
    what = rng.choice(("add", "add", "correct", "take back", "shift", "arrive", "go", "rewrite"))
    if what == "add":
        session.append(some_record(rng, at))
    elif what in ("correct", "take back"):
        wrong = rng.choice(session.records)
        shown = wrong if not isinstance(wrong, Correction | ClockShift) else None
        bare = {"id": "", "laptop": "", "sequence": 0, "recorded_at": None}
        other = None if shown is None else shown.model_copy(update={**bare, "happened_at": at})
        session.append(
            Correction(
                happened_at=at,
                replaces=wrong.id,
                reason="slip",
                replacement=other if what == "correct" else None,
            )
        )
    elif what == "shift":
        first = rng.randint(1, 5)
        session.append(
            ClockShift(
                happened_at=at,
                of_laptop=rng.choice((LAPTOP, OTHER)),
                first_sequence=first,
                last_sequence=first + rng.randint(0, 4),
                minutes=rng.choice((-60, 7, 60)),
            )
        )
    elif what == "arrive":
        append_record(
            session.folder, some_record(rng, at), laptop=OTHER, sequence=len(files), now=at
        )
        assert session.changed_outside()
        assert session.reload()
    elif what == "go":
        rng.choice(files).unlink()
        assert session.changed_outside()
        assert session.reload()
    else:
        _rewrite(rng.choice(files))
        assert session.reload()
    return what


def _rewrite(path: Path) -> None:
    """Change figures in a file that keeps its size and its time."""
    found = path.stat()
    path.write_text(path.read_text().replace("10.", "11.").replace("note 1", "note 8"))
    os.utime(path, ns=(found.st_atime_ns, found.st_mtime_ns))
    assert path.stat().st_size == found.st_size


@pytest.mark.parametrize("seed", range(3))
def test_a_log_that_grew_is_the_log_read_afresh(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    maker = WeekendMaker(tmp_path / "w")
    maker.fit("spring", "S1")
    maker.check(free_length=10.15)
    steps: list[str] = []
    taken_over = 0
    with maker.session() as session:
        for _ in range(30):
            maker.later(10)
            steps.append(one_step(rng, session, maker))
            fresh = read_folder(session.folder, LAPTOP)
            assert fresh.weekend is not None
            weekend = session.weekend
            assert weekend.log == fresh.weekend.log, steps
            assert session.problems == fresh.problems, steps
            for hours in (None, 0, rng.uniform(-2, 8)):
                moment = None if hours is None else local(0, "8:00") + timedelta(hours=hours)
                assert weekend.state(moment) == folded_afresh(fresh.weekend, moment), steps
            assert weekend.heats == fresh.weekend.heats, steps
            assert happenings(weekend) == happenings(fresh.weekend), steps
            taken_over += weekend.log.story(weekend.card(), weekend.stock).taken_over
    assert len(set(steps)) == 7
    assert taken_over  # or nothing was put to the test


def test_a_record_kept_parses_no_file_and_folds_nothing_but_itself(
    tmp_path: Path, parsed: list[str]
) -> None:
    maker = race_weekend(tmp_path / "w", 12)
    with maker.session() as session:
        session.weekend.state()
        parsed.clear()
        session.append(Setting(happened_at=maker.at, recess_mm=1.4))
        weekend = session.weekend
        assert weekend.state().moment == maker.at
        assert parsed == []
        told = weekend.log.story(weekend.card(), weekend.stock)
        assert told.taken_over == len(weekend.log) - 1
        assert told is weekend.log.story(weekend.card(), weekend.stock)
        # Work in progress changes the weekend many times a second, and nothing about the log.
        session.keep_draft("note", {"text": "half"})
        assert session.weekend.log.story(weekend.card(), weekend.stock) is told


def test_a_file_from_outside_is_the_only_one_parsed(tmp_path: Path, parsed: list[str]) -> None:
    maker = race_weekend(tmp_path / "w", 12)
    with maker.session() as session:
        assert len(parsed) == len(session.records)
        parsed.clear()
        record = NoteRecord(happened_at=maker.at, text="from the other laptop")
        landed = append_record(session.folder, record, laptop=OTHER, sequence=1, now=maker.at)
        assert session.reload()
        assert parsed == [f"log/{landed.id}.toml"]
        assert landed in session.records


def test_other_cards_do_not_inherit_what_was_told_of_the_first(tmp_path: Path) -> None:
    maker = race_weekend(tmp_path / "w", 6)
    with maker.session() as session:
        weekend = session.weekend
        weekend.state()
        card = weekend.card()
        others = [card.model_copy(update={"quantities": {}}) for _ in range(30)]
        for other in others:
            story = weekend.log.story(other, weekend.stock)
            assert story.taken_over == 0
            assert "free_length" in story.at().figures  # no part owns it on this card
        assert len(weekend.log.stories) < len(others)
        assert weekend.state() == folded_afresh(weekend, None)


def test_cards_tried_out_do_not_drive_out_the_one_that_is_asked_for_all_the_time(
    tmp_path: Path,
) -> None:
    maker = race_weekend(tmp_path / "w", 6)
    with maker.session() as session:
        weekend = session.weekend
        card = weekend.card()
        told = weekend.log.story(card, weekend.stock)
        for _ in range(30):
            assert weekend.log.story(card, weekend.stock) is told
            weekend.log.story(card.model_copy(update={"quantities": {}}), weekend.stock)
        session.append(Setting(happened_at=maker.at, recess_mm=1.4))
        log = session.weekend.log
        assert log.story(card, weekend.stock).taken_over == len(log) - 1
