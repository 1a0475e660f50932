"""Make the demo weekend afresh: an invented meeting that follows the model's own physics.

    python tests/demo/make_demo.py demo_weekend

Springs sag with the logarithm of running time after a first drop from the squeezes, shoes wear in
proportion to it, readings scatter as a caliper's do, and a lap is quickest where the clutch bites
near the driver's liking. Event, people and parts are invented; the seed is fixed.
"""

from __future__ import annotations

import math
import random
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import make_recording

from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.judging import judge_on
from pitwright.desk.measure.measure import check_record
from pitwright.mechanics.clutch import Clutch, bite_speed, take_up_speed
from pitwright.mechanics.corner_heat import corner_energy
from pitwright.store import log_writer
from pitwright.store.create import new_weekend
from pitwright.store.session import Session
from pitwright.weekend.procedure import Route
from pitwright.weekend.records import (
    BellTemperature,
    Build,
    Conditions,
    Correction,
    Fit,
    HeatRun,
    NoteRecord,
    NutCalibration,
    NutPair,
    Observation,
    Record,
    ScheduleChange,
    Setting,
    StepResult,
    StockChange,
    ZeroCheck,
)

SEED = 1608
ZONE = ZoneInfo("Europe/Ljubljana")
LAPTOP = "tent1"
LIKED_BITE = 12_600.0
LATER_STEPS = frozenset({"pinions", "screw-snug", "end-play-shims"})
"""Steps gained later: their times are drawn apart, so that no reading moves."""

SCHEDULE = """
[[heat]]
name = "{name}"
kind = "{kind}"{round}
starts_at = {starts_at}
minutes = {minutes}
"""

HEATS: tuple[tuple[str, str, int | None, str, int], ...] = (
    ("P1", "practice", 1, "2026-05-15T10:00:00", 8),
    ("P2", "practice", 2, "2026-05-15T12:10:00", 8),
    ("P3", "practice", 3, "2026-05-15T14:20:00", 8),
    ("P4", "practice", 4, "2026-05-15T16:30:00", 8),
    ("Q1", "qualifier", 1, "2026-05-16T09:30:00", 7),
    ("Q2", "qualifier", 2, "2026-05-16T11:40:00", 7),
    ("Q3", "qualifier", 3, "2026-05-16T14:00:00", 7),
    ("Q4", "qualifier", 4, "2026-05-16T16:10:00", 7),
    ("W1", "warm-up", None, "2026-05-17T09:30:00", 6),
    ("M1", "main", 1, "2026-05-17T11:30:00", 15),
    ("M2", "main", 2, "2026-05-17T15:00:00", 30),
)

DRIVE = 46 / 17 * 2.7
"""First speed of the demo's car, engine turns per wheel turn."""

CORNERS = (("Hairpin", 26, 1), ("Chicane", 38, 1), ("Infield", 33, 2))
"""Slow corners of the track: label, road speed [km/h], how often in a lap."""

BELL_LOSS, BELL_COOLS_MIN = 0.10, 4.5
"""What the bell really gives away, running [W/K], and its time constant, standing [min]."""


@dataclass
class SpringTruth:
    """What a spring really is: length new [mm], loss by squeezing, log law of sag [mm, min]."""

    new: float
    squeeze: float
    sag: float
    t0: float = 3.0
    minutes: float = 0.0
    squeezed: bool = False

    @property
    def length(self) -> float:
        drop = self.squeeze if self.squeezed else 0.0
        return self.new - drop - self.sag * math.log1p(self.minutes / self.t0)


