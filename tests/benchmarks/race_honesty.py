"""Is the answer over a race honest: simulated mains whose laws the model does not own, seeded.

    python tests/benchmarks/race_honesty.py [RACES] [SEED]

Each race has a clutch, a fitted spring and shoe set that have run, a fresh spring and shoes of the
same kinds, and earlier parts of the kinds, all read now and then with a caliper. How they sag and
wear comes from one of eight laws (``SHAPES``), of which the forecast owns two; a spring also pulls
a little differently from the next, the clutch warms and its friction changes by laws of the
simulation's own, and the nut is never quite where it was meant to be. The bite that the driver
likes was heard once, in an earlier heat on the fitted spring, by a tachometer that is off.

The program is given the readings and chooses spring, shoes and recess. The truth then runs the
race with its choice and with what else could have been done; the minutes off target are counted
from the truth alone, second by second. Every table is printed again for other windows, lengths,
scatter and laws.

How a tie counts was laid down before anything was counted. One choice is less off than another by
more than a second, or it is not. Two are one decision where the parts are the same and the recesses
lie within what a nut can be set to (``RESOLUTION_MM``). Told are: less, as much and more of all
races; the same of the races in which they are two decisions; and how many as much were on target
all the time, which nothing can be less off than. A tie is never counted as less.
"""

from __future__ import annotations

import math
import random
import sys
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pitwright.desk.race.futures import Doubts, Fate, draw_luck, fate_of, moments_of
from pitwright.desk.race.outcome import (
    Aim,
    Outcome,
    best_recess,
    off_minutes,
    outcome,
    price,
    worth,
)
from pitwright.inference.forecast import Forecast, Reading, forecast, learn_kind
from pitwright.inference.race import shares
from pitwright.mechanics.clutch import Clutch, bite_speed, opening_force
from pitwright.mechanics.states import States

Floats = NDArray[np.float64]

RPM = 30 / math.pi
SHAPES: dict[str, Callable[[float, float], float]] = {
    # share of an hour's loss after so many minutes; p is the shape's own parameter, 0 to 1
    "linear": lambda m, p: m / 60,
    "log-time": lambda m, p: math.log1p(m / (3 + 30 * p)) / math.log1p(60 / (3 + 30 * p)),
    "concave power": lambda m, p: (m / 60) ** (0.35 + 0.35 * p),
    "convex power": lambda m, p: (m / 60) ** (1.2 + 0.6 * p),
    "settling": lambda m, p: -math.expm1(-m / (6 + 24 * p)) / -math.expm1(-60 / (6 + 24 * p)),
    "hyperbolic": lambda m, p: (m / (m + 8 + 40 * p)) / (60 / (60 + 8 + 40 * p)),
    "two speeds": lambda m, p: (
        0.5 * -math.expm1(-m / (2 + 6 * p)) + 0.5 * -math.expm1(-m / 70) / -math.expm1(-60 / 70)
    ),
    "hot heat": lambda m, p: 0.7 * m / 60 + (0.3 if m > 15 + 20 * p else 0.0),
}
OWNED = ("linear", "log-time")
CLUTCH = Clutch(
    shoes=4, shoe_mass=0.9e-3, mass_radius=11e-3, clearance=0.25e-3, bell_radius=15e-3,
    wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1, bell_friction=0.3,
    spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3, recess_bottomed=2.125e-3,
    recess=1.35e-3, mass_lost_per_wear=0.21, softening=0.00026,
)  # fmt: skip
MOST_RECESS = 1.7
RESOLUTION_MM = 0.02
A_SECOND = 1 / 60
FINER = 12  # truth looks so many times as often as the forecast
TOOL = 0.01


@dataclass(frozen=True)
class World:
    """What a simulation assumes; each is varied below."""

    half_rpm: tuple[float, float] = (150.0, 350.0)
    main_min: tuple[float, float] = (20.0, 60.0)
    scatter_mm: tuple[float, float] = (0.006, 0.014)
    shapes: tuple[str, ...] = tuple(SHAPES)
    spring_loss_mm: tuple[float, float] = (0.1, 0.4)
    shoe_loss_mm: tuple[float, float] = (0.05, 0.25)
    kin_spread: float = 0.25
    earlier: tuple[int, int] = (1, 3)
    friction: float = 0.02
    hot_k: tuple[float, float] = (35.0, 95.0)
    slip_mm: float = 0.012
    spring_spread: float = 0.01


