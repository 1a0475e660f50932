"""Can any order of the heats be fooled by the track: every order of 5v5 and 4v6, as a table.

    python tests/benchmarks/pace_orders.py [--draws 200] [--seed 20260516]

Every order in which a claim is possible at all runs on tracks that do nothing, slope, bend, jump
once, or swing from day to day, without any effect of the state; and on three that the rule does not
know of: two jumps, a swing of four heats, a random walk. The worst of some two hundred orders is
always an unlucky one too, so it runs once more with twenty times the draws. Heat-to-heat spread
0.07 s. The test is worked out for all draws of an order at once; `check` sets a sample of them
beside `compare_many`. Takes about two minutes.
"""

import argparse
import functools
import itertools
import math

import numpy as np

from pitwright.inference.compare import ALPHA, HeatFigure, compare_many
from pitwright.inference.need import FOUR_IN_FIVE
from pitwright.inference.permutation import apart_from, labelings
from pitwright.inference.track import (
    EVEN_OVERLAP,
    confounded,
    gains,
    leans,
    steps,
    swings,
    time_overlap,
    track_overlap,
    trend_shows,
)

SPREAD = 0.07
Array = np.ndarray


def tracks(n: int, rng: np.random.Generator, draws: int) -> dict[str, Array]:
    """Tracks (draws, heats): what the track alone does to the figure of each heat [s]."""
    t = np.linspace(0.0, 1.0, n)
    sign = rng.choice([-1.0, 1.0], draws)[:, None]
    at = rng.integers(1, n, draws)[:, None]
    size = rng.uniform(0.1, 0.5, draws)[:, None]
    phase = rng.random(draws)[:, None]
    second = rng.integers(1, n, draws)[:, None]
    heats = np.arange(n)[None, :]
    wander = np.cumsum(rng.normal(size=(draws, n)), axis=1) / math.sqrt(n)
    return {
        "none": np.zeros((draws, n)),
        "linear": sign * size * t,
        "bent": sign * size * 4.0 * t * (1.0 - t),
        "one step": sign * size * (heats >= at),
        "day and night": 0.5 * size * np.sin(2.0 * np.pi * (1.5 * t[None, :] + phase)),
        "two steps": sign * size * ((heats >= at) * 1.0 - (heats >= second)),
        "four heats a day": 0.5 * size * np.sin(2.0 * np.pi * (0.25 * heats + phase)),
        "wandering": size * wander,
    }


def may_claim(z: Array) -> bool:
    n_b = int(z.sum())
    changes = int(np.count_nonzero(np.diff(z)))
    return not confounded(len(z) - n_b, n_b, changes, track_overlap(z, np.arange(float(len(z)))))


class Arranged:
    """The permutation test with some columns taken out, ready for many orders and weekends."""

    def __init__(
        self, stack: Array, columns: Array, change: Array | None = None, *, exact: bool = True
    ) -> None:
        if change is not None:
            stack = stack[apart_from(stack, change)]
            columns = np.column_stack((columns, change))
        self.q = np.linalg.qr(columns)[0]
        rows = self.rest(stack)
        norms = np.sqrt((rows**2).sum(axis=1))
        told = norms > 1e-9
        self.rows = (rows[told] / norms[told, None]).T
        # a sample of the arrangements has the one that happened added to it, which always counts
        self.happened = 0 if exact else 1
        self.flat, self.count = int((~told).sum()) + self.happened, len(stack) + self.happened

    def rest(self, rows: Array) -> Array:
        return rows - (rows @ self.q) @ self.q.T

    def p(self, z: Array, y: Array) -> Array:
        """Two-sided p of every row of y."""
        own = self.rest(z[None, :])[0]
        length = math.sqrt(float(own @ own))
        if length < 1e-9:
            return np.ones(len(y))
        rest = self.rest(y)
        score, seen = rest @ self.rows, (rest @ own) / length
        slack = 1e-9 * (np.abs(seen) + np.sqrt((rest**2).sum(axis=1)))
        above = (score >= (seen - slack)[:, None]).sum(axis=1) + self.flat
        below = (score <= (seen + slack)[:, None]).sum(axis=1) + self.flat
        return np.minimum(1.0, 2.0 * np.minimum(above, below) / self.count)


@functools.cache
def arranged(n_a: int, n_b: int, adjust: bool, kind: str = "", which: int = 0) -> Arranged:
    t = np.arange(float(n_a + n_b))
    change = None if not kind else changes_of(kind, n_a + n_b)[which]
    stack, exact = labelings(n_a, n_b)
    return Arranged(stack, nuisance(t, adjust), change, exact=exact)


def nuisance(t: Array, adjust: bool) -> Array:
    return np.column_stack([np.ones(len(t))] + ([t - t.mean()] if adjust else []))


def changes_of(kind: str, n: int) -> Array:
    return steps(n) if kind == "step" else swings(tuple(np.arange(float(n))))


