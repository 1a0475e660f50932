"""Time to analyse a big weekend: 60 heats of 300 laps, and every comparison of its states.

    python tests/benchmarks/bench_pace.py

scipy's Theil-Sen slope alone, for the same laps, stands beside as a ratio.
"""

import time
from collections.abc import Callable
from statistics import median

import numpy as np
from scipy import stats

from pitwright.inference.compare import HeatFigure, compare_many
from pitwright.inference.pace import analyse_heat
from pitwright.store.lap_csv import format_lap_csv, read_lap_csv
from pitwright.timing.laps import read_laps

HEATS, LAPS, ROUNDS = 60, 300, 7


def timed(work: Callable[[], object]) -> float:
    """Least processor seconds of several rounds: other work on the machine hardly counts."""
    work()
    seconds = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        work()
        seconds.append(time.process_time() - begun)
    return min(seconds)


def main() -> None:
    rng = np.random.default_rng(20_260_516)
    heats = [(18.0 + 0.2 * rng.normal(size=LAPS)).round(3).tolist() for _ in range(HEATS)]
    starts = [np.cumsum(laps) / 60.0 for laps in heats]
    texts = [format_lap_csv(laps) for laps in heats]
    export = "".join(f"{n};{lap:.3f}\n" for n, lap in enumerate(heats[0], 1)).encode()
    figures = [
        HeatFigure("ABCDEF"[i % 6], float(i), float(median(laps))) for i, laps in enumerate(heats)
    ]

    begun = time.process_time()
    for laps in heats:
        analyse_heat(laps)
    first = time.process_time() - begun
    ours = timed(lambda: [analyse_heat(laps) for laps in heats])
    scipy_slopes = timed(
        lambda: [stats.theilslopes(laps, t) for laps, t in zip(heats, starts, strict=True)]
    )
    print(f"{HEATS} heats of {LAPS} laps")
    print(f"  analysed: {1e3 * ours:.0f} ms, the first time {1e3 * first:.0f} ms (limit 200)")
    print(
        f"  scipy's slopes alone: {1e3 * scipy_slopes:.0f} ms; "
        f"our whole analysis / that {ours / scipy_slopes:.2f}"
    )
    compared = timed(lambda: compare_many(figures))
    print(f"  all 15 comparisons of six states, ten heats each: {1e3 * compared:.0f} ms")
    read = timed(lambda: [read_lap_csv(text) for text in texts])
    print(f"  read from the laps folder's text: {1e3 * read:.1f} ms")
    print(
        f"  one foreign file of {LAPS} laps read: {1e3 * timed(lambda: read_laps(export)):.1f} ms"
    )


if __name__ == "__main__":
    main()