@dataclass
class Part:
    """A spring (size falls from 10.2) or a shoe set (from 5.0): its law, and its readings."""

    start: float
    loss: float
    shape: str
    p: float
    age: float = 0.0
    pull: float = 1.0
    readings: list[Reading] = field(default_factory=list)

    def size(self, minutes: float) -> float:
        return self.start - self.loss * SHAPES[self.shape](minutes, self.p)


def spread(rng: random.Random, ends: tuple[float, float]) -> float:
    return rng.uniform(*ends)


def part(rng: random.Random, kind: tuple[str, float, float], new: float, world: World) -> Part:
    shape, loss, p = kind
    loss *= math.exp(rng.gauss(0, world.kin_spread))
    start = new + rng.uniform(-0.03, 0.03)
    return Part(start, loss, shape, p, pull=1 + rng.gauss(0, world.spring_spread))


def run(rng: random.Random, part: Part, checks: int, sd: float) -> None:
    """Run a part, reading it before and after; three places each, to the caliper's hundredth."""

    def read() -> Reading:
        true = part.size(part.age)
        value = sum(round(true + rng.gauss(0, sd), 2) for _ in "123") / 3
        return Reading(part.age, value, math.hypot(TOOL, 0.01 / 12**0.5) / 3**0.5)

    part.readings.append(read())
    for _ in range(checks):
        part.age += rng.uniform(6.0, 16.0)
        part.readings.append(read())


@dataclass(frozen=True)
class Set:
    spring: Part
    shoes: Part
    fate: Fate


@dataclass(frozen=True)
class Race:
    """One race as it turned out: truth in ``off`` by what was done, and whether bands held.

    ``another`` is whether the choice was another decision than that.
    """

    spring_law: str
    shoes_law: str
    minutes: float
    half: float
    off: dict[str, float]
    another: dict[str, bool]
    chosen: str
    inside: tuple[bool, ...]
    drift_inside: tuple[bool, ...]
    said: tuple[float, bool]


def forecast_of(part: Part, kin: Sequence[Part], new: float) -> Forecast | None:
    readings = part.readings or [Reading(0.0, new, TOOL)]
    kind = learn_kind([k.readings for k in kin], max(r.minutes for r in readings))
    found = forecast(readings, kind)
    return found if isinstance(found, Forecast) else None


