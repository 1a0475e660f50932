"""How often the comparison of clutch states is wrong, and how often it finds what is there.

    python tests/benchmarks/pace_honesty.py [--weekends 2000] [--seed 20260516]

Every weekend is simulated lap by lap: laps that lean on the lap before (0.3 of it), slow opening
laps, one lap in twenty-five spoiled, heats that differ by more than their laps explain, and a track
that drifts. The heat figure is the settled median that the program itself works out. "Spread" is
the standard deviation of that figure from heat to heat, drift and state apart: what the program
shows as spread, made to be 0.07 s by choosing the part that laps do not explain.
"""

import argparse
import math
from collections.abc import Callable
from statistics import median

import numpy as np

from pitwright.inference.compare import HeatFigure, compare_many
from pitwright.inference.laps import SetAsideRule, set_aside
from pitwright.inference.pace import analyse_heat

SEED = 20_260_516
SPREAD = 0.07
LAPS = 18
LAP_SD = 0.10
LAP_LEAN = 0.3
RULE = SetAsideRule()
ORDERS = ("ABABABABAB", "ABBAABBAAB", "ABBABAABAB", "ABABABAB", "ABBAABBA", "AABBABABBA", "AB" * 8)
Rng = np.random.Generator
Drift = Callable[[int, Rng], np.ndarray]


def _signed(shape: Callable[[np.ndarray], np.ndarray], size: float) -> Drift:
    def drift(n: int, rng: Rng) -> np.ndarray:
        return float(rng.choice([-1.0, 1.0])) * size * shape(np.linspace(0.0, 1.0, n))

    return drift


def _wave(n: int, rng: Rng) -> np.ndarray:
    return 0.07 * np.sin(2.0 * np.pi * (1.5 * np.linspace(0.0, 1.0, n) + rng.random()))


DRIFTS: dict[str, Drift] = {
    "none": lambda n, rng: np.zeros(n),
    "slight": _signed(lambda t: t, 0.1),
    "straight": _signed(lambda t: t, 0.4),
    "levels off": lambda n, rng: 0.6 * np.exp(-5.0 * np.linspace(0.0, 1.0, n)),
    "bend": _signed(lambda t: 4.0 * t * (1.0 - t), 0.3),
    "overnight": _signed(lambda t: np.where(t > 0.45, 1.0, 0.0), 0.3),
    "wave": _wave,
}


def heat_laps(level: float, rng: Rng) -> list[float]:
    """One heat of laps about a level."""
    noise = rng.normal(size=LAPS)
    for i in range(1, LAPS):
        noise[i] = LAP_LEAN * noise[i - 1] + math.sqrt(1.0 - LAP_LEAN**2) * noise[i]
    laps = 18.0 + level + LAP_SD * noise
    laps[:2] += [1.2, 0.4]
    spoiled = rng.random(LAPS) < 0.04
    laps[spoiled] += rng.uniform(0.5, 3.0, int(spoiled.sum()))
    return [float(lap) for lap in laps]


def settled(level: float, rng: Rng) -> float:
    """The figure the program compares heats by, without the rest of the analysis."""
    return settled_of(heat_laps(level, rng))


def settled_of(laps: list[float]) -> float:
    """Median of the laps kept after the opening ones, by the program's own rule."""
    out = {mark.lap for mark in set_aside(laps, RULE)}
    return median(lap for n, lap in enumerate(laps, 1) if n not in out and n > RULE.opening)


def check_figure(rng: Rng) -> None:
    """Make sure the short cut is the figure the program shows."""
    for _ in range(200):
        laps = heat_laps(0.0, rng)
        shown = analyse_heat(laps, RULE).settled
        if shown is None or not math.isclose(shown, settled_of(laps), rel_tol=1e-12):
            raise SystemExit(f"the simulation's figure is not the program's: {laps}")


def between_sd(rng: Rng) -> float:
    """Spread between heats beyond what their laps explain, so that the whole comes to SPREAD."""
    from_laps = float(np.std([settled(0.0, rng) for _ in range(4000)], ddof=1))
    return math.sqrt(SPREAD**2 - from_laps**2)


def weekend(
    order: str, effects: dict[str, float], drift: Drift, lean: float, sd: float, rng: Rng
) -> list[HeatFigure]:
    """The figures of one weekend. lean: how much one heat's own luck carries into the next."""
    n = len(order)
    luck = rng.normal(size=n)
    for i in range(1, n):
        luck[i] = lean * luck[i - 1] + math.sqrt(1.0 - lean**2) * luck[i]
    track = drift(n, rng)
    return [
        HeatFigure(s, float(i), settled(effects.get(s, 0.0) + track[i] + sd * luck[i], rng))
        for i, s in enumerate(order)
    ]


