"""What the open folder can suffer, tried on the real app in a real pseudo-terminal.

    python tests/trust/suffer_terminal.py --times 3 --seed 20260516

The app opens a weekend; a hand types a reading into Measure, has a build in hand, or taps the laps
of a running heat. Meanwhile the folder is deleted, renamed, replaced by a file, made read-only or
full, or the laptop's clock is set back, in an order drawn by lot, and put right again. Each time

* the app does not end, and says on the screen what is wrong;
* what was typed or tapped stays on the screen, and typing goes on;
* once the folder is right again, what waited is on the disk, and the app says so;

and at the end it leaves with 0 at ctrl+q, every record there was is there with the same bytes, and
the folder reads without an error.

The weekend lies on a small disk in memory where one may be mounted. Without that, full is a limit
on the size of files (EFBIG instead of ENOSPC), and read-only is what chmod does, which stops
everybody but the superuser: then it is not tried, and the script says so.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from trust.terminal import Terminal, environment, laptop_of, terminal

from pitwright.store.reader import read_folder

DEMO = Path(__file__).resolve().parents[2] / "demo_weekend"
KINDS = ("deleted", "renamed", "a file", "read-only", "full", "clock set back")
WORKS = ("typing", "build", "heat")
SIZE = (110, 40)

# One word of what has to be said, since toasts break lines between words; no screen has it else.
SAID = {
    "deleted": "gone", "renamed": "gone", "a file": "gone", "read-only": "Read-only",
    "full": r"\bdevice\b|\blarge\b", "clock set back": "went back",
}  # fmt: skip
_WITHIN_S = 12.0
_MINUTES_BACK = 90

_RIGHT = re.compile(r"takes it again|weekend is back")

# The app as it is, by a clock that stands off by as many minutes as a file says.
_APP = """
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
import pitwright.app.terminal_app as front
import pitwright.store.session as kept
class Clock:
    @staticmethod
    def now(zone):
        return datetime.now(zone) + timedelta(minutes=float(Path(sys.argv[3]).read_text()))
