"""Is the wear forecast calibrated: simulated springs, seeded, as a table.

    python tests/benchmarks/forecast_calibration.py [SPRINGS] [SEED]

Each spring has a free length, a run-in drop, a law (linear or log-time, half each) with its own
rate, and 3 to 8 readings with a scatter of 0.01 to 0.02 mm that the forecast is told only as a
stated 0.015 mm, rounded to the caliper's 0.01 mm. The next reading and the true length at the end
of the main are then compared with what was forecast. Half of the springs come with three earlier
springs of their kind. Rates, time constants, spread within a kind, scatter and rounding are drawn
from distributions of the simulation's own; only the two shapes are shared with the forecast.
"Lasts" is asked of two limits: the fixed discard limit, and one near where the spring may end,
set without looking at the truth, so that the answer is in doubt.
"""

import math
import random
import sys
from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

from pitwright.inference.forecast import Forecast, Reading, forecast, learn_kind

DISCARD = 9.8  # mm; common practice, no source
STATED_U = math.hypot(0.015, 0.01 / math.sqrt(12))


@dataclass(frozen=True)
class Spring:
    law: str
    start: float
    rate: float
    t0: float
    drop: float

    def length(self, minutes: float) -> float:
        worn = minutes if self.law == "linear" else math.log1p(minutes / self.t0)
        return self.start - self.rate * worn

    def minutes_to(self, limit: float) -> float:
        worn = (self.start - limit) / self.rate
        if self.law == "linear":
            return worn
        return self.t0 * math.expm1(worn) if worn < 700.0 else math.inf


def spring_kind(rng: random.Random) -> tuple[str, float, float]:
    """A kind: its law, what it loses in an hour of running, its time constant."""
    return rng.choice(["linear", "log-time"]), rng.uniform(0.05, 0.45), math.exp(rng.uniform(1, 4))


def make_spring(rng: random.Random, kind: tuple[str, float, float]) -> Spring:
    law, loss, t0 = kind
    loss *= math.exp(rng.gauss(0, 0.25))
    rate = loss / 60.0 if law == "linear" else loss / math.log1p(60.0 / t0)
    return Spring(law, rng.uniform(10.05, 10.2), rate, t0, rng.uniform(0.03, 0.1))


def read(rng: random.Random, true: float, sd: float) -> float:
    return round(true + rng.gauss(0, sd), 2)


def check_spring(rng: random.Random, spring: Spring, n: int) -> tuple[list[Reading], float]:
    """Read a spring new, after run-in, and after each heat; return the readings and the scatter."""
    sd = rng.uniform(0.01, 0.02)
    readings = [Reading(0.0, read(rng, spring.start + spring.drop, sd), STATED_U, run_in=False)]
    at = 0.0
    for _ in range(n):
        readings.append(Reading(at, read(rng, spring.length(at), sd), STATED_U))
        at += rng.uniform(6.0, 14.0)
    return readings, sd


def simulate(springs: int, seed: int) -> list[dict[str, object]]:
    rng = random.Random(seed)
    rows = []
    for i in range(springs):
        kind = spring_kind(rng)
        spring = make_spring(rng, kind)
        n = rng.randint(3, 8)
        readings, sd = check_spring(rng, spring, n)
        earlier = None
        if i % 2:
            parts = [check_spring(rng, make_spring(rng, kind), rng.randint(3, 8))[0] for _ in "123"]
            earlier = learn_kind(parts)
        outlook = forecast(readings, earlier)
        assert isinstance(outlook, Forecast)
        ahead = outlook.last_minutes + rng.uniform(6.0, 14.0)
        end = outlook.last_minutes + rng.uniform(
            20.0, 60.0
        )  # qualifiers still to run, and the main
        # a limit somewhere about where such springs end, chosen without looking at this one's truth
        limit = outlook.size(end).middle + rng.gauss(0.0, 0.06)
        reading, far = outlook.reading(ahead), outlook.reading(end)
        size = outlook.size(end)
        seen_ahead, seen_end = (
            read(rng, spring.length(ahead), sd),
            read(rng, spring.length(end), sd),
        )
        left = outlook.minutes_left(limit)
        true_left = max(0.0, spring.minutes_to(limit) - outlook.last_minutes)
        rows.append(
            {
                "law": spring.law,
                "n": n,
                "earlier": earlier is not None,
                "next": reading.low <= seen_ahead <= reading.high,
                "main": far.low <= seen_end <= far.high,
                "size": size.low <= spring.length(end) <= size.high,
                "left": left.low <= true_left <= left.high,
                "said": outlook.probability_above(end, limit),
                "lasted": spring.length(end) > limit,
                "said fixed": outlook.probability_above(end, DISCARD),
                "lasted fixed": spring.length(end) > DISCARD,
                "sd": sd,
                "width": far.high - far.low,
                "right_law": outlook.law == spring.law,
            }
        )
    return rows


def share(rows: list[dict[str, object]], key: str) -> float:
    return sum(bool(r[key]) for r in rows) / len(rows)


def table(rows: list[dict[str, object]]) -> str:
    groups: dict[str, list[dict[str, object]]] = defaultdict(list)
    for r in rows:
        groups["all"].append(r)
        groups[f"truth {r['law']}"].append(r)
        groups["with earlier springs" if r["earlier"] else "on its own"].append(r)
        groups[
            "scatter under 0.015" if float(str(r["sd"])) < 0.015 else "scatter over 0.015"
        ].append(r)
        groups["3-4 checks" if int(str(r["n"])) <= 4 else "5-8 checks"].append(r)
    lines = [
        "| springs | count | next reading in 90 % | reading at main's end | true length there "
        "| minutes left | law named right | mean width mm |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, group in sorted(groups.items()):
        cells = [
            f"{100 * share(group, k):.1f} %" for k in ("next", "main", "size", "left", "right_law")
        ]
        width = sum(float(str(r["width"])) for r in group) / len(group)
        lines.append(f"| {name} | {len(group)} | {' | '.join(cells)} | {width:.3f} |")
    lines += ["", *chances(rows, "doubtful limit", ""), "", *chances(rows, "9.8 mm", " fixed")]
    return "\n".join(lines)


def chances(rows: list[dict[str, object]], title: str, key: str) -> list[str]:
    lines = [f"| 'it lasts the main' said at, {title} | count | it did |", "|---|---|---|"]
    for low, high in pairwise([0.0, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0]):
        group = [r for r in rows if low <= float(str(r["said" + key])) < high]
        if group:
            lines.append(
                f"| {100 * low:.0f}-{100 * high:.0f} % | {len(group)} | "
                f"{100 * share(group, 'lasted' + key):.1f} % |"
            )
    return lines


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20260516
    print(f"{count} simulated springs, seed {seed}\n")
    print(table(simulate(count, seed)))
