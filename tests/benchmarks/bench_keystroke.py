"""Time from a key event to the verdict's update, with the full Measure form on screen.

Run: python tests/benchmarks/bench_keystroke.py [--heats N] [--keys N]

The clock starts when the key event is posted to the app and stops when the flag beside the entry
has its new content; waiting for the next key is not counted. The log is that of a whole invented
weekend, so that what each key asks of it is real. The processor time this process spent in the same
span is shown as well: on a busy machine the clock on the wall counts its neighbours.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
import tempfile
from pathlib import Path
from time import perf_counter, process_time

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from factory import race_weekend
from textual import events

from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.store.session import Session

LIMIT_MS = 16.0
READINGS = ("10,15 10.18 10.16", "1.41 1.43", "4,85 4.86", "0.35", "0.25 0.24", "30.05", "0.1")
WARM_UP = 20


def percentile(sorted_ms: list[float], share: float) -> float:
    return sorted_ms[min(len(sorted_ms) - 1, int(share * len(sorted_ms)))]


async def run(heats: int, keys: int) -> list[tuple[float, float]]:
    updated = asyncio.Event()
    put = ReadingEntry._put

    def watched(self: ReadingEntry, where: str, content: object) -> None:
        put(self, where, content)  # type: ignore[arg-type]
        if where == ".flag":
            watched.at = perf_counter()  # type: ignore[attr-defined]
            watched.spent = process_time()  # type: ignore[attr-defined]
            updated.set()

    ReadingEntry._put = watched  # type: ignore[method-assign]
    found: list[tuple[float, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        maker = race_weekend(Path(folder) / "w", heats)
        with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
            app = PitwrightApp(session, first="measure", clock=lambda: maker.at)
            async with app.run_test(size=(80, 24)) as pilot:
                await pilot.pause(3.0)  # as long as it takes to pick up the caliper
                entries = list(app.screen.query(ReadingEntry))
                print(f"{len(session.weekend.log)} records, {len(entries)} entries on screen")
                while len(found) < keys + WARM_UP:
                    for entry, text in zip(entries, READINGS, strict=False):
                        entry.line.focus()
                        await pilot.pause()
                        for sign in text:
                            found.append(await one_key(app, sign, updated, watched))
                        entry.typed = ""
                        await pilot.pause()
    ReadingEntry._put = put  # type: ignore[method-assign]
    return found[WARM_UP:]


async def one_key(
    app: PitwrightApp, sign: str, updated: asyncio.Event, watched: object
) -> tuple[float, float]:
    updated.clear()
    key = events.Key("space" if sign == " " else sign, sign)
    started, spent = perf_counter(), process_time()
    app.post_message(key)
    await asyncio.wait_for(updated.wait(), 5)
    took = float(watched.at) - started  # type: ignore[attr-defined]
    worked = float(watched.spent) - spent  # type: ignore[attr-defined]
    # let the rest of the key's work finish before the next one, as a finger does
    await asyncio.sleep(0.03)
    return took * 1000, worked * 1000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heats", type=int, default=60)
    parser.add_argument("--keys", type=int, default=600)
    arguments = parser.parse_args()
    timed = asyncio.run(run(arguments.heats, arguments.keys))
    found, worked = (sorted(column) for column in zip(*timed, strict=True))
    p99 = percentile(found, 0.99)
    print(
        f"{len(found)} keys: median {percentile(found, 0.5):.2f} ms, "
        f"p95 {percentile(found, 0.95):.2f} ms, p99 {p99:.2f} ms, worst {found[-1]:.2f} ms "
        f"(load {os.getloadavg()[0]:.1f})"
    )
    print(
        f"processor: median {percentile(worked, 0.5):.2f} ms, "
        f"p99 {percentile(worked, 0.99):.2f} ms, worst {worked[-1]:.2f} ms"
    )
    print(f"p99 is {p99 / LIMIT_MS:.2f} of the {LIMIT_MS:.0f} ms a frame lasts")
    return 0 if p99 < LIMIT_MS else 1


if __name__ == "__main__":
    raise SystemExit(main())
