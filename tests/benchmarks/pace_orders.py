"""Can any order of the heats be fooled by the track: every order of 5v5 and 4v6, as a table.

    python tests/benchmarks/pace_orders.py [--draws 200] [--seed 20260516]

Every order in which a claim is possible at all runs on tracks that do nothing, slope, bend, jump
once, or swing from day to day, without any effect of the state; and the power is that of five heats
each in turn, 0.15 s apart, heat-to-heat spread 0.07 s. The test is worked out for all draws of an
order at once; `check` sets a sample of them beside `compare_many`. Takes under a minute.
"""

import argparse
import itertools
import math

import numpy as np

from pitwright.inference.compare import ALPHA, HeatFigure, compare_many
from pitwright.inference.permutation import labelings
from pitwright.inference.track import EVEN_OVERLAP, confounded, time_overlap, trend_shows

SPREAD = 0.07
Array = np.ndarray


def tracks(n: int, rng: np.random.Generator, draws: int) -> dict[str, Array]:
    """Tracks (draws, heats): what the track alone does to the figure of each heat [s]."""
    t = np.linspace(0.0, 1.0, n)
    sign = rng.choice([-1.0, 1.0], draws)[:, None]
    at = rng.integers(1, n, draws)[:, None]
    size = rng.uniform(0.1, 0.5, draws)[:, None]
    phase = rng.random(draws)[:, None]
    return {
        "none": np.zeros((draws, n)),
        "linear": sign * size * t,
        "bent": sign * size * 4.0 * t * (1.0 - t),
        "one step": sign * size * (np.arange(n)[None, :] >= at),
        "day and night": 0.5 * size * np.sin(2.0 * np.pi * (1.5 * t[None, :] + phase)),
    }


def may_claim(z: Array) -> bool:
    n_b = int(z.sum())
    changes = int(np.count_nonzero(np.diff(z)))
    return not confounded(len(z) - n_b, n_b, changes, time_overlap(z, np.arange(len(z))))


def residual(columns: list[Array], rows: Array) -> Array:
    q = np.linalg.qr(np.column_stack(columns))[0]
    return rows - (rows @ q) @ q.T


def p_values(z: Array, stack: Array, columns: list[Array], y: Array) -> Array:
    """Two-sided p of every row of y: the permutation test, columns taken out first."""
    rows = residual(columns, stack)
    norms = np.sqrt((rows**2).sum(axis=1))
    told = norms > 1e-9
    own = residual(columns, z[None, :])[0]
    length = math.sqrt(float(own @ own))
    if length < 1e-9:
        return np.ones(len(y))
    rest = residual(columns, y)
    score = (rest @ rows[told].T) / norms[told]
    seen = (rest @ own) / length
    slack = 1e-9 * (np.abs(seen) + np.sqrt((rest**2).sum(axis=1)))
    flat = int((~told).sum())
    above = (score >= (seen - slack)[:, None]).sum(axis=1) + flat
    below = (score <= (seen + slack)[:, None]).sum(axis=1) + flat
    return np.minimum(1.0, 2.0 * np.minimum(above, below) / len(stack))


def claims(z: Array, y: Array) -> tuple[Array, Array]:
    """Which rows of y would be called likely real, with and without the step beside it."""
    n = len(z)
    t = np.arange(n, dtype=float)
    stack, _ = labelings(n - int(z.sum()), int(z.sum()))
    always = time_overlap(z, t, bend=False) > EVEN_OVERLAP
    trend = np.array([always or trend_shows(row, t) for row in y])
    plain, beside = np.ones(len(y)), np.ones(len(y))
    steps = np.array([(t >= place).astype(float) for place in range(2, n - 1)])
    for adjust in (False, True):
        mine = np.flatnonzero(trend == adjust)
        if not mine.size:
            continue
        columns = [np.ones(n)] + ([t - t.mean()] if adjust else [])
        plain[mine] = p_values(z, stack, columns, y[mine])
        rest = residual([*columns, z], y[mine])
        own = residual([*columns, z], steps)
        size = np.sqrt((own**2).sum(axis=1))
        gain = np.where(size > 1e-6, (rest @ own.T) / np.where(size > 1e-6, size, 1.0), 0.0) ** 2
        best = gain.argmax(axis=1)
        for place in np.unique(best):
            here = mine[best == place]
            step = steps[place]
            lone = [not (np.array_equal(a, step) or np.array_equal(a, 1.0 - step)) for a in stack]
            beside[here] = p_values(z, stack[lone], [*columns, step], y[here])
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


def power(rng: np.random.Generator, draws: int) -> tuple[float, float]:
    """Share of weekends in which 0.15 s is found, with and without the step beside it."""
    z = np.array([0.0, 1.0] * 5)
    y = SPREAD * rng.normal(size=(draws, 10)) - 0.15 * z
    now, before = claims(z, y)
    return float(now.mean()), float(before.mean())


def false_rates(n_a: int, n_b: int, draws: int, rng: np.random.Generator) -> dict[str, Array]:
    """Per track the false share of every order: (orders, [with the step, without])."""
    found: dict[str, list[tuple[float, float]]] = {}
    for z in orders(n_a, n_b):
        for name, track in tracks(n_a + n_b, rng, draws).items():
            y = SPREAD * rng.normal(size=track.shape) + track
            now, before = claims(z, y)
            found.setdefault(name, []).append((float(now.mean()), float(before.mean())))
    return {name: np.array(rows) for name, rows in found.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--draws", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20_260_516)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    check(rng)
    print(f"{options.draws} draws an order and track, seed {options.seed}\n")
    print("| heats | track | orders | mean false | worst order | without the step: mean | worst |")
    print("|---|---|---|---|---|---|---|")
    for n_a, n_b in ((5, 5), (4, 6)):
        for name, rows in false_rates(n_a, n_b, options.draws, rng).items():
            mean, worst = 100 * rows.mean(axis=0), 100 * rows.max(axis=0)
            print(
                f"| {n_a} and {n_b} | {name} | {len(rows)} | {mean[0]:.1f} % | {worst[0]:.1f} % "
                f"| {mean[1]:.1f} % | {worst[1]:.1f} % |",
                flush=True,
            )
    now, before = power(rng, 20 * options.draws)
    print(
        f"\n0.15 s, five each in turn: found in {100 * now:.1f} %, "
        f"without the step {100 * before:.1f} %"
    )


if __name__ == "__main__":
    main()
