"""What one key stroke in a measuring field costs: parse, slip question, uncertainty, verdict.

python tests/benchmarks/bench_metrology.py [ROUNDS]
"""

import statistics
import sys
import time

from pitwright.metrology.entry import parse_entry
from pitwright.metrology.instruments import Instrument, InstrumentKind
from pitwright.metrology.slips import check_slip, expect
from pitwright.metrology.uncertainty import Repeatability, measure
from pitwright.metrology.verdict import Limits, judge
from pitwright.student import t_quantile

CALIPER = Instrument("caliper", InstrumentKind.CALIPER, 0.01, 0.02)
SCATTER = Repeatability(0.015)
SPRING = Limits(discard_below=9.8)
HISTORY = (10.22, 10.15, 10.13, 10.11, 10.08)
TYPED = ("10.15", "9,83 9,81 9,86", "0.386 in 0.387 in", "101.5", "9.82 9.84 9.83 9.85 9.82")


def key_stroke(text: str) -> None:
    entry = parse_entry(text)
    if not entry.values:
        return
    measured = measure(entry.values, CALIPER, zero_count=1, repeatability=SCATTER)
    check_slip(measured.value, expect("free length", history=HISTORY, u=measured.u))
    judge(measured, SPRING)
    measured.text()


def main(rounds: int) -> None:
    strokes = [text[: i + 1] for text in TYPED for i in range(len(text))]
    key_stroke("10.15")
    for label, forget in (("first time, nothing remembered", True), ("typing on", False)):
        times = []
        for _ in range(rounds):
            for stroke in strokes:
                if forget:
                    t_quantile.cache_clear()
                start = time.perf_counter()
                key_stroke(stroke)
                times.append(1e3 * (time.perf_counter() - start))
        cuts = statistics.quantiles(times, n=100)
        print(
            f"{label}: {len(times)} strokes, median {statistics.median(times):.3f} ms, "
            f"p99 {cuts[98]:.3f} ms, {100 * cuts[98] / 16:.1f} % of a 16 ms frame"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
