"""How long the mechanics take, with a general-purpose library beside them as a ratio.

Run: python tests/benchmarks/bench_mechanics.py
"""

import math
import sys
import time
from dataclasses import replace
from pathlib import Path

from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "mechanics"))

from conftest import generic_clutch
from test_shims import HEIGHT, PLAY, _milp

from pitwright.mechanics import clutch as c
from pitwright.mechanics.bite import recess_for_bite, sensitivities
from pitwright.mechanics.engine import torque_from_points
from pitwright.mechanics.launch import launch
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.mechanics.shims import best_stacks

KRPM = 1000 * math.pi / 30
ENGINE = torque_from_points(
    [(6 * KRPM, 0.22), (12 * KRPM, 0.32), (20 * KRPM, 0.42), (28 * KRPM, 0.5), (38 * KRPM, 0.42)]
)
JE, JC, IDLE = 4.5e-6, 1.03e-4, 8.5 * KRPM
TINS = {
    "round thicknesses": [20, 30, 50, 80, 100, 120, 150, 200, 250, 300, 400, 500],
    "no common divisor": [23, 31, 51, 79, 103, 127, 149, 201, 253, 307, 401, 503],
}


def milliseconds(work, repeats):
    """Best of several runs, for the best is what the machine can do."""
    best = math.inf
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begin)
    return best * 1e3


def bite_screen():
    """All that moves when a slider of the bite is moved."""
    clutch = replace(generic_clutch(), recess=1.4e-3)
    c.bite_speed(clutch)
    c.let_go_speed(clutch)
    lock_up_speed(clutch, ENGINE)
    sensitivities(clutch)
    recess_for_bite(clutch, c.bite_speed(generic_clutch()))
    for i in range(100):
        speed = (12 + 0.26 * i) * KRPM
        c.capacity_rising(clutch, speed)
        ENGINE.at(speed)


def scipy_launch(clutch):
    """The same launch by scipy, to the same tolerance."""

    def rates(_, y):
        drive, passed = ENGINE.clamped(y[0]), c.capacity_rising(clutch, y[0])
        slip = passed * (y[0] - y[1])
        return [(drive - passed) / JE, passed / JC, drive * y[0], slip]

    def meet(_, y):
        return y[1] - y[0]

    meet.terminal = True
    return solve_ivp(rates, (0, 10), [IDLE, 0, 0, 0], rtol=1e-9, atol=1e-9, events=meet)


def line(name, ours, limit, other="", theirs=None):
    """One row: our time, what is asked for, and how many times longer the other takes."""
    ratio = "" if theirs is None else f"{other} {theirs:8.2f} ms, {theirs / ours:6.1f} x"
    print(f"{name:34} {ours:8.3f} ms  (limit {limit} ms)  {ratio}")


def main():
    """Print the table."""
    clutch = generic_clutch()
    line("bite alone", milliseconds(lambda: c.bite_speed(clutch), 200), 5)
    line("everything on the bite screen", milliseconds(bite_screen, 50), 5)
    ours = milliseconds(lambda: launch(clutch, ENGINE, JE, JC, IDLE), 50)
    line(
        "launch, full throttle",
        ours,
        50,
        "solve_ivp",
        milliseconds(lambda: scipy_launch(clutch), 3),
    )
    held = milliseconds(lambda: launch(clutch, ENGINE, JE, JC, IDLE, grip=0.19, hold_grip=True), 50)
    line("launch, at the grip", held, 50)
    for name, thicknesses in TINS.items():
        tin = dict.fromkeys(thicknesses, 10)
        for coefficient in (-1, 0, 1):
            ours = milliseconds(lambda k=coefficient, t=tin: best_stacks(t, PLAY, HEIGHT, k), 5)
            theirs = milliseconds(lambda k=coefficient, t=tin: _milp(t, PLAY, HEIGHT, k), 1)
            line(f"shims, {name}, {coefficient:+d}", ours, 50, "milp", theirs)


if __name__ == "__main__":
    main()
