"""Fit the constants of ``pitwright.sound.belief`` to invented recordings, and test them on others.

Run from the root of the checkout:
    python tests/benchmarks/fit_belief.py [--fit 100 200] [--test 300] [--each 24] [--cache FOLDER]
Launches of three makes in two voices, hard ones among them, and eight kinds of sound without a
launch, drawn by seed. A logistic regression with a ridge is solved by Newton's method; it prints
the lines to be put into the module, and how often a chance of so many tenths came true for the
seeds it was not fitted to.
"""

from __future__ import annotations

import argparse
import pickle
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sound"))
from ear_rows import all_rows, make_case

from pitwright.sound.belief import Traits
from pitwright.sound.events import find_rises
from pitwright.sound.listen import follow
from pitwright.sound.read_audio import SampleRecording
from pitwright.sound.ribbons import ribbons

RIDGE = 3.0
NAMES = [field.name for field in fields(Traits)]


def laid_in(spec) -> list[tuple[np.ndarray, bool]]:
    """Traits of everything laid in one recording, and whether it is the take-up."""
    case = make_case(spec)
    first, second, _ = follow(SampleRecording(case.sound, case.rate))
    found = []
    within = 0.05 if spec.receding else 0.02
    for ribbon in ribbons(first, second):
        for rise in find_rises(ribbon):
            if rise.traits is None or rise.stand is None:
                continue
            low, high = rise.stand
            rpm = float(np.median(ribbon.rpm[low : high + 1]))
            good = (
                case.stand is not None
                and abs(rpm / case.stand[2] - 1) < within
                and ribbon.time_s[low] < case.stand[1] + 0.03
                and ribbon.time_s[high] > case.stand[0] - 0.03
            )
            found.append((rise.traits.row(), good))
    return found


def gather(seed: int, each: int, cache: Path | None) -> tuple[np.ndarray, np.ndarray]:
    """Traits and truth of every recording of a seed."""
    kept = cache / f"belief-{seed}-{each}.pkl" if cache else None
    if kept is not None and kept.exists():
        return pickle.loads(kept.read_bytes())
    found = [x for specs in all_rows(seed, each).values() for spec in specs for x in laid_in(spec)]
    both = np.array([row for row, _ in found]), np.array([good for _, good in found])
    if kept is not None:
        kept.write_bytes(pickle.dumps(both))
    return both


def solve(rows: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Bias and weights of the ridged logistic regression."""
    middle, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    design = np.c_[np.ones(len(rows)), (rows - middle) / spread]
    ridge = RIDGE * np.eye(design.shape[1])
    ridge[0, 0] = 0.0
    at = np.zeros(design.shape[1])
    for _ in range(60):
        chance = 1 / (1 + np.exp(-np.clip(design @ at, -30, 30)))
        bend = (design * (chance * (1 - chance))[:, None]).T @ design + ridge
        at += np.linalg.solve(bend, design.T @ (truth - chance) - ridge @ at)
    weights = at[1:] / spread
    return np.r_[at[0] - weights @ middle, weights]


def main() -> None:
    """Print the constants and how they do on other seeds."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--fit", type=int, nargs="+", default=[100, 200])
    parser.add_argument("--test", type=int, nargs="+", default=[300])
    parser.add_argument("--each", type=int, default=24)
    parser.add_argument("--cache", type=Path)
    options = parser.parse_args()
    parts = [gather(seed, options.each, options.cache) for seed in options.fit]
    found = solve(np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts]))
    print(f"_BIAS = {found[0]:.3f}")
    print("_WEIGHTS = {")
    for name, weight in zip(NAMES, found[1:], strict=True):
        print(f'    "{name}": {weight:.3f},')
    print("}")
    for seed in options.test:
        rows, truth = gather(seed, options.each, options.cache)
        chance = 1 / (1 + np.exp(-np.clip(found[0] + rows @ found[1:], -30, 30)))
        for low in np.arange(0, 1, 0.1):
            of = (chance >= low) & (chance < low + 0.1 + 1e-9 * (low > 0.85))
            if of.any():
                print(f"{seed}: said {100 * chance[of].mean():3.0f} %, came true "
                      f"{100 * truth[of].mean():3.0f} % of {of.sum()}")  # fmt: skip


if __name__ == "__main__":
    main()