def claims(z: Array, y: Array) -> tuple[Array, Array]:
    """Which rows of y would be called likely real, and which by the trend alone."""
    n, n_b = len(z), int(z.sum())
    t = np.arange(float(n))
    always = time_overlap(z, t, bend=False) > EVEN_OVERLAP
    trend = np.array([always or trend_shows(row, t) for row in y])
    plain, beside = np.ones(len(y)), np.zeros(len(y))
    for adjust in (False, True):
        mine = np.flatnonzero(trend == adjust)
        if not mine.size:
            continue
        plain[mine] = arranged(n - n_b, n_b, adjust).p(z, y[mine])
        for kind in ("step", "swing"):
            every = changes_of(kind, n)
            if leans(z, every).max() <= EVEN_OVERLAP:
                continue
            best = gains(y[mine], z, nuisance(t, adjust), every)[0].argmax(axis=1)
            for which in np.unique(best):
                here = mine[best == which]
                p = arranged(n - n_b, n_b, adjust, kind, int(which)).p(z, y[here])
                beside[here] = np.maximum(beside[here], p)
    return np.maximum(plain, beside) < ALPHA, plain < ALPHA


def orders(n_a: int, n_b: int) -> list[Array]:
    """Every order in which a claim is possible, as zeros and ones."""
    found = []
    for picks in itertools.combinations(range(n_a + n_b), n_b):
        z = np.zeros(n_a + n_b)
        z[list(picks)] = 1.0
        if may_claim(z):
            found.append(z)
    return found


def check(rng: np.random.Generator, count: int = 40) -> None:
    """Make sure that the short cut says what the program says."""
    every = orders(5, 5)
    for _ in range(count):
        z = every[int(rng.integers(len(every)))]
        y = SPREAD * rng.normal(size=10) + tracks(10, rng, 1)["one step"][0] - 0.1 * z
        figures = [
            HeatFigure("AB"[int(s)], float(i), v) for i, (s, v) in enumerate(zip(z, y, strict=True))
        ]
        said = compare_many(figures, [("A", "B")])[0].verdict == "likely real"
        if said != bool(claims(z, y[None, :])[0][0]):
            raise SystemExit(f"the short cut differs from the program: {z} {y}")


def power(
    order: str, rng: np.random.Generator, draws: int, effect: float = 0.15, slope: float = 0.0
) -> tuple[float, float]:
    """Share of weekends in which an effect is found, with the whole rule and by the trend alone.

    effect [s]; slope: what a straight drift adds over the weekend [s].
    """
    z = np.array([float(state == "B") for state in order])
    drift = slope * np.linspace(0.0, 1.0, len(z))
    now, before = claims(z, SPREAD * rng.normal(size=(draws, len(z))) + drift - effect * z)
    return float(now.mean()), float(before.mean())


def effect_found_in_four_of_five(heats: int, draws: int, rng: np.random.Generator) -> float:
    """Effect, in spreads, found in 80 % of weekends of alternating heats without drift."""
    z = np.array([0.0, 1.0] * heats)
    noise = rng.normal(size=(draws, len(z)))
    low, high = 0.5, 6.0
    for _ in range(8):
        middle = (low + high) / 2.0
        found = claims(z, noise + middle * z)[0].mean()
        low, high = (middle, high) if found < 0.8 else (low, middle)
    return (low + high) / 2.0


def false_claims(z: Array, name: str, draws: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """What is called real of weekends without an effect on one kind of track."""
    track = tracks(len(z), rng, draws)[name]
    return claims(z, SPREAD * rng.normal(size=track.shape) + track)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--draws", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20_260_516)
    parser.add_argument("--power", action="store_true", help="only what of a true effect is found")
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    check(rng)
    print(f"{options.draws} draws an order and track, seed {options.seed}\n")
    if not options.power:
        _print_false(options.draws, rng)
    _print_found(options.draws, rng)


def _print_false(draws: int, rng: np.random.Generator) -> None:
    print("| heats | track | orders | mean false | worst | that order again | trend alone: worst |")
    print("|---|---|---|---|---|---|---|")
    for n_a, n_b in ((5, 5), (4, 6)):
        every = orders(n_a, n_b)
        for name in tracks(n_a + n_b, rng, 1):
            rates = np.array(
                [[said.mean() for said in false_claims(z, name, draws, rng)] for z in every]
            )
            worst = every[int(rates[:, 0].argmax())]
            again = false_claims(worst, name, 20 * draws, rng)[0].mean()
            order = "".join("AB"[int(state)] for state in worst)
            print(
                f"| {n_a} and {n_b} | {name} | {len(every)} | {100 * rates[:, 0].mean():.1f} % "
                f"| {100 * rates[:, 0].max():.1f} % | {order} {100 * again:.1f} % "
                f"| {100 * rates[:, 1].max():.1f} % |",
                flush=True,
            )


def _print_found(draws: int, rng: np.random.Generator) -> None:
    print("\nA true effect found, with the whole rule (by the trend alone)")
    for order in ("ABABABAB", "ABABABABAB", "AB" * 6, "AB" * 8, "ABBABAABAB", "AABBABABBA"):
        told = []
        for effect, slope in itertools.product((0.10, 0.15), (0.0, 0.4)):
            now, before = power(order, rng, 20 * draws, effect, slope)
            told.append(
                f"{effect:.2f} s, drift {slope:g} s: {100 * now:.1f} ({100 * before:.1f}) %"
            )
        print(f"  {order}: " + ", ".join(told))
    print("\nEffect, in spreads, found in four of five weekends (alternating, no drift)")
    for heats, ratio in FOUR_IN_FIVE.items():
        found = effect_found_in_four_of_five(heats, 5 * draws, rng)
        print(f"  {heats:2d} each: {found:.2f}   in the program: {ratio}", flush=True)


if __name__ == "__main__":
    main()
