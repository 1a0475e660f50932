"""What a weekend of thousands of records costs: to open, to keep a note in, to ask.

Run: python tests/benchmarks/bench_many.py [--records N] [--times N]

- *rows on the screen*: `pitwright open` in a real pseudo-terminal, from the start of the process
  until a heat's row is on the screen and under the cursor;
- *a note kept*: in that terminal, from the key that keeps a filled form until the note stands in
  the log, and until all is shown that it changes;
- *commands*: whole processes, one that notes among them.

The first run of each opens what nobody has opened before, the others what was opened. Processor
time (all threads, the system's share in it) stands beside the wall clock, which also counts whoever
else was busy; so does the ratio to the start of a bare Textual app or of a process with one
pydantic model, made in turn.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench_cli import ONE_MODEL
from bench_start import BARE, BOLD
from factory import long_weekend
from side_by_side import load_words, used_by
from trust.terminal import PITWRIGHT, Terminal, environment, terminal

HEAT_ROW = re.compile(rb" *\d\d:\d\d +\w+ +(prac|qual|main)")
COMMANDS = (
    ("state --json", ["state"], ["--json"]),
    ("timeline --json", ["timeline"], ["--json"]),
    ("forecast --json", ["forecast"], ["--json"]),
    ("note", ["note"], ["one more"]),
)


@dataclass(frozen=True)
class Took:
    """Seconds of the wall clock and of the processor."""

    wall: float
    cpu: float


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=5000)
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        env = environment(Path(scratch))
        folder = long_weekend(Path(scratch) / "many", asked.records).folder
        shutil.copytree(folder, Path(scratch) / "small")
        for record in sorted((Path(scratch) / "small" / "log").iterdir())[30:]:
            record.unlink()
        one = Path(scratch) / "one_model.py"
        one.write_text(ONE_MODEL)
        in_app(Path(scratch) / "small", env, "warm")  # compiles the modules
        print(f"{asked.records:,} records, {load_words()}")
        runs = [(bare(env), *in_app(folder, env, f"note{i}")) for i in range(asked.times)]
        for what, column in (("rows on the screen", 1), ("note kept", 2), ("and shown", 3)):
            told(what, [(run[column], run[0]) for run in runs], "bare app")
        for what, head, tail in COMMANDS:
            found = []
            for _ in range(asked.times):
                base = used_by([sys.executable, str(one)], env)
                used = used_by([PITWRIGHT, *head, str(folder), *tail], env)
                found.append((Took(used.wall_s, used.cpu_s), Took(base.wall_s, base.cpu_s)))
            told(what, found, "one model")
    return 0


def told(what: str, found: list[tuple[Took, Took]], base: str) -> None:
    """Print a row: the first run, then the median of those after it."""
    first, later = found[0][0], [took for took, _ in found[1:] or found]
    ratio = median(took.cpu / beside.cpu for took, beside in found[1:] or found)
    print(
        f"{what:<20} first {first.cpu:5.2f} s cpu {first.wall:5.2f} s wall; then "
        f"{median(t.cpu for t in later):5.2f} s cpu {median(t.wall for t in later):5.2f} s wall, "
        f"{ratio:4.1f} x {base} (cpu)"
    )


def bare(env: Mapping[str, str]) -> Took:
    """Start the bare app."""
    with terminal(BARE, env) as app:
        return Took(*app.until(lambda seen: b"Bare" in seen and b"Quit" in seen))


def in_app(folder: Path, env: Mapping[str, str], words: str) -> tuple[Took, Took, Took]:
    """Open the folder and keep a note; return the times to rows, to the record, and to an answer.

    It answers once all is shown that the note changes.
    """
    log = folder / "log"
    with terminal([PITWRIGHT, "open", str(folder)], env, (140, 40)) as app:
        rows = app.until(lambda seen: any(HEAT_ROW.match(row) for _, row in BOLD.findall(seen)))
        app.settle()
        app.keys("n")
        app.settle()
        app.keys(*words)
        app.settle()
        before, begun = len(list(log.iterdir())), _now(app)
        app.keys("f2")
        while len(list(log.iterdir())) == before:
            app.drain(0.005)
        kept = _now(app)
        if app.answer(within=600) is None:
            raise TimeoutError("it does not answer")
        shown = _now(app)
    return (
        Took(*rows),
        Took(kept.wall - begun.wall, kept.cpu - begun.cpu),
        Took(shown.wall - begun.wall, shown.cpu - begun.cpu),
    )


def _now(app: Terminal) -> Took:
    return Took(*app.until(lambda _seen: True))


if __name__ == "__main__":
    raise SystemExit(main())