front.datetime = kept.datetime = Clock
from pitwright.cli import main
raise SystemExit(main(sys.argv[1:3]))
"""


@dataclass
class Tally:
    """What a run came to: so many sufferings tried and told, what was not tried, the faults."""

    tried: int = 0
    not_tried: set[str] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)


@dataclass
class Ground:
    """Where the weekend lies, and how it is made to suffer."""

    base: Path
    mounted: bool

    @property
    def folder(self) -> Path:
        return self.base / "disk" / "w"

    @property
    def clock(self) -> Path:
        return self.base / "clock"

    def fresh(self) -> None:
        """Lay the demo there, by a clock that is right."""
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(DEMO, self.folder)
        self.clock.write_text("0")

    def suffer(self, kind: str, app: Terminal) -> Callable[[], None] | None:
        """Do it; return what puts it right again, None where it cannot be done here."""
        away, folder = self.folder.with_name("away"), self.folder
        if kind == "deleted":
            shutil.copytree(folder, away, ignore=shutil.ignore_patterns("*.unfinished"))
            while folder.exists():
                shutil.rmtree(folder, ignore_errors=True)
            return lambda: away.rename(folder) and None
        if kind in ("renamed", "a file"):
            folder.rename(away)
            if kind == "a file":
                folder.write_text("not a folder\n")

            def back() -> None:
                if kind == "a file":
                    folder.unlink()
                away.rename(folder)

            return back
        if kind == "read-only":
            return self._read_only()
        if kind == "full":
            return self._full(app)
        # In one rename: the app reads it at any moment.
        self._clock(-_MINUTES_BACK)
        return lambda: self._clock(0)

    def _clock(self, minutes: float) -> None:
        new = self.clock.with_name("clock.new")
        new.write_text(str(minutes))
        new.replace(self.clock)

    def _read_only(self) -> Callable[[], None] | None:
        at = str(self.folder)
        if self.mounted:
            # Over itself: what is open for writing below does not hinder it.
            subprocess.run(["mount", "--bind", at, at], check=True)
            subprocess.run(["mount", "-o", "remount,bind,ro", at], check=True)
            return lambda: subprocess.run(["umount", "-l", at], check=True) and None
        if os.geteuid() == 0:
            return None
        places = [self.folder, *(p for p in self.folder.rglob("*") if p.is_dir())]
        for place in places:
            place.chmod(0o555)
        return lambda: [place.chmod(0o755) for place in places] and None

    def _full(self, app: Terminal) -> Callable[[], None]:
        if not self.mounted:
            least = resource.prlimit(app.pid, resource.RLIMIT_FSIZE)
            resource.prlimit(app.pid, resource.RLIMIT_FSIZE, (0, least[1]))
            return lambda: resource.prlimit(app.pid, resource.RLIMIT_FSIZE, least) and None
        filler = self.base / "disk" / "filler"
        with contextlib.suppress(OSError), filler.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(4096))
        return filler.unlink


@contextlib.contextmanager
def ground(base: Path) -> Iterator[Ground]:
    """Mount a small disk in memory where that is allowed, and take it away again."""
    disk = base / "disk"
    disk.mkdir(parents=True)
    call = ["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(disk)]
    try:
        mounted = subprocess.run(call, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        mounted = False
    try:
        yield Ground(base, mounted)
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(disk)], check=True)


class Hand:
    """Works on the app; knows what has to be on the screen, and what on the disk."""

    def __init__(self, app: Terminal, folder: Path, laptop: str) -> None:
        self.app, self.folder, self.laptop = app, folder, laptop
        self.open = folder / "open" / laptop

    def begin(self) -> None:
        """Take up the work."""

    def go_on(self) -> str:
        """Do a little more; return what the screen has to show of it."""
        raise NotImplementedError

    def again(self) -> None:
        """Do again what was not taken."""

    def kept(self) -> bool:
        """Tell whether all that the screen shows is on the disk."""
        raise NotImplementedError

    def read(self, name: str) -> str:
        """Return a file of the work in progress, nothing when it cannot be read."""
        try:
            return (self.open / name).read_text()
        except OSError:
            return ""


class Typing(Hand):
    """A reading in Measure, digit by digit."""

    typed = ""

    def begin(self) -> None:
        self.app.keys("3")
        assert self.app.shows("Letter keys", 30), self.app.text()
        self._type("10.1")

    def _type(self, signs: str) -> None:
        self.app.keys(*signs)
        self.typed += signs

    def go_on(self) -> str:
        self._type(str(len(self.typed) % 10))
        return self.typed

    def kept(self) -> bool:
        return f'"{self.typed}"' in "".join(
            self.read(f"drafts/{p.name}") for p in (self.open / "drafts").glob("*.toml")
        )


class Building(Hand):
    """A build in hand, paused and gone on with. What cannot be kept is not taken, and told."""

    def begin(self) -> None:
        self.app.keys("2")
        assert self.app.shows("Rebuild the clutch", 30), self.app.text()
        self.app.keys("enter")
        assert self.app.shows("step 1 of", 30), self.app.text()

    def go_on(self) -> str:
        self.app.keys("p")
        return "Full rebuild"

    def again(self) -> None:
        self.app.keys("p")

    def kept(self) -> bool:
        build = tomllib.loads(self.read("build.toml"))
        paused = "PAUSED" in self.app.text()
        return "started_at" in build and paused == ("worked_since" not in build)


class Heat(Hand):
    """A running heat, with laps tapped."""

    taps = 0
    _at = 0.0

    def begin(self) -> None:
        self.app.keys("h")
        assert self.app.shows("Start a heat", 30), self.app.text()
        self.app.keys("Z", "9", "f2")
        assert self.app.shows("Z9 running", 30), self.app.text()
        self.go_on()

    def go_on(self) -> str:
        self.app.drain(max(0.0, self._at + 2.3 - time.perf_counter()))
        self.app.keys("space")
        # From when the app has taken it: sooner, the next would be a second hit of the crossing.
        self.app.answer(10)
        self._at = time.perf_counter()
        self.taps += 1
        return "Z9 running"

    def kept(self) -> bool:
        return len(tomllib.loads(self.read("heat.toml")).get("taps", ())) == self.taps


HANDS: dict[str, type[Hand]] = {"typing": Typing, "build": Building, "heat": Heat}


def _until(true: Callable[[], bool], app: Terminal, within: float = _WITHIN_S) -> bool:
    end = time.perf_counter() + within
    while not true():
        if app.code is not None or time.perf_counter() > end:
            return False
        app.drain(0.05)
    return True


def put_away_messages(app: Terminal) -> None:
    """Click on what the app says in passing, so that only what it says next is seen."""
    for _ in range(30):
        rows = [n for n, line in enumerate(app.lines()) if "▌" in line[SIZE[0] // 2 - 10 :]]
        if not rows:
            return
        app.mouse(SIZE[0] - 8, rows[-1])
        app.drain(0.2)


def suffer_once(kind: str, hand: Hand, place: Ground, tally: Tally) -> None:
    """Let the folder suffer one thing and be put right, and look at what the app makes of it."""
    app, what = hand.app, f"{type(hand).__name__.lower()}, {kind}"
    faults: list[str] = []

    put_away_messages(app)
    assert not re.search(SAID[kind], app.text()), f"{kind} is said already: {app.text()}"
    put_right = place.suffer(kind, app)
    if put_right is None:
        tally.not_tried.add(kind)
        return
    tally.tried += 1
    try:
        shown = hand.go_on()
        if not _until(lambda: bool(re.search(SAID[kind], app.text())), app):
            faults.append(f"does not say '{SAID[kind]}'")
        if not _until(lambda: shown in app.text(), app, 3.0):
            faults.append(f"does not show '{shown}'")
    finally:
        put_right()
    hand.again()
    if kind != "clock set back" and not _until(lambda: bool(_RIGHT.search(app.text())), app):
        faults.append("does not say that it is right again")
    if not _until(hand.kept, app):
        faults.append("what waited is not on the disk")
    if not _until(lambda: "not on the disk" not in app.text(), app, 3.0):
        faults.append("still says 'not on the disk'")
    if app.code is not None:
        faults.append(f"it ended with {app.code}")
    tally.faults += [f"{what}: {fault}\n{app.text()}" for fault in faults]


def work_through(work: str, kinds: Sequence[str], place: Ground, tally: Tally) -> None:
    """Open the app afresh, suffer each kind in turn, leave, and look at the folder."""
    place.fresh()
    before = {p.name: p.read_bytes() for p in (place.folder / "log").iterdir()}
    laptop = laptop_of(place.base)
    command = [sys.executable, "-c", _APP, "open", str(place.folder), str(place.clock)]
    with terminal(command, environment(place.base), SIZE) as app:
        assert app.shows("Timeline", 60), app.text()
        app.settle(10)
        hand = HANDS[work](app, place.folder, laptop)
        hand.begin()
        assert _until(hand.kept, app), app.text()
        for kind in kinds:
            suffer_once(kind, hand, place, tally)
            if app.code is not None:
                return
        app.keys("ctrl+q")
        if app.wait(15) != 0:
            tally.faults.append(f"{work}: ctrl+q ends it with {app.code}\n{app.text()}")
    if not hand.kept():
        tally.faults.append(f"{work}: in the end not all is on the disk")
    after = {p.name: p.read_bytes() for p in (place.folder / "log").iterdir()}
    if after != before:
        tally.faults.append(f"{work}: the records are others than before")
    read = read_folder(place.folder, laptop)
    errors = [str(p) for p in read.problems if p.weight == "error"]
    if read.weekend is None or errors:
        tally.faults.append(f"{work}: cannot be read: {errors}")


def run(times: int, seed: int, base: Path, works: Sequence[str], kinds: Sequence[str]) -> Tally:
    """Do every work under every kind, so many times."""
    rng, tally = random.Random(seed), Tally()
    with ground(base) as place:
        for _ in range(times):
            for work in works:
                work_through(work, rng.sample(kinds, len(kinds)), place, tally)
    return tally


def main() -> int:
    """Run from the command line; 1 when anything was lost or not said."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--seed", type=int, default=20260516)
    parser.add_argument("--works", nargs="+", choices=WORKS, default=WORKS)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS)
    arguments = parser.parse_args()
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as base:
        place = Path(base) / "ground"
        tally = run(arguments.times, arguments.seed, place, arguments.works, arguments.kinds)
    print(f"tried: {tally.tried}; not tried here: {', '.join(tally.not_tried) or 'nothing'}")
    print("\n\n".join(tally.faults) or "no fault")
    print(f"{time.monotonic() - started:.0f} s")
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