class Demo:
    """The weekend being lived through, hour by hour."""

    def __init__(self, session: Session, rng: random.Random) -> None:
        self.session = session
        self.rng = rng
        self.later = random.Random(SEED + 1)
        self.now = datetime(2026, 5, 15, 6, 0, tzinfo=UTC)
        session.clock = lambda: self.now
        self.springs = {
            "S1": SpringTruth(10.24, 0.06, 0.139),
            "S2": SpringTruth(10.27, 0.06, 0.101),
            "S3": SpringTruth(10.23, 0.05, 0.096),
        }
        self.shoes = {"H1": 5.00, "H2": 5.01}
        self.spring, self.shoe = "S1", "H1"
        self.recess = 1.35
        self.end_play = 0.25

    # Time

    def at(self, wall_clock: str) -> None:
        """Go to a moment of the venue's clock."""
        self.now = datetime.fromisoformat(wall_clock).replace(tzinfo=ZONE).astimezone(UTC)

    def wait(self, minutes: float) -> None:
        self.now += timedelta(minutes=minutes)

    # Records

    def keep(self, record: Record) -> Record:
        return self.session.append(record)

    def read(self, truth: float, repeats: int = 3, spread: float = 0.008) -> str:
        """Return what a caliper would show, as it would be typed."""
        return " ".join(f"{self.rng.gauss(truth, spread):.2f}" for _ in range(repeats))

    def check(
        self,
        step: str | None = None,
        note: str = "",
        squeezes: int | None = None,
        **typed: str,
    ) -> Record:
        bench = gather(self.session.weekend, self.now)
        judged = [judge_on(bench, key, text, final=True) for key, text in typed.items()]
        squeezed = {} if squeezes is None else dict.fromkeys(typed, squeezes)
        return self.keep(
            check_record(judged, now=self.now, clutch="A", step=step, note=note, squeezes=squeezed)
        )

    def fit(self, place: str, part: str | None = None, **more: object) -> None:
        self.keep(Fit(happened_at=self.now, place=place, part=part, **more))  # type: ignore[arg-type]

    def lengths(self) -> str:
        return self.read(self.springs[self.spring].length)

    def wear_check(self, note: str = "") -> Record:
        """After a heat: cool down, pull the bell, measure what wears."""
        self.wait(self.rng.uniform(24, 34))
        return self.check(
            note=note,
            free_length=self.lengths(),
            recess=self.read(self.recess, 2),
            shoe_thickness=self.read(self.shoes[self.shoe], 2),
        )

    def set_recess(self, recess: float) -> None:
        turns = (recess - self.recess) / 0.75
        self.recess = recess
        self.keep(
            Setting(happened_at=self.now, recess_mm=round(recess, 2), turns_in=round(turns, 2))
        )
        self.wait(3)
        self.check(recess=self.read(recess, 2))

    # Builds

    def build(self, route: Route, note: str = "", **what: str) -> None:
        """Work a route of the procedure; ``what`` maps a step to what is done there."""
        weekend = self.session.weekend
        steps = weekend.procedure.on_route(route)
        started = self.now
        results: list[StepResult] = []
        for step in steps:
            clock = self.later if step.id in LATER_STEPS else self.rng
            seconds = step.minutes.value * 60 * clock.uniform(0.7, 1.25)
            self.wait(seconds / 60)
            checks = self.at_step(step.id, what)
            results.append(
                StepResult(
                    step=step.id,
                    done_at=self.now,
                    seconds=round(seconds),
                    torque_done=step.torque is not None,
                    thread_lock_applied=True if step.thread_lock == "medium" else None,
                    thread_lock_at=self.now if step.thread_lock == "medium" else None,
                    checks=checks,
                )
            )
        self.keep(
            Build(
                happened_at=started,
                finished_at=self.now,
                route=route,
                steps=steps,
                results=results,
                note=note,
            )
        )

    def at_step(self, step: str, what: dict[str, str]) -> list[str]:
        kept: list[Record] = []
        if step == "cut-shoes":
            if "shoes" in what:
                self.fit("shoes", what["shoes"], **self.off("shoes", what), step=step)
                self.shoe = what["shoes"]
            kept.append(self.check(step, shoe_thickness=self.read(self.shoes[self.shoe], 2)))
        elif step == "spring":
            if "spring" in what:
                self.fit("spring", what["spring"], **self.off("spring", what), step=step)
                self.spring = what["spring"]
            truth = self.springs[self.spring]
            if not truth.squeezed:
                kept.append(self.check(step, "As it came", 0, free_length=self.lengths()))
                truth.squeezed = True
                self.wait(1)
            kept.append(self.check(step, "After five squeezes", 5, free_length=self.lengths()))
        elif step == "recess":
            self.recess = float(what.get("recess", self.recess))
            self.keep(Setting(happened_at=self.now, recess_mm=round(self.recess, 2), step=step))
            self.wait(0.5)
            kept.append(self.check(step, recess=self.read(self.recess, 2)))
        elif step == "height-shims":
            self.fit("height shims", shims_mm=[0.2, 0.1], step=step)
        elif step == "bearings" and "bearings" in what:
            self.fit("bearings", what["bearings"], **self.off("bearings", what), step=step)
        elif step == "bell-on":
            if "bell" in what:
                self.fit("bell", what["bell"], step=step)
                self.fit("pinion", "P17", step=step)
        elif step == "end-play-shims":
            shims = [float(s) for s in what.get("shims", "0.20 0.15").split()]
            self.fit("end play shims", shims_mm=shims, step=step)
        elif step == "end-play":
            kept.append(self.check(step, end_play=f"{self.end_play:.2f}"))
        elif step == "final":
            kept.append(self.check(step, gear_mesh=f"{self.rng.choice([0.08, 0.09, 0.10]):.2f}"))
        return [record.id for record in kept]

    def off(self, place: str, what: dict[str, str]) -> dict[str, object]:
        fate = what.get(f"{place}_off")
        if fate is None:
            return {}
        part, _, reason = fate.partition(": ")
        return {
            "removed": part,
            "fate": "discarded" if reason else "kept",
            "reason": reason,
        }

    # Heats

    def truth(self) -> Clutch:
        """Return the clutch as it really is: the design's model with some more friction."""
        return Clutch(
            shoes=4,
            shoe_mass=0.9e-3,
            mass_radius=11e-3,
            clearance=0.25e-3,
            bell_radius=15e-3,
            wedge_angle=math.radians(45),
            wedge_friction=0.1,
            face_friction=0.1,
            bell_friction=0.3,
            spring_rate=30.6e3,
            free_length=self.springs[self.spring].length / 1000,
            solid_length=8e-3,
            recess_bottomed=2.125e-3,
            recess=self.recess / 1000,
            mass_lost_per_wear=0.21,
            worn=max(5.0 - self.shoes[self.shoe], 0.0) / 1000,
            s_scale=1.04,
            t_scale=1.05,
        )

    def bite_truth(self) -> float:
        """Return where this clutch really bites [rpm]."""
        return bite_speed(self.truth()) * 30 / math.pi

    def plateau_truth(self) -> float:
        """Return where a launch of this clutch really holds [rpm]."""
        return take_up_speed(self.truth(), 0.40) * 30 / math.pi

    def laps(self, minutes: float, track: float, fade: float = 0.02) -> list[float]:
        """Return lap times [s]: 21 s on a good clutch, slower the farther its bite is off."""
        off = (self.bite_truth() - LIKED_BITE) / 100
        base = 21.0 + track + 0.055 * abs(off) + self.rng.gauss(0, 0.05)
        laps: list[float] = []
        run, wander = 0.0, 0.0
        while run < minutes * 60:
            wander = 0.5 * wander + self.rng.gauss(0, 0.10)
            lap = base + fade * run / 60 + wander + abs(self.rng.gauss(0, 0.08))
            if not laps:
                lap += 1.4
            elif self.rng.random() < 0.04:
                lap += self.rng.uniform(1.5, 5.0)
            laps.append(round(lap, 3))
            run += lap
        return laps

    def heat(
        self,
        name: str,
        *,
        track: float,
        air: float,
        warm_up: float = 1.5,
        minutes: float | None = None,
        late: float = 0.0,
        stop_at: int | None = None,
        **more: object,
    ) -> None:
        planned = next(h for h in HEATS if h[0] == name)
        self.at(planned[3])
        self.wait(late)
        start = self.now
        laps = self.laps(minutes or planned[4], track)
        if stop_at is not None:
            del laps[stop_at:]
            laps.append(23.912)
        if planned[4] >= 30:
            for stop in (len(laps) // 3, 2 * len(laps) // 3):
                laps[stop] += round(self.rng.uniform(8.5, 10.5), 3)
        run = round(sum(laps) / 60, 1)
        self.wait(run + 4)
        bite = self.bite_truth()
        rating = 5 if abs(bite - LIKED_BITE) < 120 else 4
        rating = rating if abs(bite - LIKED_BITE) < 260 else 3
        self.keep(
            HeatRun(
                happened_at=start,
                heat=name,
                heat_kind=planned[1],  # type: ignore[arg-type]
                round=planned[2],
                planned_minutes=planned[4],
                run_minutes=run,
                warm_up_minutes=warm_up,
                conditions=Conditions(
                    air_c=air,
                    track_c=round(air * 1.45, 1),
                    humidity_percent=round(self.rng.uniform(42, 58)),
                    pressure_hpa=round(self.rng.uniform(982, 986), 1),
                    grip=3 if track > 0.1 else 4,
                ),
                bite_rating=more.pop("bite_rating", rating),  # type: ignore[arg-type]
                bottom_end_rating=4,
                consistency_rating=4,
                engine_c=round(self.rng.uniform(102, 114)),
                fuel_used_ml=round((run + warm_up) * self.rng.uniform(9.6, 10.6), 1),
                pinion_teeth=[17, 21],
                spur_teeth=[46, 42],
                **more,  # type: ignore[arg-type]
            )
        )
        self.session.keep_laps(name, laps)
        total = run + warm_up
        self.springs[self.spring].minutes += total
        self.shoes[self.shoe] -= 0.0024 * total

    def observe(self, how: str, rpm: float, heat: str) -> None:
        self.keep(
            Observation(
                happened_at=self.now,
                how=how,  # type: ignore[arg-type]
                rpm=round(rpm, -1),
                u_rpm=150.0,
                heat=heat,
                source="tachometer",
            )
        )

    def gun(self, heat: str, air: float, *after: float) -> None:
        """Read the bell with the gun so many minutes after a heat that has just been kept."""
        run = self.session.weekend.heat(heat).run
        end = run.happened_at + timedelta(minutes=run.run_minutes or 0.0)
        corners = sum(
            n * corner_energy(self.car_inertia(), self.lock_up(), kmh / 3.6 / 0.05 * DRIVE)
            for _, kmh, n in CORNERS
        )
        rise = 0.95 * corners / 21.3 / BELL_LOSS
        names = self.rng.getstate()  # these readings came later: they move nothing else
        noise = random.Random(heat)
        for minutes in after:
            now = air + rise * math.exp(-minutes / BELL_COOLS_MIN) + noise.gauss(0, 2)
            at = end + timedelta(minutes=minutes)
            self.keep(BellTemperature(happened_at=at, bell_c=round(now), heat=heat, u_k=3))
        self.rng.setstate(names)

    def car_inertia(self) -> float:
        """Return the car as felt at the clutch [kg m^2]: 3.4 kg on wheels of 100 mm."""
        return 3.4 * (0.05 / DRIVE) ** 2

    def lock_up(self) -> float:
        """Return where this clutch really takes up [rad/s]."""
        return take_up_speed(self.truth(), 0.40)

    def note(self, text: str, about: str = "", *, open_point: bool = False) -> None:
        self.keep(NoteRecord(happened_at=self.now, text=text, about=about, open_point=open_point))


def friday(demo: Demo) -> None:
    demo.at("2026-05-15T07:40:00")
    demo.keep(ZeroCheck(happened_at=demo.now, instrument="caliper", values_mm=[0.0, 0.0, 0.01]))
    demo.wait(4)
    demo.build(
        "full rebuild",
        "First build of the meeting",
        spring="S1",
        shoes="H1",
        bell="B1",
        bearings="R1",
        recess="1.35",
    )
    demo.keep(
        NutCalibration(
            happened_at=demo.now,
            pairs=[
                NutPair(turns_out=0.0, recess_mm=2.13),
                NutPair(turns_out=0.5, recess_mm=1.74),
                NutPair(turns_out=1.0, recess_mm=1.38),
                NutPair(turns_out=1.5, recess_mm=0.99),
            ],
        )
    )
    demo.at("2026-05-15T09:54:00")
    demo.observe("creep", demo.bite_truth() + 60, "P1")
    demo.heat("P1", track=0.22, air=17.5, note="Track green, bite where I like it")
    demo.wear_check()
    demo.heat("P2", track=0.17, air=19.0)
    wrong = demo.wear_check()
    slip_of_the_pen(demo, wrong)
    demo.wait(4)
    demo.set_recess(1.45)
    demo.heat("P3", track=0.12, air=20.5, note="Quicker off the corner again")
    demo.gun("P3", 20.5, 1.0, 5.0)
    demo.wear_check()
    demo.heat("P4", track=0.10, air=20.0)
    demo.wear_check()
    demo.wait(20)
    demo.set_recess(1.55)
    demo.note("Look at spring 1 before Q2: it loses about 0.03 a heat", "Spring 1", open_point=True)


def slip_of_the_pen(demo: Demo, check: Record) -> None:
    """A shoe thickness put down with its digits swapped, found and corrected an hour later."""
    from pitwright.weekend.records import Check

    assert isinstance(check, Check)
    right = next(r for r in check.readings if r.quantity == "shoe_thickness")
    swapped = right.model_copy(update={"values_mm": [4.59, 4.59], "typed": "4.59 4.59"})
    demo.wait(1)
    again = check.model_copy(
        update={"happened_at": demo.now, "readings": [swapped], "note": "Shoes once more"}
    )
    kept = demo.keep(again)
    demo.wait(35)
    demo.keep(
        Correction(
            happened_at=demo.now,
            replaces=kept.id,
            reason="Digits swapped: 4.59 written for 4.95",
            replacement=again.model_copy(
                update={
                    "readings": [
                        right.model_copy(update={"values_mm": [4.95, 4.96], "typed": "4.95 4.96"})
                    ]
                }
            ),
        )
    )


def saturday(demo: Demo) -> None:
    demo.heat("Q1", track=0.06, air=16.0, result="3rd of 9")
    demo.wear_check("Spring out of limits: change it before Q2")
    demo.wait(3)
    demo.build(
        "spring change",
        "Spring 1 was out",
        spring="S2",
        spring_off="S1: below the discard limit",
        recess="1.35",
    )
    demo.keep(
        ScheduleChange(
            happened_at=demo.now, change="delay", heat="Q2", minutes=15, note="Track repair"
        )
    )
    demo.heat(
        "Q2",
        track=0.04,
        air=19.5,
        late=15,
        stop_at=11,
        status="stopped early",
        trouble="Bell dragged and the engine stalled: bell bearing rough",
        bite_rating=2,
    )
    demo.wait(12)
    demo.end_play = 0.22
    demo.build(
        "recess only",
        "Bearing change after Q2",
        bearings="R2",
        bearings_off="R1: rough, ran hot",
        recess="1.40",
        shims="0.20 0.15",
    )
    launch = demo.plateau_truth()
    demo.heat("Q3", track=0.02, air=22.0, late=15, result="2nd of 9")
    demo.observe("plateau", launch - 70, "Q3")
    demo.wear_check()
    demo.wait(5)
    demo.set_recess(1.45)
    demo.heat("Q4", track=0.0, air=21.0, late=15, result="1st of 9", note="Clean run, no mistakes")
    demo.wear_check()
    demo.wait(45)
    demo.end_play = 0.26
    demo.build(
        "full rebuild",
        "Clean for Sunday, new shoes",
        shoes="H2",
        shoes_off="H1",
        recess="1.50",
        shims="0.20 0.10",
    )
    demo.note("Spring 2 may not last the long main: have spring 3 ready", "M2", open_point=True)


def sunday(demo: Demo) -> None:
    demo.heat("W1", track=0.05, air=15.5, warm_up=1.0)
    demo.wear_check()
    demo.heat("M1", track=0.01, air=19.0, result="2nd, through to the final")
    demo.gun("M1", 19.0, 1.5, 4.0)
    demo.wear_check()
    demo.wait(6)
    demo.build(
        "spring change",
        "Fresh spring for the long main",
        spring="S3",
        spring_off="S2",
        recess="1.35",
        shims="0.20 0.10",
    )
    demo.wait(4)
    demo.observe("creep", demo.bite_truth() - 50, "M2")
    launch = demo.plateau_truth()
    demo.heat("M2", track=-0.02, air=22.5, warm_up=3.0, result="2nd of 10", tyres="Fresh set")
    demo.observe("plateau", launch + 90, "M2")
    demo.wear_check("After the main")
    demo.keep(
        StockChange(
            happened_at=demo.now,
            change="bought",
            place="spring",
            part="S4",
            label="Spring 4",
            reason="From the trackside table",
        )
    )


def weekend_card() -> Iterator[str]:
    yield "# The weekend. Yours to edit: pitwright reads this file and never rewrites it.\n"
    yield "# An invented meeting; times are the venue's wall clock.\n\nformat = 1\n"
    yield 'name = "Reedmere Spring Cup"\nvenue = "Reedmere Ring"\n'
    yield f'time_zone = "{ZONE.key}"\nstarts_on = 2026-05-15\nends_on = 2026-05-17\n'
    yield 'racing_class = "1/8 on-road GT, nitro"\ndriver = "Robin Vale"\n'
    for name, kind, round_, starts_at, minutes in HEATS:
        yield SCHEDULE.format(
            name=name,
            kind=kind,
            round=f"\nround = {round_}" if round_ else "",
            starts_at=starts_at,
            minutes=minutes,
        )
    # Slow corners, invented: those out of which the clutch slips.
    yield "\n[track]\n"
    for label, speed, a_lap in CORNERS:
        yield (
            f'\n[[track.corner]]\nlabel = "{label}"\na_lap = {a_lap}\n'
            f'speed = {{ value = "{speed} km/h", from = "invented", u = "3 km/h" }}\n'
        )


STOCK = {
    'id = "S2"\nlabel = "Spring 2"\nkind = "1.6 x 9.0"\n': (
        'id = "S2"\nlabel = "Spring 2"\nkind = "1.6 x 9.0"\n\n'
        '[[spring]]\nid = "S3"\nlabel = "Spring 3"\nkind = "1.6 x 9.0"\n'
    ),
    'label = "Shoe set 1"\nkind = "standard"\n': (
        'label = "Shoe set 1"\nkind = "standard"\n\n'
        '[[shoes]]\nid = "H2"\nlabel = "Shoe set 2"\nkind = "standard"\n\n'
        '[[shoes]]\nid = "H3"\nlabel = "Shoe set 3"\nkind = "soft"\n'
    ),
    'label = "Bearing pair 1"\n': (
        'label = "Bearing pair 1"\n\n[[bearings]]\nid = "R2"\nlabel = "Bearing pair 2"\n'
    ),
}


def with_soft_shoes(card: str) -> str:
    """Return the clutch's card with the kind of shoes that it has as an example only."""
    lines = card.splitlines(keepends=True)
    at = lines.index('# [shoes_kind."soft"]\n')
    end = next(i for i in range(at, len(lines)) if not lines[i].startswith("# "))
    return "".join((*lines[:at], *(x.removeprefix("# ") for x in lines[at:end]), *lines[end:]))


class _SameNames:
    """Draws the tails of the records' names from the demo's own numbers: the same each time."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng

    def choices(self, letters: str, *, k: int) -> list[str]:
        return [self._rng.choice(letters) for _ in range(k)]


def main(target: Path) -> None:
    rng = random.Random(SEED)
    log_writer.SystemRandom = lambda: _SameNames(rng)  # type: ignore[assignment,misc]
    if target.exists():
        shutil.rmtree(target)
    new_weekend(target, name="demo", time_zone=ZONE.key, starts_on=date(2026, 5, 15))
    (target / "weekend.toml").write_text("".join(weekend_card()), encoding="utf-8")
    stock = (target / "stock.toml").read_text(encoding="utf-8")
    for old, new in STOCK.items():
        assert old in stock
        stock = stock.replace(old, new)
    (target / "stock.toml").write_text(stock, encoding="utf-8")
    card = (target / "clutch.toml").read_text(encoding="utf-8")
    (target / "clutch.toml").write_text(with_soft_shoes(card), encoding="utf-8")
    with Session(target, laptop=LAPTOP) as session:
        demo = Demo(session, rng)
        friday(demo)
        saturday(demo)
        sunday(demo)
    shutil.rmtree(target / "open", ignore_errors=True)
    make_recording.main(target / "recordings" / "launch-Q4.wav")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