def share_real(
    order: str, effect: float, drift: Drift, lean: float, sd: float, n: int, rng: Rng
) -> tuple[float, float]:
    """Shares of weekends called likely real, and whose interval holds the true effect."""
    real = held = 0
    for _ in range(n):
        figures = weekend(order, {"B": effect}, drift, lean, sd, rng)
        (result,) = compare_many(figures, [("A", "B")])
        real += result.verdict == "likely real"
        held += result.low <= effect <= result.high
    return real / n, held / n


def mixed_null(n: int, lean: float, sd: float, rng: Rng) -> float:
    """No effect; order and drift drawn by lot for each weekend; one comparison."""
    names = list(DRIFTS)
    real = 0
    for _ in range(n):
        order = ORDERS[int(rng.integers(len(ORDERS)))]
        drift = DRIFTS[names[int(rng.integers(len(names)))]]
        figures = weekend(order, {}, drift, lean, sd, rng)
        real += compare_many(figures, [("A", "B")])[0].verdict == "likely real"
    return real / n


def several_null(order: str, n: int, sd: float, rng: Rng) -> float:
    """No effect; every pair of states compared; share of weekends with any called likely real."""
    names = list(DRIFTS)
    real = 0
    for _ in range(n):
        drift = DRIFTS[names[int(rng.integers(len(names)))]]
        results = compare_many(weekend(order, {}, drift, 0.0, sd, rng))
        real += any(result.verdict == "likely real" for result in results)
    return real / n


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--weekends", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args()
    n = options.weekends
    rng = np.random.default_rng(options.seed)
    print(f"{n} weekends a row, seed {options.seed}")
    check_figure(rng)
    sd = between_sd(rng)
    print(f"heat-to-heat spread {SPREAD} s, of which {sd:.3f} s beyond what laps explain\n")
    _print_null(n, sd, rng)
    _print_found(n, sd, rng)


def _print_null(n: int, sd: float, rng: Rng) -> None:
    print("No true effect: 'likely real' in % of weekends (nominal 5, at most 6)")
    for lean in (0.0, 0.4):
        share = mixed_null(n, lean, sd, rng)
        print(f"  order and drift by lot, heats leaning {lean:.1f} on the last: {100 * share:.1f}")
    for order in ("ABCABCABCABCABC", "ABCCABBCAABCCAB", "ABCD" * 6):
        pairs = math.comb(len(set(order)), 2)
        share = several_null(order, n, sd, rng)
        print(f"  {order}: any of {pairs} comparisons, Holm: {100 * share:.1f}")
    print(
        f"\n  {n // 4} weekends a cell, one comparison, by order and drift; "
        "then with heats leaning 0.4 on the last"
    )
    print(f"  {'':18s}" + "".join(f"{name:>15s}" for name in DRIFTS))
    for order in (*ORDERS, "AABBAABBAABB", "AAAAABBBBB", "AAABBBAAABBB"):
        cells = []
        for drift in DRIFTS.values():
            pair = [share_real(order, 0.0, drift, lean, sd, n // 4, rng)[0] for lean in (0.0, 0.4)]
            cells.append(f"{100 * pair[0]:8.1f} {100 * pair[1]:5.1f}")
        print(f"  {order:18s}" + " ".join(cells))


def _print_found(n: int, sd: float, rng: Rng) -> None:
    print("\nA true effect: 'likely real' in % of weekends (interval holds it, in %)")
    cases = [(effect, name) for name in ("none", "straight") for effect in (0.05, 0.10, 0.15)]
    print(f"  {'':18s}" + "".join(f"{f'{e:.2f} {d}':>16s}" for e, d in cases))
    blocked = ("AAAAABBBBB", "AABBBBBAAA", "AABBAABB")
    for order in ("ABABAB", "ABABABAB", "ABABABABAB", "ABBAABBAAB", "AB" * 6, "AB" * 8, *blocked):
        cells = []
        for effect, name in cases:
            real, held = share_real(order, -effect, DRIFTS[name], 0.0, sd, n, rng)
            cells.append(f"{100 * real:8.1f} ({100 * held:4.1f})")
        print(f"  {order:18s}" + " ".join(cells))


if __name__ == "__main__":
    main()
