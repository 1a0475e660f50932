"""How long it takes from a digit to another main screen, in a real pseudo-terminal.

Run: python tests/benchmarks/bench_switch.py [--rounds N] [--heats N]

The app is opened on an invented weekend; a walk then makes every change from one of the seven main
screens to another once, several rounds of it. The clock starts when the key is written to the
terminal and stops when the other screen's title has been read from it, which comes with the first
paint of the whole screen. The first visit of a screen, which imports it and mounts its widgets, is
counted apart. The median of each change is held against the limit.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from factory import race_weekend
from side_by_side import load_words
from trust.terminal import PITWRIGHT, Terminal, environment, terminal

from pitwright.app.app import SCREENS_BY_KEY
from pitwright.paths import demo_folder
from pitwright.store.create import copy_demo

LIMIT_MS = 50.0
QUIET_S = 0.25
TITLES = {key: title for key, _name, title, _module, _cls in SCREENS_BY_KEY}


def walk(keys: list[str]) -> Iterator[str]:
    """Yield the keys of a walk from the first that makes every change once (Hierholzer)."""
    left = {a: [b for b in reversed(keys) if b != a] for a in keys}
    path, stack = [], [keys[0]]
    while stack:
        if left[stack[-1]]:
            stack.append(left[stack[-1]].pop())
        else:
            path.append(stack.pop())
    yield from path[::-1][1:]


def switch(app: Terminal, key: str) -> tuple[float, float]:
    """Press a digit; return the milliseconds until its screen's title was painted.

    By the clock and of the processor.
    """
    title = f"{TITLES[key]} · ".encode()
    # Out of an entry, where a digit is a digit; the pause keeps the two from being one key.
    app.press(b"\x1b")
    app.drain(QUIET_S)
    used = app.cpu_s()
    pressed = time.perf_counter()
    start = app.press(key.encode())
    _, now_used = app.until(lambda seen: title in seen, start)
    took = time.perf_counter() - pressed
    app.drain(QUIET_S)
    return took * 1000, (now_used - used) * 1000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--heats", type=int, help="of an invented weekend instead of the demo")
    arguments = parser.parse_args()
    first: dict[str, tuple[float, float]] = {}
    found: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    keys = list(TITLES)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "w"
        if arguments.heats:
            race_weekend(folder, arguments.heats)
        else:
            copy_demo(demo_folder(), folder)
        env = environment(Path(scratch))
        command = [PITWRIGHT, "open", str(folder)]
        with terminal(command, env) as app:  # compiles the modules
            visit_all(app, keys)
        with terminal(command, env) as app:
            first = visit_all(app, keys)
            for _ in range(arguments.rounds):
                at = keys[0]
                for key in walk(keys):
                    found[at, key].append(switch(app, key))
                    at = key
    return report(first, found)


def visit_all(app: Terminal, keys: list[str]) -> dict[str, tuple[float, float]]:
    app.until(lambda seen: b"Timeline \xc2\xb7 " in seen)
    app.drain(2.5)
    first = {key: switch(app, key) for key in keys[1:]}
    switch(app, keys[0])
    return first


def report(
    first: dict[str, tuple[float, float]],
    found: dict[tuple[str, str], list[tuple[float, float]]],
) -> int:
    """Print the table; return the exit status."""
    print("first visit: " + ", ".join(f"{TITLES[k]} {ms:.0f} ms" for k, (ms, _) in first.items()))
    medians = {pair: median(clock for clock, _ in times) for pair, times in found.items()}
    busy = {pair: median(cpu for _, cpu in times) for pair, times in found.items()}
    print(f"{'from / to':<10}" + "".join(f"{title:>10}" for title in TITLES.values()))
    for a in TITLES:
        cells = (f"{medians[a, b]:.0f}" if a != b else "" for b in TITLES)
        print(f"{TITLES[a]:<10}" + "".join(f"{cell:>10}" for cell in cells))
    worst = max(medians.values())
    over = sum(ms > LIMIT_MS for ms in medians.values())
    print(
        f"{len(medians)} changes, median of medians {median(medians.values()):.0f} ms, "
        f"worst {worst:.0f} ms, {worst / LIMIT_MS:.2f} of the {LIMIT_MS:.0f} ms; "
        f"{over} over the limit"
    )
    print(
        f"processor: median of medians {median(busy.values()):.0f} ms, "
        f"worst {max(busy.values()):.0f} ms; {load_words()}"
    )
    return 1 if over else 0


if __name__ == "__main__":
    raise SystemExit(main())
