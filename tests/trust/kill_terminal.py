"""The real app in a real pseudo-terminal is killed while somebody works on it.

    python tests/trust/kill_terminal.py --times 500 --seed 20260516

The app opens a weekend, a hand types into the Measure form, begins and ticks a build, starts a
heat and taps laps, and changes screens; SIGKILL ends it at a random moment. What the terminal had
shown for more than 100 ms by then has to stand in the folder:

* the digits in the entry, in a draft (the hand looks at the screen after each key, so that it is
  known when they were seen), unless the screen says that they are not on the disk; also after
  a build, a heat and other screens;
* every record that was there before, with the same bytes.

A folder that cannot be read, or an app that ends by itself, is a fault as well.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from trust.terminal import PITWRIGHT, Terminal, environment, laptop_of, terminal

from pitwright.store.reader import read_folder

DEMO = Path(__file__).resolve().parents[2] / "demo_weekend"
SEEN_FOR_S = 0.1


@dataclass
class Tally:
    """What a run came to."""

    kills: int = 0
    typed: int = 0
    taps: int = 0
    keys_seen: int = 0
    told: int = 0
    faults: list[str] = field(default_factory=list)


@dataclass
class Hand:
    """Works on the app and knows what it has seen there, and when."""

    app: Terminal
    rng: random.Random
    goal: int
    end: float
    shown: list[tuple[float, str, str]] = field(default_factory=list)

    @property
    def over(self) -> bool:
        enough = len(self.shown) >= self.goal or time.perf_counter() >= self.end
        return enough or self.app.code is not None

    def see(self, words: str, what: str, within: float = 5.0) -> bool:
        """Wait for words to be on the screen and note when they were."""
        while not self.over and within > 0:
            if words in self.app.text():
                self.shown.append((time.perf_counter(), what, words))
                return True
            self.app.drain(min(0.01, within, max(self.end - time.perf_counter(), 0.001)))
            within -= 0.01
        return False

    def type_reading(self) -> None:
        """Type a number nobody typed before, key by key, sometimes quickly."""
        self.app.keys("3")
        if not self.see("Letter keys", "screen"):
            return
        typed = ""
        for sign in f"10.{self.rng.randrange(10**8):08d}":
            if self.over:
                return
            self.app.keys(sign)
            typed += sign
            if len(typed) > 5 and not self.see(typed, "draft", 2.0):
                return
            if self.rng.random() < 0.5:
                self.app.drain(self.rng.uniform(0, 0.15))
        self.app.keys("escape")

    def run_heat(self) -> None:
        """Start a heat and tap at the line."""
        self.app.keys("escape", "1", "h")
        self.app.drain(0.3)
        self.app.keys("f2")
        for _ in range(self.rng.randrange(1, 6)):
            if self.over:
                return
            self.app.keys("space")
            self.app.drain(self.rng.uniform(0.01, 0.3))

    def tick(self) -> None:
        """Begin a build, or go on with it, and tick."""
        self.app.keys("escape", "2")
        for key in ("enter", "enter", "space", "enter"):
            if self.over:
                return
            self.app.keys(key)
            self.app.drain(self.rng.uniform(0.01, 0.2))
        self.app.keys("escape", "escape")

    def switch(self) -> None:
        """Look at other screens."""
        for _ in range(3):
            self.app.keys("escape", self.rng.choice("124567"))
            self.app.drain(self.rng.uniform(0, 0.15))

    def work(self) -> None:
        """Do one thing after another until the time has come."""
        self.type_reading()
        while not self.over:
            self.rng.choice((self.switch, self.tick, self.run_heat))()
            self.shown.append((time.perf_counter(), "done", ""))


def _records(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in (folder / "log").glob("*.toml")}


def kill_once(folder: Path, scratch: Path, rng: random.Random, tally: Tally) -> None:
    """Work, kill, and look at what is left."""
    before = _records(folder)
    open_work = folder / "open" / laptop_of(scratch)
    shutil.rmtree(open_work / "drafts", ignore_errors=True)
    with terminal([*COMMAND, str(folder)], environment(scratch)) as app:
        if not app.shows("Timeline", 60.0):
            tally.faults.append(f"did not open: {app.text()}")
            return
        # So many things seen, whatever the machine's load, and a moment more.
        hand = Hand(app, rng, rng.randrange(1, 25), time.perf_counter() + 20)
        hand.work()
        app.drain(rng.uniform(0, 0.3))
        killed = time.perf_counter()
        told, ended = "not on the disk" in app.text(), app.code
        app.kill()
    tally.kills += 1
    if ended is not None:
        tally.faults.append(f"it ended by itself with {ended}")
    drafts = "".join(p.read_text() for p in (open_work / "drafts").glob("*.toml"))
    typed = [(at, words) for at, what, words in hand.shown if what == "draft"]
    tally.keys_seen += len(typed)
    old = [words for at, words in typed if killed - at > SEEN_FOR_S]
    tally.told += told
    if old:
        tally.typed += 1
    if old and not told and old[-1] not in drafts:
        tally.faults.append(f"seen and lost: {old[-1]} is not in {drafts!r}")
    after = _records(folder)
    gone = [name for name, data in before.items() if after.get(name) != data]
    if gone:
        tally.faults.append(f"records lost: {gone}")
    read = read_folder(folder, laptop_of(scratch))
    if read.weekend is None:
        tally.faults.append(f"cannot be read: {read.problems}")
    elif read.weekend.open.heat is not None:
        tally.taps += len(read.weekend.open.heat.taps)


COMMAND: tuple[str, ...] = (PITWRIGHT, "open")


def run(times: int, seed: int, base: Path) -> Tally:
    """Kill so many times, a fresh weekend every 25."""
    rng, tally = random.Random(seed), Tally()
    folder = base / "w"
    for number in range(times):
        if number % 25 == 0:
            shutil.rmtree(folder, ignore_errors=True)
            shutil.copytree(DEMO, folder)
        kill_once(folder, base, rng, tally)
        if tally.faults:
            break
        if number % 25 == 24:
            print(f"{number + 1} kills, {tally.keys_seen} keys seen", flush=True)
    return tally


def main() -> int:
    """Run from the command line; 1 when anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--seed", type=int, default=20260516)
    arguments = parser.parse_args()
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as base:
        tally = run(arguments.times, arguments.seed, Path(base))
    for name, value in vars(tally).items():
        print(f"{name.replace('_', ' ')}: {value}")
    print(f"{time.monotonic() - started:.0f} s")
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