def simulate(rng: random.Random, world: World) -> Race | None:
    kinds = [
        (rng.choice(world.shapes), spread(rng, ends), rng.random())
        for ends in (world.spring_loss_mm, world.shoe_loss_mm)
    ]
    sd = spread(rng, world.scatter_mm)
    made = []
    for kind, new in zip(kinds, (10.2, 5.0), strict=True):
        earlier = [part(rng, kind, new, world) for _ in range(rng.randint(*world.earlier))]
        for each in earlier:
            run(rng, each, rng.randint(3, 7), sd)
        fitted, fresh = part(rng, kind, new, world), part(rng, kind, new, world)
        run(rng, fitted, rng.randint(2, 5), sd)
        run(rng, fresh, 0, sd)
        made.append((fitted, fresh, [*earlier, fitted]))
    (spring, new_spring, _), (shoes, new_shoes, _) = made
    lengths, thicks = (
        [forecast_of(one, [p for p in kin if p is not one], new) for one in (fitted, fresh)]
        for (fitted, fresh, kin), new in zip(made, (10.2, 5.0), strict=True)
    )
    main, half = spread(rng, world.main_min), spread(rng, world.half_rpm)
    warm_up = rng.uniform(1.0, 4.0)

    # the truth: how the clutch really is, and the bite the driver likes
    s_true = math.exp(rng.gauss(0, 0.1))
    nut_then = rng.uniform(1.38, 1.5)

    def true_bite(
        spring: Part, at: float, shoes: Part, shoes_at: float, recess: float,
        rise: float = 0.0, share: float = 1.0,
    ) -> float:  # fmt: skip
        state = replace(
            CLUTCH,
            free_length=spring.size(at) * 1e-3,
            worn=max(5.0 - shoes.size(shoes_at), 0.0) * 1e-3,
            recess=recess * 1e-3,
            spring_temperature_rise=rise,
            s_scale=s_true * spring.pull * share,
        )
        return bite_speed(state) * RPM

    # the heat whose bite was liked began at the last reading but one
    then_spring, then_shoes = spring.readings[-2], shoes.readings[-2]
    try:
        liked = true_bite(spring, then_spring.minutes, shoes, then_shoes.minutes, nut_then)
    except ValueError:
        return None
    u_heard = 200.0
    heard = liked + rng.gauss(0, u_heard)
    # what the program calibrates: that heat's clutch by the readings about it
    moments = moments_of(main)
    read_nut = nut_then + rng.gauss(0, world.slip_mm)
    try:
        then = replace(CLUTCH, free_length=then_spring.value * 1e-3, recess=read_nut * 1e-3,
                       worn=max(5.0 - then_shoes.value, 0.0) * 1e-3)  # fmt: skip
        base = replace(CLUTCH, s_scale=(heard / (bite_speed(then) * RPM)) ** 2)
        opening_force(base)
    except ValueError:
        return None
    doubts = Doubts(u_recess=0.015e-3, u_room=0.02e-3, u_common=math.hypot(u_heard, 90) / heard)
    luck = draw_luck(moments, doubts, warm_up)
    offered: dict[str, Set] = {}
    for name, one, two, length, thick in (
        ("fitted", spring, shoes, lengths[0], thicks[0]),
        ("fresh spring", new_spring, shoes, lengths[1], thicks[0]),
        ("fresh shoes", spring, new_shoes, lengths[0], thicks[1]),
        ("all fresh", new_spring, new_shoes, lengths[1], thicks[1]),
    ):
        if length is None or thick is None:
            return None
        fate = fate_of(
            base,
            length.paths([one.age + warm_up + m for m in moments]),
            5.0 - thick.paths([two.age + warm_up + m for m in moments]),
            luck,
            spring_seen=one is spring,
        )
        offered[name] = Set(one, two, fate)
    aim = Aim(target_rpm=heard, half_rpm=half)
    untouched = replace(offered["fitted"].fate, luck=replace(luck, slip=0.0 * luck.slip))
    left = off_minutes(untouched, aim, read_nut)
    found: dict[str, Outcome] = {"leave it": outcome(untouched, aim, read_nut)}
    for name, each in offered.items():
        recess = best_recess(each.fate, aim, 0.9, MOST_RECESS)
        if recess is not None:
            found[name] = outcome(each.fate, aim, recess, left)
    offered["leave it"] = offered["fitted"]
    costs = {
        name: price(each, CHANGES.get(name, 0), leave=name == "leave it")
        for name, each in found.items()
        if worth(each)
    }
    chosen = min(costs, key=costs.__getitem__)

    # the race: heat and friction by laws of their own, the nut a little off
    final = spread(rng, world.hot_k)
    fast, kink = rng.uniform(1.5, 8.0), rng.uniform(0.2, 0.9) * main
    jump = rng.choice([0.0, 0.0, rng.uniform(5, 20)])
    change = rng.gauss(0, world.friction)
    way = rng.choice(["linear", "early", "late", "bump"])
    slip = rng.gauss(0, world.slip_mm)

    def truth(one: Set, recess: float | Floats, missed: float) -> Floats:
        """Return the bite [rpm] over the race, 0 where the spring is solid, by recess if many."""
        at = np.linspace(0.0, main, FINER * (len(moments) - 1) + 1)
        x = at / main
        warm = math.exp(-warm_up / fast) - np.exp(-(warm_up + at) / fast)
        rise = np.maximum(final * warm + np.where(at > kink, jump, 0.0), 0.0)
        shape = {"linear": x, "early": x**0.4, "late": x**2.5, "bump": np.sin(math.pi * x)}[way]
        ran = (at + warm_up).tolist()
        states = States(
            replace(CLUTCH, s_scale=s_true * one.spring.pull),
            np.array([one.spring.size(one.spring.age + m) for m in ran]) * 1e-3,
            np.maximum([5.0 - one.shoes.size(one.shoes.age + m) for m in ran], 0.0) * 1e-3,
            rise,
            1 + change * shape,
        )
        set_to = (np.asarray(recess) + missed)[..., None] * 1e-3
        speeds: Floats = np.where(set_to > states.most_recess, 0.0, states.bite(set_to) * RPM)
        return speeds

    def truly_off(speeds: Floats) -> Floats:
        minutes = shares(np.linspace(0.0, main, speeds.shape[-1]).tolist())
        return (~(np.abs(speeds - liked) <= half)) @ minutes

    fresh = offered["fresh spring"]
    done = {
        "chosen": (offered[chosen], found[chosen].recess_mm, slip),
        "leave it": (offered["fitted"], nut_then, 0.0),
        "fresh, same recess": (fresh, round(read_nut, 2), slip),
    }
    for name, label in (("fitted", "reset to start"), ("fresh spring", "fresh, reset to start")):
        start = float(offered[name].fate.windows(heard / RPM, 1.0).aim[:, 0].mean()) * 1e3
        done[label] = (offered[name], min(round(start, 2), MOST_RECESS), slip)
    if chosen == "leave it":
        done["chosen"] = done["leave it"]
    here, there, _ = done["chosen"]
    another = {
        name: one is not here or abs(recess - there) > RESOLUTION_MM + 1e-9
        for name, (one, recess, _) in done.items()
    }
    runs = {name: truth(*what) for name, what in done.items()}
    curve, speeds = found[chosen].curve, runs["chosen"][::FINER]
    bites = offered[chosen].fate.bite(found[chosen].recess_mm * 1e-3) * RPM
    drift = bites - bites[:, :1]
    ordered = [sorted(drift[:, i].tolist()) for i in range(drift.shape[1])]
    inside = tuple(p.low <= v <= p.high for p, v in zip(curve, speeds, strict=True))
    n = len(ordered[0])
    drift_inside = tuple(
        column[int(0.05 * n)] <= v - speeds[0] <= column[int(0.95 * n) - 1]
        for column, v in zip(ordered[1:], speeds[1:], strict=True)
    )
    off = {name: float(truly_off(v)) for name, v in runs.items()}
    every = np.arange(1.15, 1.705, 0.05)
    off["best there was"] = min(
        float(truly_off(truth(offered[name], every, 0.0)).min()) for name in CHANGES
    )
    return Race(
        kinds[0][0], kinds[1][0], main, half, off, another, chosen, inside, drift_inside,
        (found[chosen].leaves, off["chosen"] > 0),
    )  # fmt: skip


