"""How long `pitwright open` takes in a real pseudo-terminal, beside a bare Textual app.

Run: python tests/benchmarks/bench_start.py [--pairs N]

The bare app (bare_app.py) has a header and a footer and nothing else. Each pair starts the bare
app, `open` on the demo weekend and `open` on an invented weekend of 60 heats, one after the other.

- *first frame*: from the start of the process until title and key line are on the screen;
- *filled*: until the Timeline's rows are on the screen, from when on it takes keys;
- *a key's effect*: until the cursor has moved, on the screen, on a key pressed at that moment. The
  bare app has no such wait, so that this is more than filling asks;
- *memory*: peak resident memory a second later, before anything was plotted.

All are divided by the bare app's first frame, or its memory, of the same pair. Wall clock is what
counts; processor time is printed beside it, since the clock also counts whoever else was busy.
"""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from factory import race_weekend
from side_by_side import load_words, row
from trust.terminal import PITWRIGHT, environment, terminal

from pitwright.paths import demo_folder
from pitwright.store.create import copy_demo

BARE = [sys.executable, str(Path(__file__).resolve().parent / "bare_app.py")]
UP = b"\x1b[A"
# The cursor's row is bold on a ground of its own; the words of a row are longer than any key.
BOLD = re.compile(rb"\x1b\[1;38;2;[\d;]+?;48;2;(\d+;\d+;\d+)m([^\x1b]{12,})")
HEAT_ROW = re.compile(rb" *\d\d:\d\d +\w+ +(prac|qual|main|warm|run)")


@dataclass(frozen=True)
class Start:
    """Wall and processor seconds to the first frame, to the rows, and to the effect of a key."""

    frame: tuple[float, float]
    filled: tuple[float, float]
    taken: tuple[float, float]
    peak_kib: float


def bare_start(env: dict[str, str]) -> Start:
    with terminal(BARE, env) as bare:
        frame = bare.until(lambda seen: b"Bare" in seen and b"Quit" in seen)
        bare.drain(1.0)
        return Start(frame, frame, frame, bare.peak_kib())


def app_start(folder: Path, env: dict[str, str], rows: Rows) -> Start:
    with terminal([PITWRIGHT, "open", str(folder)], env) as app:
        frame = app.until(lambda seen: b"Reading " in seen and b"Help" in seen)
        filled = app.until(lambda seen: rows.first in BOLD.findall(seen))
        start = app.press(UP)
        taken = app.until(lambda seen: rows.above in BOLD.findall(seen), start)
        app.drain(1.0)
        return Start(frame, filled, taken, app.peak_kib())


@dataclass(frozen=True)
class Rows:
    """Ground and words of the row that the cursor is on at first, and of the one above it."""

    first: tuple[bytes, bytes]
    above: tuple[bytes, bytes]


def look(folder: Path, env: dict[str, str]) -> Rows:
    """Open the app, at leisure, to learn what its cursor shows; this also compiles the modules."""
    with terminal([PITWRIGHT, "open", str(folder)], env) as app:
        app.until(lambda seen: any(HEAT_ROW.match(words) for _, words in BOLD.findall(seen)))
        app.drain(2.0)
        before = BOLD.findall(bytes(app.seen))
        first = next(row for row in reversed(before) if HEAT_ROW.match(row[1]))
        start = app.press(UP)
        app.drain(2.0)
        after = BOLD.findall(bytes(app.seen[start:]))
        above = next(row for row in after if row[0] == first[0] and row not in before)
        return Rows(first, above)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=11)
    pairs = parser.parse_args().pairs
    starts: list[tuple[Start, Start, Start]] = []
    with tempfile.TemporaryDirectory() as scratch:
        env = environment(Path(scratch))
        demo = copy_demo(demo_folder(), Path(scratch) / "demo")
        sixty = race_weekend(Path(scratch) / "sixty", 60).folder
        bare_start(env)
        in_demo, in_sixty = look(demo, env), look(sixty, env)
        for _ in range(pairs):
            starts.append(
                (
                    bare_start(env),
                    app_start(demo, env, in_demo),
                    app_start(sixty, env, in_sixty),
                )
            )
    kept = report(starts)
    print(f"{pairs} pairs, {load_words()}")
    return 0 if kept else 1


def report(starts: list[tuple[Start, Start, Start]]) -> bool:
    """Print the table; tell whether all kept their limits."""

    def ratios(what: str, which: int, clock: int, by: str = "frame", base: int = 0) -> list[float]:
        return [getattr(s[which], what)[clock] / getattr(s[base], by)[clock] for s in starts]

    def cpu(found: list[float]) -> str:
        return f"processor {median(found):.2f} x"

    bare = median(s[0].frame[0] for s in starts)
    peak = median(s[0].peak_kib for s in starts) / 1024
    print(f"bare Textual app: first frame {bare * 1000:.0f} ms, peak {peak:.0f} MiB")
    rows = [
        row("first frame, demo", ratios("frame", 1, 0), 1.3, cpu(ratios("frame", 1, 1))),
        row("filled, demo", ratios("filled", 1, 0), 2.0, cpu(ratios("filled", 1, 1))),
        row("a key's effect, demo", ratios("taken", 1, 0), 2.0, cpu(ratios("taken", 1, 1))),
        row(
            "60 heats against the demo, a key's effect",
            ratios("taken", 2, 0, "taken", 1),
            1.5,
            cpu(ratios("taken", 2, 1, "taken", 1)),
        ),
        row("memory, demo", [s[1].peak_kib / s[0].peak_kib for s in starts], 1.6),
        row("memory, 60 heats", [s[2].peak_kib / s[0].peak_kib for s in starts], 1.6),
    ]
    return all(rows)


if __name__ == "__main__":
    raise SystemExit(main())
