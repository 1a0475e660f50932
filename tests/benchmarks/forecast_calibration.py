"""Is the wear forecast honest, and is it worth anything: simulated springs, seeded, as tables.

    python tests/benchmarks/forecast_calibration.py [--springs 200] [--seed 20260516] [--quick]

`--springs` a law. Each spring has a free length, a run-in drop, a law of `wear_truths.LAWS`, and 3
to 8 readings with a scatter of 0.01 to 0.02 mm, of which the forecast is told 0.015 mm, rounded to
the caliper's 0.01 mm. The next reading, the reading at the end of the main (20 to 60 minutes on),
the true length there and the minutes left are compared with what was said. Every second spring
comes with three earlier ones of its kind. Further tables: ten readings; other scatters; one wild
reading; wear that no curve describes. Beside ours: the forecast as it was (from the project's
history), a straight line with its t range, the last value, and scikit-learn's Gaussian process.
Takes about ten minutes at 200; `--quick` leaves out the Gaussian process, most of that time.
"""

import argparse
import math
import random
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import wear_truths as truths
from wear_truths import BEYOND, LAWS, STATED, STATED_U, Range

from pitwright.inference.forecast import Forecast, Reading, forecast, learn_kind

RIVALS = ("as it was", "straight line", "last value", "gaussian process")
METHODS = ("ours", *RIVALS)


@dataclass
class Row:
    """One spring: what was asked, and whether the answers held."""

    law: str
    n: int
    kin: bool
    next: bool
    size: bool
    left: bool
    far: dict[str, tuple[float, float, float]] = field(default_factory=dict)  # low, high, seen
    said: dict[str, list[tuple[float, bool]]] = field(default_factory=dict)
    named: bool = False


def readings_of(
    rng: random.Random, spring: truths.Spring, n: int, sd: float, wild: bool = False
) -> tuple[list[float], list[float], float]:
    """Return run times and readings after run-in, and the reading before it."""
    times = truths.check_times(rng, n)
    values = [truths.read(rng, spring.length(t), sd) for t in times]
    if wild:
        at = rng.randrange(n)
        values[at] = round(values[at] + rng.choice([-1, 1]) * rng.uniform(0.15, 0.6), 2)
    return times, values, truths.read(rng, spring.start + spring.drop, sd)


def as_readings(
    make: type, times: Sequence[float], values: Sequence[float], new: float
) -> list[object]:
    return [
        make(0.0, new, STATED_U, run_in=False),
        *(make(t, v, STATED_U) for t, v in zip(times, values, strict=True)),
    ]


def ask(
    rng: random.Random,
    law: str,
    *,
    n: int,
    sd: float,
    kin: int = 0,
    wild: bool = False,
    rivals: Sequence[str] = RIVALS,
) -> Row:
    """Simulate one spring and ask every method about it."""
    springs = truths.make_kin(rng, law, kin + 1)
    spring = springs[0]
    data = readings_of(rng, spring, n, sd, wild)
    times, values, _ = data
    others = [readings_of(rng, s, rng.randint(3, 8), sd) for s in springs[1:]]
    last = times[-1]
    ahead, end = last + rng.uniform(6.0, 14.0), last + rng.uniform(20.0, 60.0)
    # limits about where such springs end, chosen without looking at this one's truth
    limits = [values[-1] - rng.uniform(0.0, 0.3), values[-1] - rng.uniform(0.0, 0.08), 9.8]
    seen_next = truths.read(rng, spring.length(ahead), sd)
    seen = truths.read(rng, spring.length(end), sd)
    true_end, left_limit = spring.length(end), limits[0]

    outlook = forecast(
        as_readings(Reading, *data),
        learn_kind([as_readings(Reading, *o) for o in others], last) if others else None,
    )
    if not isinstance(outlook, Forecast):  # growth by luck of the scatter: nothing is claimed
        return Row(law, n, bool(kin), True, True, True)
    near, size = outlook.reading(ahead), outlook.size(end)
    left = outlook.minutes_left(left_limit)
    true_left = max(0.0, spring.minutes_to(left_limit) - last)
    row = Row(
        law,
        n,
        bool(kin),
        near.low <= seen_next <= near.high,
        size.low <= true_end <= size.high,
        left.low <= min(true_left, 1500.0) <= left.high or left.high == true_left,
        named=bool(outlook.wild),
    )
    ranges = {"ours": _range(outlook, end)}
    if "as it was" in rivals:
        old = truths.earlier_model()
        then = old.forecast(
            as_readings(old.Reading, *data),
            old.learn_kind([as_readings(old.Reading, *o) for o in others]) if others else None,
        )
        ranges["as it was"] = _range(then, end)
    for name in rivals:
        if name != "as it was":
            method = getattr(truths, name.replace(" ", "_"))
            ranges[name] = method(times, values, end)
    for name, found in ranges.items():
        row.far[name] = (found.low, found.high, seen)
        row.said[name] = [(found.above(limit), true_end > limit) for limit in limits]
    return row


def _range(outlook: object, end: float) -> Range:
    far = outlook.reading(end)  # type: ignore[attr-defined]
    return Range(far.low, far.high, lambda limit: outlook.probability_above(end, limit))  # type: ignore[attr-defined]


