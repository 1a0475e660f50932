"""Does U of a few repeats cover what it claims, when nobody knows how much the readings scatter?

    python tests/benchmarks/two_repeats.py [--draws 100000] [--seed 20261128]

A caliper with a display of 0.01 mm and a permissible error of 0.02 mm, no scatter on its card,
reads one thing twice. The tool's error keeps still between the two and has one of four shapes
inside (the normal one: of the same standard deviation as) the limits; the readings scatter by 0.1
to 10 times those limits, normally or in the other shapes, and are rounded as the display rounds
them. Counted is how often the true size lies within U of the mean, nominally in 95.45 %. In
brackets: by Student's t with Welch and Satterthwaite's degrees of freedom alone. Half a minute.
"""

import argparse
import math
from collections.abc import Callable

import numpy as np

from pitwright.metrology.instruments import Instrument, InstrumentKind
from pitwright.metrology.uncertainty import coverage_factor, measure

STEP, LIMIT = 0.01, 0.02
CALIPER = Instrument("caliper", InstrumentKind.CALIPER, STEP, LIMIT)
RATIOS = (0.1, 0.3, 0.5, 1.0, 1.5, 2.0, 3.0, 10.0)
SHAPES: dict[str, Callable[[np.random.Generator, tuple[int, ...]], np.ndarray]] = {
    "normal": lambda rng, size: rng.normal(size=size),
    "rectangular": lambda rng, size: math.sqrt(3.0) * rng.uniform(-1.0, 1.0, size),
    "triangular": lambda rng, size: math.sqrt(6.0) * (rng.random(size) + rng.random(size) - 1.0),
    "arcsine": lambda rng, size: math.sqrt(2.0) * np.sin(rng.uniform(-np.pi, np.pi, size)),
}
"""Errors of standard deviation one."""


def tool_error(shape: str, rng: np.random.Generator, draws: int) -> np.ndarray:
    """Errors of the tool that fill its limits; normal: with the rectangle's standard deviation."""
    sd = {"triangular": LIMIT / math.sqrt(6.0), "arcsine": LIMIT / math.sqrt(2.0)}
    return sd.get(shape, LIMIT / math.sqrt(3.0)) * SHAPES[shape](rng, (draws,))


def covered(
    ratio: float, error: str, scatter: str, draws: int, rng: np.random.Generator, repeats: int = 2
) -> tuple[float, float, float, float]:
    """Share that U covers, its median over the limit of error, and the same by the one t alone."""
    true = 10.0 + STEP * rng.random(draws)
    errors = ratio * LIMIT * SHAPES[scatter](rng, (draws, repeats))
    steps = np.rint((true + tool_error(error, rng, draws))[:, None] / STEP + errors / STEP)
    off = np.abs(STEP * steps.mean(axis=1) - true)
    reach = _reach(steps - steps.min(axis=1, keepdims=True))
    return tuple(float(x) for one in reach for x in (np.mean(off <= one), np.median(one) / LIMIT))  # type: ignore[return-value]


def _reach(steps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """U of each row, and U by the one t: the same for rows that lie alike, so asked once each."""
    kinds, which = np.unique(np.sort(steps, axis=1), axis=0, return_inverse=True)
    found = [measure([10.0 + STEP * float(step) for step in kind], CALIPER) for kind in kinds]
    now = np.array([m.U for m in found])
    one_t = np.array([m.u * coverage_factor(m.dof) for m in found])
    which = which.reshape(-1)
    return now[which], one_t[which]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--draws", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=20_261_128)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    print(f"{options.draws} pairs a cell, seed {options.seed}; U in limits of error, median\n")
    print("| scatter / limit | normal error | rectangular | triangular | arcsine | U | U, one t |")
    print("|---|---|---|---|---|---|---|")
    for ratio in RATIOS:
        cells = [covered(ratio, error, "normal", options.draws, rng) for error in SHAPES]
        told = " | ".join(f"{100 * now:.1f} ({100 * old:.1f}) %" for now, _, old, _ in cells)
        print(f"| {ratio:g} | {told} | {cells[1][1]:.1f} | {cells[1][3]:.1f} |", flush=True)
    print("\nScatter of another shape, tool error rectangular:")
    for shape in ("rectangular", "triangular", "arcsine"):
        cells = [covered(ratio, "rectangular", shape, options.draws, rng) for ratio in RATIOS]
        told = ", ".join(f"{r:g}: {100 * c[0]:.1f}" for r, c in zip(RATIOS, cells, strict=True))
        print(f"  {shape}: {told}")
    print("\nMore repeats, all normal: covered, median U, and U by the one t")
    for repeats in (3, 4, 6, 10):
        few = options.draws // 20
        cells = [covered(r, "normal", "normal", few, rng, repeats) for r in (0.3, 1.0, 3.0)]
        told = "; ".join(f"{100 * c[0]:.1f} % {c[1]:.2f} {c[3]:.2f}" for c in cells)
        print(f"  {repeats}: {told}")


if __name__ == "__main__":
    main()
