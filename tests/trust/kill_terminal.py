"""The real app in a real pseudo-terminal is killed while somebody works on it.

    python tests/trust/kill_terminal.py --times 500 --seed 20260516 --workers 2

A hand (hand.py) opens a weekend and measures, ticks a build, runs a heat, writes notes, starts
timers, begins a new weekend and changes screens; SIGKILL ends the app at a random moment, half of
the time just after something was seen. Whatever the screen had shown as done by then has to stand
in the folder when it had stood there for 100 ms: every tick, tap, running or stopped heat, timer,
kept record and half-typed text, unless the screen says that what is typed is not on the disk. So
has every record that was there before, with the same bytes. A folder that cannot be read, or an
app that ends by itself, is a fault as well.

Ages are counted by the clock, and the 100 ms by the app's own time: without that in which a thread
of it was ready and others had the processor (Linux; elsewhere by the clock). On an idle machine the
two are the same.

    --sabotage all         how the app is made to lose what it shows, to see that it is noticed
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise
from math import isnan
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from trust.hand import JOBS, Hand, switch
from trust.left_behind import LeftBehind
from trust.terminal import PITWRIGHT, environment, laptop_of, terminal

from pitwright.store.reader import read_folder

DEMO = Path(__file__).resolve().parents[2] / "demo_weekend"
SEEN_FOR_S = 0.1
AGES_MS = (10, 30, 60, 100, 1000)
"""Upper ends of the ages that the table counts apart; older than the last is apart as well."""
KINDS = ("draft", "tick", "tap", "heat", "stop", "timer", "record")

_HELD = "session.Session.{0} = lambda self, *a: self._set_open({1}=a[0]); "
SABOTAGE = {
    "draft": "drafts._GATHER_S = 5.0; drafts._LATE_S = 60.0; ",
    "tick": _HELD.format("keep_build", "build"),
    "heat": _HELD.format("keep_heat", "heat"),
    "timer": _HELD.format("keep_timers", "timers"),
    "record": "session.append_record = lambda _, record, **at: session.prepared(record, **at); ",
}
"""What makes the app show each kind as done and not write it, as code that runs before it."""


@dataclass
class Tally:
    """What a run came to: kills, what was seen by kind and age, what of it was lost."""

    kills: int = 0
    told: int = 0
    seen: Counter[tuple[str, int]] = field(default_factory=Counter)
    lost: Counter[tuple[str, int]] = field(default_factory=Counter)
    oldest_lost_ms: dict[str, float] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Add what another run came to."""
        self.kills += other.kills
        self.told += other.told
        self.seen += other.seen
        self.lost += other.lost
        self.faults += other.faults
        for kind, age in other.oldest_lost_ms.items():
            self.oldest_lost_ms[kind] = max(age, self.oldest_lost_ms.get(kind, 0.0))

    def table(self) -> list[str]:
        """Return lost of seen by kind and age when killed, as Markdown."""
        ends = [0, *AGES_MS]
        ages = [f"{a} to {b}" for a, b in pairwise(ends)]
        head = ["lost of seen, by age in ms", *ages, f"over {ends[-1]}", "oldest lost, ms"]
        rows = [head, ["---"] * len(head)]
        for kind in KINDS:
            cells = [
                f"{self.lost[kind, i]} of {self.seen[kind, i]}" for i in range(len(AGES_MS) + 1)
            ]
            oldest = self.oldest_lost_ms.get(kind)
            rows.append([kind, *cells, "none" if oldest is None else f"{oldest:.0f}"])
        return [f"| {' | '.join(row)} |" for row in rows]


def _bytes(paths: Iterable[Path]) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in paths}