def simulate(
    count: int,
    seed: int,
    laws: Sequence[str] = LAWS,
    *,
    n: int | None = None,
    scatter: float | None = None,
    wild: bool = False,
    kin: bool = True,
    rivals: Sequence[str] = RIVALS,
) -> list[Row]:
    """Simulate `count` springs of each law. scatter: true scatter over the card's."""
    rows = []
    for law in laws:
        rng = random.Random(f"{seed} {law}")
        for i in range(count):
            sd = rng.uniform(0.01, 0.02) if scatter is None else scatter * STATED
            rows.append(
                ask(
                    rng,
                    law,
                    n=rng.randint(5 if wild else 3, 8) if n is None else n,
                    sd=sd,
                    kin=3 if kin and i % 2 else 0,
                    wild=wild,
                    rivals=rivals,
                )
            )
    return rows


def held(rows: Sequence[Row], method: str = "ours") -> float:
    """Share of readings at the main's end inside the 90 % range."""
    told = [r.far[method] for r in rows if method in r.far]
    return sum(low <= seen <= high for low, high, seen in told) / len(told)


def share(rows: Sequence[Row], key: str) -> float:
    return sum(getattr(r, key) for r in rows) / len(rows)


def interval_score(rows: Sequence[Row], method: str) -> float:
    """Mean interval score of the 90 % range at the main's end [mm]; smaller is better.

    Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007), 6.2 (recalled).
    """
    told = [r.far[method] for r in rows if method in r.far]
    out = [(hi - lo) + 20.0 * (max(lo - y, 0.0) + max(y - hi, 0.0)) for lo, hi, y in told]
    return math.fsum(out) / len(out)


def brier(rows: Sequence[Row], method: str) -> float:
    pairs = [p for r in rows if method in r.said for p in r.said[method][:2]]
    return math.fsum((said - came) ** 2 for said, came in pairs) / len(pairs)


def surely(rows: Sequence[Row], method: str = "ours", least: float = 0.95) -> tuple[int, float]:
    """How often it said 'lasts' at `least` or more, and the share in which it did."""
    came = [c for r in rows if method in r.said for said, c in r.said[method] if said >= least]
    return len(came), (sum(came) / len(came) if came else 1.0)


def table(rows: Sequence[Row]) -> str:
    groups: dict[str, list[Row]] = defaultdict(list)
    for r in rows:
        groups["all"].append(r)
        groups[r.law].append(r)
    for r in rows:
        groups["with earlier springs" if r.kin else "on its own"].append(r)
        groups["3-4 checks" if r.n <= 4 else "5 and more checks"].append(r)
    lines = [
        "| springs | count | next reading | main's end | true length there | minutes left "
        "| 'lasts' at 95 % and more | interval score mm |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, group in groups.items():
        count, came = surely(group)
        cells = [share(group, "next"), held(group), share(group, "size"), share(group, "left")]
        lines.append(
            f"| {name} | {len(group)} | {' | '.join(f'{100 * c:.1f} %' for c in cells)} "
            f"| {100 * came:.1f} % of {count} | {interval_score(group, 'ours'):.3f} |"
        )
    return "\n".join(lines)


def rivals_table(rows: Sequence[Row], title: str) -> str:
    lines = [
        f"| {title} | held of 90 % | interval score mm | Brier | 'lasts' at 95 % and more |",
        "|---|---|---|---|---|",
    ]
    for method in METHODS:
        if not any(method in r.far for r in rows):
            continue
        count, came = surely(rows, method)
        lines.append(
            f"| {method} | {100 * held(rows, method):.1f} % | {interval_score(rows, method):.3f} "
            f"| {brier(rows, method):.3f} | {100 * came:.1f} % of {count} |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--springs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20260516)
    parser.add_argument("--quick", action="store_true", help="leave out the slowest rival")
    options = parser.parse_args()
    count, seed = options.springs, options.seed
    rivals = RIVALS[:-1] if options.quick else RIVALS
    print(f"{count} springs a law, seed {seed}\n")
    rows = simulate(count, seed, rivals=rivals)
    print(table(rows), end="\n\n", flush=True)
    print(rivals_table(rows, "all laws"), end="\n\n")
    for law in LAWS:
        print(rivals_table([r for r in rows if r.law == law], law), end="\n\n", flush=True)
    few = max(count // 4, 10)
    for title, rows in (
        ("ten readings", simulate(few, seed + 1, n=10, kin=False, rivals=())),
        *(
            (f"scatter {x:g} x the card's", simulate(few, seed + 2, scatter=x, rivals=()))
            for x in (0.5, 1.0, 2.0, 3.0)
        ),
        ("one wild reading", simulate(few, seed + 3, wild=True, kin=False, rivals=rivals)),
        ("no curve at all", simulate(4 * few, seed + 4, BEYOND, rivals=())),
    ):
        print(f"{title}: {100 * share(rows, 'named'):.1f} % with a reading named as wild\n")
        print(table(rows), end="\n\n", flush=True)
        if "as it was" in rows[0].far:
            print(rivals_table(rows, title), end="\n\n", flush=True)


if __name__ == "__main__":
    main()