CHANGES = {"fitted": 0, "fresh spring": 1, "fresh shoes": 1, "all fresh": 2}
AGAINST = ("leave it", "fresh, same recess", "reset to start", "fresh, reset to start")


def races(world: World, count: int, seed: int) -> list[Race]:
    rng, found = random.Random(seed), []
    while len(found) < count:
        race = simulate(rng, world)
        if race is not None:
            found.append(race)
    return found


def compared(group: Sequence[Race], other: str) -> tuple[float, float, float]:
    """Shares in which the choice was less off, as much, and more off than something else."""
    if not group:
        return math.nan, math.nan, math.nan
    gaps = [r.off["chosen"] - r.off[other] for r in group]
    less, more = sum(g < -A_SECOND for g in gaps), sum(g > A_SECOND for g in gaps)
    return less / len(gaps), 1 - (less + more) / len(gaps), more / len(gaps)


def two_decisions(group: Sequence[Race], other: str) -> list[Race]:
    """The races in which choosing was another decision than something else."""
    return [r for r in group if r.another[other]]


def better(group: Sequence[Race], other: str) -> float:
    """Share in which the choice was less off, of the races in which the two differ at all."""
    less, _same, more = compared(group, other)
    return less / (less + more) if less + more else math.nan


def summary(group: Sequence[Race]) -> str:
    """What must hold, strictly: a tie is no win, and is told apart by how it came about."""
    lines = []
    for other in AGAINST[:2]:
        for what, some in (("All", group), ("Two decisions", two_decisions(group, other))):
            less, same, more = compared(some, other)
            idle = sum(r.off["chosen"] <= A_SECOND >= r.off[other] for r in some) / len(some)
            lines.append(
                f"Against '{other}', {what.lower()} ({len(some)} races): less off in "
                f"{100 * less:.0f} %, as much {100 * same:.0f} % (both on target all the time: "
                f"{100 * idle:.0f} %), more {100 * more:.0f} %; of those not as much, less in "
                f"{100 * better(some, other):.0f} %."
            )
    stayed = sum(r.chosen == "leave it" for r in group) / len(group)
    lines.append(f"It chose to leave it in {100 * stayed:.0f} %.")
    return "\n".join(lines)


