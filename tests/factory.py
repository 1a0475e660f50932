"""Weekends made quickly in a temporary folder, for tests of desk, app, report and command line.

``WeekendMaker`` appends records one after the other with its own clock. ``race_weekend`` makes a
whole invented one of any length, with wear that follows the running, laps, corrections and notes.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from pitwright.store import files
from pitwright.store.create import new_weekend
from pitwright.store.lap_csv import format_lap_csv
from pitwright.store.log_writer import append_record
from pitwright.store.session import Session
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import (
    Build,
    Check,
    Conditions,
    Correction,
    Fit,
    HeatRun,
    NoteRecord,
    Reading,
    Record,
    ScheduleChange,
    Setting,
)

ZONE = ZoneInfo("Europe/Lisbon")
FIRST_DAY = date(2026, 5, 15)
LAPTOP = "tent1"

_R = TypeVar("_R", bound=Record)

STEP = {
    "id": "spring",
    "title": "Squeeze the spring and measure it",
    "do": "Squeeze it, let it settle, measure it.",
    "routes": ["full rebuild", "spring change"],
    "minutes": {"value": "4 min", "from": "invented"},
}

MORE_STOCK = """
[[spring]]
id = "S3"
label = "Spring 3"
kind = "1.6 x 9.0"

[[shoes]]
id = "H2"
label = "Shoe set 2"
kind = "standard"
"""


def local(day: int, clock: str) -> datetime:
    """Return the moment of a wall clock time such as 9:30 on a day of the weekend (0 is Friday)."""
    hour, minute = clock.split(":")
    wall = datetime(2026, 5, 15, int(hour), int(minute), tzinfo=ZONE) + timedelta(days=day)
    return wall.astimezone(UTC)


def scheduled(name: str, kind: str, day: int, clock: str, minutes: float, round_: int = 0) -> str:
    """Return a heat block for weekend.toml."""
    hour, minute = clock.split(":")
    number = f"round = {round_}\n" if round_ else ""
    return (
        f'\n[[heat]]\nname = "{name}"\nkind = "{kind}"\n{number}'
        f"starts_at = {FIRST_DAY + timedelta(days=day)}T{int(hour):02d}:{int(minute):02d}:00\n"
        f"minutes = {minutes}\n"
    )


def blank_weekend(folder: Path, *, schedule: Sequence[str] = ()) -> Path:
    """Make a weekend with its cards, three springs and two shoe sets, and an empty log."""
    new_weekend(
        folder, name="Pine Valley Open", time_zone="Europe/Lisbon", starts_on=FIRST_DAY, days=3
    )
    with (folder / "weekend.toml").open("a") as card:
        card.write("".join(schedule))
    with (folder / "stock.toml").open("a") as card:
        card.write(MORE_STOCK)
    return folder


class WeekendMaker:
    """Writes records of one weekend, each at the moment of its own clock ``at``."""

    def __init__(self, folder: Path, *, schedule: Sequence[str] = ()) -> None:
        self.folder = blank_weekend(folder, schedule=schedule)
        self.at = local(0, "8:00")
        self._sequence = 0

    @property
    def written(self) -> int:
        """How many records there are so far."""
        return self._sequence

    def go(self, day: int, clock: str) -> WeekendMaker:
        """Set the clock."""
        self.at = local(day, clock)
        return self

    def later(self, minutes: float) -> WeekendMaker:
        """Put the clock on."""
        self.at += timedelta(minutes=minutes)
        return self

    def add(self, record: _R) -> _R:
        """Write any record."""
        self._sequence += 1
        return append_record(
            self.folder, record, laptop=LAPTOP, sequence=self._sequence, now=self.at
        )

    def fit(self, place: str, part: str | None = None, **more: Any) -> Fit:
        """Fit a part, or shims (``shims_mm=[...]``)."""
        return self.add(Fit(happened_at=self.at, place=place, part=part, **more))

    def set_recess(self, recess_mm: float, **more: Any) -> Setting:
        """Set the nut."""
        return self.add(Setting(happened_at=self.at, recess_mm=recess_mm, **more))

    def check(self, verdict: str = "good", note: str = "", **values: float) -> Check:
        """Read quantities, all with one verdict."""
        instruments = {"recess": "depth", "end_play": "feeler", "bell_clearance": "feeler"}
        readings = [
            Reading(
                quantity=key,
                values_mm=[value],
                verdict=verdict,
                instrument=instruments.get(key, "caliper"),
                u_mm=0.015,
                discard_below_mm=9.8 if key == "free_length" else None,
            )
            for key, value in values.items()
        ]
        return self.add(Check(happened_at=self.at, readings=readings, note=note))

    def build(self, route: str = "full rebuild", minutes: float = 40) -> Build:
        """Sign off a build."""
        finished = self.at
        return self.add(
            Build(
                happened_at=finished - timedelta(minutes=minutes),
                finished_at=finished,
                route=route,
                steps=[Step.model_validate(STEP)],
            )
        )

    def heat(
        self,
        name: str,
        kind: str,
        minutes: float | None = 8,
        laps: Sequence[float] = (),
        **more: Any,
    ) -> HeatRun:
        """Run a heat, with laps when there are some; the clock stands at its end afterwards."""
        record = self.add(
            HeatRun(happened_at=self.at, heat=name, heat_kind=kind, run_minutes=minutes, **more)
        )
        if laps:
            path = self.folder / "laps" / f"{name}.csv"
            path.write_text(format_lap_csv(list(laps)))
        self.later(minutes or 0)
        return record

    def note(self, text: str, **more: Any) -> NoteRecord:
        """Write a note."""
        return self.add(NoteRecord(happened_at=self.at, text=text, **more))

    def delay(self, heat: str, minutes: float) -> ScheduleChange:
        """Delay a heat and those after it."""
        return self.add(
            ScheduleChange(happened_at=self.at, change="delay", heat=heat, minutes=minutes)
        )

    def correct(self, record: Record, reason: str, **changes: Any) -> Correction:
        """Correct a record; without changes, take it back."""
        replacement = record.model_copy(update=changes) if changes else None
        return self.add(
            Correction(
                happened_at=self.at, replaces=record.id, reason=reason, replacement=replacement
            )
        )

    def session(self, *, now: datetime | None = None) -> Session:
        """Open the folder; ``now`` sets the session's clock (default: the maker's)."""
        moment = now or self.at
        return Session(self.folder, laptop=LAPTOP, clock=lambda: moment)


def _laps(rng: random.Random, minutes: float, pace: float) -> list[float]:
    laps = [pace + 1.4]
    while sum(laps) < minutes * 60:
        laps.append(round(pace + rng.gauss(0.0, 0.09) + (1.1 if rng.random() < 0.03 else 0.0), 3))
    return laps


def race_weekend(folder: Path, heats: int = 60, *, seed: int = 7) -> WeekendMaker:
    """Make a weekend of ``heats`` heats over three days, with the work between them.

    The spring sags 0.0024 mm and the shoes wear 0.0015 mm per minute of running; a spring under
    9.86 mm is changed. One heat has no run time, one is cancelled, one is corrected, one is rerun.
    """
    rng = random.Random(seed)
    names = [_planned(i, heats) for i in range(heats)]
    maker = WeekendMaker(folder, schedule=[scheduled(*plan) for plan in names])
    sync, files.os.fsync = files.os.fsync, lambda _handle: None  # a test's folder may be lost
    try:
        _race(maker, rng, names)
    finally:
        files.os.fsync = sync
    return maker


def _planned(index: int, heats: int) -> tuple[str, str, int, str, float, int]:
    day = min(index * 3 // heats, 2)
    first = -(-day * heats // 3)
    slot = index - first
    minutes_past = 9 * 60 + slot * 25
    clock = f"{minutes_past // 60}:{minutes_past % 60:02d}"
    if index == heats - 1:
        return ("Main", "main", day, clock, 30.0, 0)
    if day == 0:
        return (f"P{slot + 1}", "practice", day, clock, 8.0, slot + 1)
    return (f"Q{index - -(-heats // 3) + 1}", "qualifier", day, clock, 6.0, slot + 1)


def _race(
    maker: WeekendMaker, rng: random.Random, names: Sequence[tuple[str, str, int, str, float, int]]
) -> None:
    maker.go(0, "8:00")
    maker.fit("spring", "S1")
    maker.fit("shoes", "H1")
    maker.fit("bell", "B1")
    maker.fit("pinion", "P17")
    maker.fit("bearings", "R1")
    maker.fit("height shims", shims_mm=[0.2, 0.1])
    maker.fit("end play shims", shims_mm=[0.1, 0.05])
    maker.set_recess(1.35)
    length, thickness, springs, recess = 10.2, 5.0, ["S2", "S3"], 1.35
    spring = "S1"
    maker.check(free_length=length, shoe_thickness=thickness, recess=1.35, end_play=0.25)
    maker.later(40).build()
    for index, (name, kind, day, clock, minutes, round_) in enumerate(names):
        maker.go(day, clock)
        conditions = Conditions(air_c=round(18 + rng.uniform(0, 8), 1), track_c=31.0, grip=3)
        if index == 5:
            maker.add(HeatRun(happened_at=maker.at, heat=name, heat_kind=kind, status="cancelled"))
            continue
        known = None if index == 8 else minutes
        record = maker.heat(
            name,
            kind,
            known,
            _laps(rng, minutes, 18.2 + abs(recess - 1.45)),
            round=round_ or None,
            planned_minutes=minutes,
            conditions=conditions,
            bite_rating=rng.randint(2, 5),
            bottom_end_rating=rng.randint(2, 5),
            consistency_rating=rng.randint(2, 5),
            trouble="Clutch dragged on the grid" if index == 11 else "",
        )
        length -= 0.0024 * minutes
        thickness -= 0.0015 * minutes
        maker.later(2)
        if index == 3:
            maker.correct(record, "the clock was read late", run_minutes=minutes - 1)
        if index == 12:
            maker.later(1).note("Rain on the back straight", about=name)
        if index % 3 == 1:
            before, recess = recess, round(recess + 0.05, 3) if recess < 1.6 else 1.35
            maker.set_recess(recess, turns_in=round((recess - before) / 0.75, 3))
        if index % 4 == 2:
            word = "out" if length < 9.86 else "good"
            maker.check(word, free_length=round(length, 2))
            maker.check(shoe_thickness=round(thickness, 2))
        if length < 9.86 and springs:
            old, spring = spring, springs.pop(0)
            maker.fit("spring", spring, removed=old, fate="discarded", reason="under the limit")
            length, recess = 10.2, 1.35
            maker.check(free_length=10.2)
            maker.set_recess(1.35)
            maker.later(1).build("spring change", 14)


def long_weekend(folder: Path, records: int = 5000, *, seed: int = 7) -> WeekendMaker:
    """Make a weekend of at least ``records`` records in three days: more than anyone writes.

    Every eighth is a heat, every eightieth heat has laps; between them readings, settings of the
    nut and notes, now and then another part, a correction, a record taken back.
    """
    rng = random.Random(seed)
    maker = WeekendMaker(folder, schedule=[scheduled(*_planned(i, 30)) for i in range(30)])
    sync, files.os.fsync = files.os.fsync, lambda _handle: None  # a test's folder may be lost
    try:
        maker.go(0, "8:00").fit("spring", "S1")
        maker.fit("shoes", "H1")
        maker.set_recess(1.35)
        while maker.written < records:
            _one_of_many(maker, rng, maker.written, records)
    finally:
        files.os.fsync = sync
    return maker


def _one_of_many(maker: WeekendMaker, rng: random.Random, number: int, records: int) -> None:
    minutes = 3 * 12 * 60 * number / records
    maker.at = local(int(minutes // 720), "8:00") + timedelta(minutes=minutes % 720)
    run = maker.heat(
        f"X{number}",
        "practice",
        1,
        _laps(rng, 6, 18.2) if number % 640 < 8 else (),
        bite_rating=rng.randint(2, 5),
    )
    maker.check(free_length=round(10.2 - 0.4 * number / records, 2), end_play=0.25)
    maker.check(shoe_thickness=round(5.0 - 0.3 * number / records, 2))
    maker.set_recess(round(1.35 + rng.uniform(0, 0.25), 3))
    maker.note(f"Grip {rng.randint(1, 5)} of 5 on the back straight", about=run.heat)
    maker.check(recess=round(1.35 + rng.uniform(0, 0.25), 3))
    if rng.random() < 0.1:
        maker.fit("spring", rng.choice(("S1", "S2", "S3")))
    elif rng.random() < 0.1:
        maker.correct(run, "the clock was read late", run_minutes=1.5)
    else:
        maker.check(bell_clearance=0.25)
    note = maker.note("Looked at the shoes through the bell")
    if rng.random() < 0.05:
        maker.correct(note, "it was another car")