def kill_once(
    job: str, folder: Path, scratch: Path, rng: random.Random, tally: Tally, linger_s: float = 0.0
) -> None:
    """Work, kill, and look at what is left."""
    home = job == "begin"
    left_in = scratch / "state" / "pitwright" if home else folder
    before = _bytes(folder.glob("log/*.toml"))
    for drafts in (left_in / "drafts", *folder.glob("open/*/drafts")):
        shutil.rmtree(drafts, ignore_errors=True)
    command = [*COMMAND] if home else [*COMMAND, "open", str(folder)]
    # Textual waits so long for what may follow an escape.
    env = environment(scratch) | {"ESCDELAY": "20"}
    # What is compiled already is at hand for the next run too.
    del env["PYTHONPYCACHEPREFIX"]
    with terminal(command, env, folder=scratch) as app:
        if not app.shows("A new weekend" if home else " Timeline ·", 60.0):
            tally.faults.append(f"did not open: {app.text()}")
            return
        # Just after something is seen, or at any moment.
        at_sight = rng.random() < 0.6
        goal = rng.randrange(1, 9) if at_sight else 10**6
        within_s = 8.0 if at_sight else rng.uniform(0.0, 2.5)
        if linger_s:
            goal, within_s = 10**6, 60.0
        hand = Hand(app, rng, goal, time.perf_counter() + within_s)
        if rng.random() < 0.2 and not home:
            switch(hand)
        JOBS[job](hand)
        over = time.perf_counter() + (linger_s or rng.choice((0.0, rng.uniform(0.0, 0.12))))
        while (left_s := over - time.perf_counter()) > 0:
            hand.look(left_s)
        ended, waited = app.code, app.kept_waiting_s(all_threads=True)
        killed = time.perf_counter()
        app.kill()
        told = "not on the disk" in app.text()
    tally.kills += 1
    tally.told += told
    if ended is not None:
        tally.faults.append(f"it ended by itself with {ended}")
    left = LeftBehind(left_in)
    for claim in hand.claims.values():
        if told and claim.kind == "draft":
            continue
        age = killed - claim.at
        place = sum(1000 * age > end for end in AGES_MS)
        tally.seen[claim.kind, place] += 1
        if claim.holds(left):
            continue
        tally.lost[claim.kind, place] += 1
        oldest = tally.oldest_lost_ms.get(claim.kind, 0.0)
        tally.oldest_lost_ms[claim.kind] = max(oldest, 1000 * age)
        own = age if isnan(waited) else age - (waited - claim.waited)
        if own > SEEN_FOR_S:
            tally.faults.append(
                f"seen and lost: {claim.kind} {claim.words}, seen for {1000 * age:.0f} ms, "
                f"{1000 * own:.0f} of them the app's own ({job})"
            )
    after = _bytes(folder.glob("log/*.toml"))
    gone = [name for name, data in before.items() if after.get(name) != data]
    if gone:
        tally.faults.append(f"records lost: {gone}")
    read = read_folder(folder, laptop_of(scratch))
    wrong = [str(problem) for problem in read.problems if problem.weight == "error"]
    if read.weekend is None or wrong:
        tally.faults.append(f"cannot be read: {wrong}")


COMMAND: tuple[str, ...] = (PITWRIGHT,)


def run(times: int, seed: int, base: Path, *, linger_s: float = 0.0, fast: bool = True) -> Tally:
    """Kill so many times, one job after the other, a fresh weekend every 24.

    ``fast`` stops at the first fault. With ``linger_s`` each job is done to its end and what was
    seen stands so long, so that all of it would have to be there.
    """
    rng, tally = random.Random(seed), Tally()
    folder = base / "w"
    for number in range(times):
        if number % 24 == 0:
            shutil.rmtree(folder, ignore_errors=True)
            shutil.copytree(DEMO, folder)
        kill_once(list(JOBS)[number % len(JOBS)], folder, base, rng, tally, linger_s)
        if tally.faults and fast:
            break
        if number % 24 == 23:
            print(f"seed {seed}: {number + 1} kills", flush=True)
    return tally


def sabotaged(kinds: Iterable[str]) -> tuple[str, ...]:
    """Return the command of an app that shows these kinds as done and does not write them."""
    code = "import sys, pitwright.app.drafts as drafts, pitwright.store.session as session; "
    code += "".join(SABOTAGE[kind] for kind in kinds)
    return sys.executable, "-c", code + "from pitwright.cli import main; raise SystemExit(main())"


def _work(times: int, seed: int, base: str, command: tuple[str, ...], linger_s: float) -> Tally:
    global COMMAND
    COMMAND = command
    place = Path(base) / str(seed)
    place.mkdir()
    return run(times, seed, place, linger_s=linger_s, fast=linger_s == 0)


def main() -> int:
    """Run from the command line; 1 when anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--seed", type=int, default=20260516)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--sabotage", choices=[*SABOTAGE, "all"])
    arguments = parser.parse_args()
    started = time.monotonic()
    command, linger_s = COMMAND, 0.0
    if arguments.sabotage is not None:
        kinds = list(SABOTAGE) if arguments.sabotage == "all" else [arguments.sabotage]
        command, linger_s = sabotaged(kinds), 0.3
    tally, workers = Tally(), arguments.workers
    with tempfile.TemporaryDirectory() as base, ProcessPoolExecutor(workers) as pool:
        shares = [
            arguments.times // workers + (i < arguments.times % workers) for i in range(workers)
        ]
        runs = [
            pool.submit(_work, share, arguments.seed + i, base, command, linger_s)
            for i, share in enumerate(shares)
        ]
        for each in runs:
            tally.add(each.result())
    print("\n".join(tally.table()))
    print(f"{tally.kills} kills, {tally.told} of them while it said 'not on the disk'")
    print("\n".join(tally.faults) or "no fault")
    print(f"{time.monotonic() - started:.0f} s")
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