def covered(group: Sequence[Race], drift: bool = False) -> tuple[float, float]:
    """Share of moments in the band, over the race and at its end."""
    bands = [r.drift_inside if drift else r.inside for r in group]
    return (
        sum(sum(b) for b in bands) / sum(len(b) for b in bands),
        sum(b[-1] for b in bands) / len(bands),
    )


def row(name: str, group: Sequence[Race]) -> str:
    (bite, bite_end), (drift, drift_end) = covered(group), covered(group, drift=True)
    cells = [f"{100 * x:.0f} %" for x in (bite, bite_end, drift, drift_end)]
    for other in AGAINST:
        less, same, more = compared(group, other)
        cells.append(f"{100 * less:.0f} / {100 * same:.0f} / {100 * more:.0f}")
    for who in ("chosen", *AGAINST, "best there was"):
        cells.append(f"{sum(r.off[who] / r.minutes for r in group) / len(group) * 100:.0f} %")
    return f"| {name} | {len(group)} | {' | '.join(cells)} |"


HEAD = (
    "| races | count | bite in band | at the end | drift in band | at the end | vs "
    + " | vs ".join(AGAINST)
    + " | off: chosen | "
    + " | ".join(AGAINST)
    + " | best there was |\n|"
    + "---|" * 16
)

WORLDS = {
    "as drawn": World(),
    "only laws the model owns": World(shapes=OWNED),
    "only laws it does not own": World(shapes=tuple(s for s in SHAPES if s not in OWNED)),
    "convex only": World(shapes=("convex power",)),
    "hot heat only": World(shapes=("hot heat",)),
    "window 80 rpm": World(half_rpm=(80.0, 80.0)),
    "window 600 rpm": World(half_rpm=(600.0, 600.0)),
    "mains of 10 min": World(main_min=(10.0, 10.0)),
    "mains of 60 min": World(main_min=(60.0, 60.0)),
    "scatter 0.02 to 0.03": World(scatter_mm=(0.02, 0.03)),
    "one earlier part": World(earlier=(1, 1)),
    "parts of a kind differ by 50 %": World(kin_spread=0.5),
    "friction changes by 5 %": World(friction=0.05),
    "springs pull 3 % differently": World(spring_spread=0.03),
    "nut set to 0.03 mm": World(slip_mm=0.03),
    "hardly any wear": World(spring_loss_mm=(0.01, 0.04), shoe_loss_mm=(0.005, 0.03)),
}


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    only = sys.argv[3:] or list(WORLDS)
    print(f"{count} races a row, seed {seed}; less / as much / more off target, in %\n\n{HEAD}")
    told = ""
    for name in only:
        group = races(WORLDS[name], count, seed)
        print(row(name, group), flush=True)
        if name == "as drawn":
            by: dict[str, list[Race]] = defaultdict(list)
            for race in group:
                by[f"... spring {race.spring_law}"].append(race)
                by[f"... chose {race.chosen}"].append(race)
            for label, some in sorted(by.items()):
                print(row(label, some))
            told = summary(group)
    print(f"\n{told}")


if __name__ == "__main__":
    main()
