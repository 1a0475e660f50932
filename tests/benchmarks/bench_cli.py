"""What `pitwright state --json` costs, beside a process that defines one pydantic model.

Run: python tests/benchmarks/bench_cli.py [--pairs N]

The processor time of whole processes, in turn, divided pair by pair: user and system together,
since the wall clock also counts whoever else was busy.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from factory import race_weekend
from side_by_side import load_words, row, used_by
from trust.terminal import PITWRIGHT, environment

from pitwright.paths import demo_folder

ONE_MODEL = """
from pydantic import BaseModel

class One(BaseModel):
    name: str
    value: float

One(name="one", value=1.0)
"""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=15)
    pairs = parser.parse_args().pairs
    with tempfile.TemporaryDirectory() as scratch:
        env = environment(Path(scratch))
        one = Path(scratch) / "one_model.py"
        one.write_text(ONE_MODEL)
        sixty = race_weekend(Path(scratch) / "sixty", 60).folder
        commands = [
            [sys.executable, str(one)],
            [PITWRIGHT, "state", str(demo_folder()), "--json"],
            [PITWRIGHT, "state", str(sixty), "--json"],
        ]
        turns = [[used_by(command, env) for command in commands] for _ in range(pairs + 1)]
    del turns[0]  # the first compiled the modules
    base = median(turn[0].cpu_s for turn in turns)
    print(f"one pydantic model: {base * 1000:.0f} ms of processor time")
    kept = [
        row(f"state --json, {what}", [t[i].cpu_s / t[0].cpu_s for t in turns], limit)
        for i, what, limit in ((1, "demo", 2.0), (2, "60 heats", 3.0))
    ]
    print(f"{pairs} pairs, {load_words()}")
    return 0 if all(kept) else 1


if __name__ == "__main__":
    raise SystemExit(main())
