"""A storm of keys, mouse, pastes, resizes and focus over the real program in a real terminal.

    python tests/trust/storm.py --events 100000 --seed 1 [--weekend demo --weekend sixty]

Nothing waits for the app to settle, as quick hands do not: most batches are one burst that goes out
at once (*full speed*), the others a few with 0 to 300 ms between them (*paused*). After each batch
the app has two seconds to answer (terminal.py says how it is asked), not counting those in which it
could have run and other programs had the processor. It may end only because it was left: by q, by
ctrl+q or from the list of all keys, with exit code 0; then it is opened again. A record may land
only in a batch that held a key or a click that keeps something (the monkey's rule:
moving, letters, pastes, sizes and time may not), and once there it is never changed.

What was sent since the app was opened, and the folder as it was then, make each failure again:
the events are cut down as far as it still fails (Zeller's delta debugging) and printed.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from trust.hard_weekends import WEEKENDS
from trust.kept import Kept, LostError
from trust.monkey import KEEPING_KEYS, LETTERS, MOVES, NAMES, OTHERS, SIZES, TEXTS, some_key
from trust.mutate import HOSTILE
from trust.terminal import HANG_S, PITWRIGHT, Terminal, environment, terminal

SITTING = 1000
"""Events after which the app is left and opened again."""

QUIET_KEYS = tuple(k for k in (*MOVES, *LETTERS, *OTHERS) if k not in KEEPING_KEYS)
AHEAD = 120
"""Events sent ahead of the app before it is let settle.

An answer shows that it lives, not that it has dealt with the keys that wait for their turn.
"""

_TO_A_SCREEN = ("escape", "escape", "escape")
JOBS: tuple[tuple[str, ...], ...] = (
    (*_TO_A_SCREEN, "1", "n", *"Grip up", "f2"),
    (*_TO_A_SCREEN, "3", *"10,15 10.14", "ctrl+s"),
    (*_TO_A_SCREEN, "1", "h", "f2", "space", "space", "escape", "h", "f2"),
    (*_TO_A_SCREEN, "1", "c", *"1.42", "f2"),
    (*_TO_A_SCREEN, "2", "enter", "enter", "space", "enter", "space"),
    (*_TO_A_SCREEN, "1", "x", "y"),
)
"""What is done on purpose among it, as quickly as the rest, so that records land and are undone."""

PAUSED, QUIET, PURPOSE = 0.15, 0.08, 0.02
"""Shares of the batches with pauses, of those that may not keep anything, of jobs among events."""

_JOB = 2_500
_OPENS_S = 60.0
_ASKED_AGAIN_S = 5.0
_LEAVES_S = 60.0
_REPLAYS = 60

Event = tuple[str, ...] | tuple[str, int, int] | tuple[str, int, int, int] | tuple[str, float]


@dataclass(frozen=True)
class Failure:
    """What went wrong, in words that a replay can compare, and what is known beside."""

    what: str
    more: str = ""


@dataclass
class Storm:
    """One weekend in the storm."""

    weekend: str
    seed: int
    folder: Path
    program: str
    env: dict[str, str]
    rng: random.Random
    kinds: Counter[str] = field(default_factory=Counter)
    answers: list[tuple[float, float]] = field(default_factory=list)
    asked_again: list[float] = field(default_factory=list)
    batches: Counter[str] = field(default_factory=Counter)
    landed: int = 0
    sittings: int = 0
    left: int = 0
    failures: list[tuple[Failure, list[Event]]] = field(default_factory=list)

    @property
    def done(self) -> int:
        return sum(self.kinds.values())


# What is sent


def _an_event(rng: random.Random, size: tuple[int, int], quiet: bool) -> Event:
    """Return one thing that hands do; a quiet one may not keep anything."""
    roll = rng.random()
    at = (rng.randrange(size[0]), rng.randrange(size[1]))
    if roll < 0.78:
        return ("key", rng.choice(QUIET_KEYS) if quiet else some_key(rng))
    if roll < 0.782 and not quiet:
        return ("key", rng.choice(("q", "ctrl+q")))
    if roll < 0.83:
        return ("key", "escape") if quiet else ("text", rng.choice(TEXTS))
    if roll < 0.90:
        return ("mouse", *at, rng.choice((35, 64, 65)) if quiet else rng.choice((0, 0, 0, 2)))
    if roll < 0.92:
        return ("mouse", *at, rng.choice((35, 64, 65)))
    if roll < 0.955:
        return ("resize", *rng.choice((*SIZES, (rng.randrange(20, 251), rng.randrange(5, 81)))))
    if roll < 0.98:
        return ("paste", rng.choice((*HOSTILE, *TEXTS, "18.1\n18.2\n18.3")))
    return ("focus", rng.choice(("in", "out")))


def send(app: Terminal, event: Event) -> None:
    """Do one thing to the app, at once."""
    match event:
        case ("key", str(name)):
            app.keys(name)
        case ("text", str(text)):
            app.send(text.encode())
        case ("mouse", int(x), int(y), int(button)):
            app.mouse(x, y, button)
        case ("resize", int(columns), int(rows)):
            app.resize(columns, rows)
        case ("paste", str(text)):
            app.paste(text)
        case ("focus", str(way)):
            app.focus(way == "in")
        case ("pause", float(seconds)):
            app.drain(seconds)
        case _:
            raise ValueError(event)


def _a_batch(rng: random.Random, size: tuple[int, int], pace: str, quiet: bool) -> list[Event]:
    """Return bursts of events, pauses among them when they are paused."""
    batch: list[Event] = []
    for _ in range(1 if pace == "full speed" else rng.randint(2, 5)):
        burst = rng.randint(1, 60 if pace == "full speed" else 10)
        for _ in range(burst):
            if not quiet and rng.random() < PURPOSE:
                batch += [("key", NAMES.get(key, key)) for key in rng.choice(JOBS)]
            batch.append(_an_event(rng, size, quiet))
            match batch[-1]:
                case ("resize", int(columns), int(rows)):
                    size = columns, rows
        if pace == "paused":
            batch.append(("pause", round(rng.uniform(0, 0.3), 3)))
    return batch


# What must hold


def _how_it_ended(app: Terminal, folder: Path) -> Failure | None:
    """Return what is wrong with an end; None when it was left as one leaves it."""
    if app.code == 0:
        return None
    reports = sorted((folder / "crash-reports").glob("*"), key=lambda p: p.stat().st_mtime)
    if not reports:
        return Failure(f"ended with {app.code}", bytes(app.seen[-600:]).decode(errors="replace"))
    text = reports[-1].read_text(encoding="utf-8")
    lines = [ln for ln in text.splitlines() if ln and not ln.startswith((" ", "\t"))]
    why = next((ln for ln in reversed(lines) if "Error" in ln or "NoMatches" in ln), lines[-1])
    return Failure(f"ended with {app.code}: {why[:160]}", text)


def _opened(app: Terminal) -> None:
    app.until(lambda seen: b"Timeline \xc2\xb7 " in seen)


def _leave(app: Terminal, folder: Path) -> Failure | None:
    """Leave the app from wherever it is; return what is wrong with how it ends."""
    app.settle(_LEAVES_S)
    app.keys("ctrl+q")
    app.wait(_LEAVES_S)
    return Failure("cannot be left", app.text()) if app.code is None else _how_it_ended(app, folder)


class Sitting:
    """The app from opening to leaving, and what was sent to it."""

    def __init__(
        self,
        app: Terminal,
        folder: Path,
        answers: list[tuple[float, float]],
        asked_again: list[float],
    ) -> None:
        self.app = app
        self.folder = folder
        self.sent: list[Event] = []
        self._ahead = 0
        self.answers = answers
        self.asked_again = asked_again

    def batch(self, events: Sequence[Event]) -> Failure | None:
        """Send events and ask for an answer; return what went wrong."""
        for event in events:
            if self.app.code is not None:
                break
            self.sent.append(event)
            send(self.app, event)
        failure = self.answered()
        self._ahead += len(events)
        if failure is None and self._ahead > AHEAD:
            self.app.settle(_LEAVES_S)
            self._ahead = 0
        return failure if self.app.code is None else _how_it_ended(self.app, self.folder)

    def answered(self) -> Failure | None:
        """Ask for an answer; return what is wrong with it. It may have been left."""
        app = self.app
        begun, waited = time.perf_counter(), app.kept_waiting_s()
        came = app.answer(_ASKED_AGAIN_S) is not None
        if not came and app.code is None:  # of two sizes in one breath it may not hear the second
            self.asked_again.append(time.perf_counter() - begun)
            begun, waited = time.perf_counter(), app.kept_waiting_s()
            came = app.answer(_OPENS_S) is not None
        took, elsewhere = time.perf_counter() - begun, app.kept_waiting_s() - waited
        if came:
            self.answers.append((took, took - elsewhere))
        if app.code is None and not (came and took - elsewhere <= HANG_S):
            when = f"after {took:.1f} s" if came else "never"
            return Failure("hang", f"answered {when}; for {elsewhere:.1f} s others were running")
        app.forget()
        return None if app.code is None else _how_it_ended(app, self.folder)


def run_storm(
    weekend: str,
    events: int,
    seed: int,
    scratch: Path,
    *,
    minimise: bool = True,
    program: str = PITWRIGHT,
) -> Storm:
    """Let the storm at one weekend; return it with the failures it found.

    ``scratch`` may be shared with others of another weekend or seed: what is compiled there serves
    them all.
    """
    place = scratch / f"{weekend}-{seed}"
    place.mkdir()
    folder = place / weekend
    WEEKENDS[weekend](folder)
    env = environment(place) | {"PYTHONPYCACHEPREFIX": str(scratch / "compiled")}
    rng = random.Random(f"storm-{weekend}-{seed}")
    storm = Storm(weekend, seed, folder, program, env, rng)
    kept = Kept(folder)
    while storm.done < events:
        before = place / f"before-{weekend}"
        shutil.rmtree(before, ignore_errors=True)
        shutil.copytree(folder, before)
        shutil.rmtree(folder / "crash-reports", ignore_errors=True)
        storm.sittings += 1
        failure, sent = _one_sitting(storm, kept, min(events, storm.done + SITTING))
        if failure is not None:
            if minimise:
                sent = minimised(storm, before, sent, failure)
            storm.failures.append((failure, sent))
    return storm


def _one_sitting(storm: Storm, kept: Kept, until: int) -> tuple[Failure | None, list[Event]]:
    """Open the app, let the storm at it and leave; return what went wrong, and what was sent."""
    command = [storm.program, "open", str(storm.folder)]
    known = len(kept.look())
    with terminal(command, storm.env, folder=Path(storm.env["HOME"])) as app:
        sitting = Sitting(app, storm.folder, storm.answers, storm.asked_again)
        try:
            failure = _stormed(storm, sitting, kept, until)
            if failure is None and app.code is None:
                failure = _leave(app, storm.folder)
            else:
                storm.left += failure is None
            storm.landed += len(kept.look()) - known
        except LostError as error:
            failure = Failure("lost", str(error))
    return failure, sitting.sent


def _stormed(storm: Storm, sitting: Sitting, kept: Kept, until: int) -> Failure | None:
    rng, app = storm.rng, sitting.app
    _opened(app)
    failure = None
    while failure is None and storm.done < until and app.code is None:
        pace = "paused" if rng.random() < PAUSED else "full speed"
        quiet = rng.random() < QUIET
        if quiet:
            # What was asked for before has landed by now.
            app.settle()
            failure = sitting.answered()
            if failure is not None or app.code is not None:
                break
        known = kept.look() if quiet else set()
        batch = _a_batch(rng, app.size, pace, quiet)
        failure = sitting.batch(batch)
        storm.kinds.update(f"{e[0]}" for e in batch if e[0] != "pause")
        storm.batches[f"{pace}{', nothing that keeps' if quiet else ''}"] += 1
        if quiet and failure is None and (new := kept.look() - known):
            failure = Failure("unasked record", f"{new} in {batch}")
    return failure


# Cutting a failure down


def replay(storm: Storm, before: Path, events: Sequence[Event]) -> Failure | None:
    """Do the same once more, in a copy of the folder as it was; return what went wrong."""
    with tempfile.TemporaryDirectory(dir=before.parent) as again:
        folder = Path(again) / before.name
        shutil.copytree(before, folder)
        command = [storm.program, "open", str(folder)]
        with terminal(command, storm.env, folder=Path(storm.env["HOME"])) as app:
            _opened(app)
            return Sitting(app, folder, [], []).batch(events) if app.code is None else None


def minimised(storm: Storm, before: Path, events: list[Event], failure: Failure) -> list[Event]:
    """Return as few of the events as were found to fail in the same way."""
    left = _REPLAYS

    def fails(some: list[Event]) -> bool:
        nonlocal left
        for _ in range(2):  # what hangs on a race does not fail every time
            if left <= 0:
                return False
            left -= 1
            found = replay(storm, before, some)
            if found is not None and found.what == failure.what:
                return True
        return False

    for tail in (30, 120, len(events)):
        if fails(events[-tail:]):
            return _ddmin(events[-tail:], fails)
        if tail >= len(events):
            break
    return events


def _ddmin(events: list[Event], fails: Callable[[list[Event]], bool]) -> list[Event]:
    parts = 2
    while len(events) >= 2:
        size = -(-len(events) // parts)
        for start in range(0, len(events), size):
            rest = events[:start] + events[start + size :]
            if rest and fails(rest):
                events, parts = rest, max(parts - 1, 2)
                break
        else:
            if size == 1:
                break
            parts = min(parts * 2, len(events))
    return events


# The report


def _spread(seconds: list[float]) -> str:
    found = sorted(seconds) or [float("nan")]
    middle, most = found[len(found) // 2], found[int(len(found) * 0.99)]
    return f"median {middle:.3f} s, 99 % within {most:.2f} s, worst {found[-1]:.2f} s"


def told(storm: Storm) -> str:
    """Return what one weekend's storm did and found."""
    kinds = ", ".join(f"{n} {kind}" for kind, n in storm.kinds.most_common())
    paces = ", ".join(f"{n} {pace}" for pace, n in storm.batches.most_common())
    lines = [
        f"{storm.weekend}, seed {storm.seed}: {storm.done} events ({kinds})",
        f"  {sum(storm.batches.values())} batches ({paces}); {storm.sittings} sittings, "
        f"{storm.left} left by a key of the storm; {storm.landed} records",
        f"  answers, by the clock: {_spread([took for took, _ in storm.answers])}",
        f"  answers, of the app: {_spread([own for _, own in storm.answers])} "
        f"(a hang: over {HANG_S:.0f} s); asked again {len(storm.asked_again)} times",
    ]
    for failure, events in storm.failures:
        lines.append(f"  FAILURE: {failure.what}\n    {failure.more.strip()[-3000:]}")
        lines.append(f"    by {len(events)} events: {events}")
    return "\n".join(lines)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--events", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1, help="of the first job; others count on")
    parser.add_argument("--weekend", choices=sorted(WEEKENDS), action="append")
    parser.add_argument("--workers", type=int, default=2, help="sessions side by side")
    parser.add_argument("--no-minimise", action="store_true", help="tell failures as they came")
    parser.add_argument("--program", default=PITWRIGHT, help="another pitwright to try")
    chosen = parser.parse_args()
    weekends = chosen.weekend or list(WEEKENDS)
    total, found, begun = 0, Counter[str](), time.perf_counter()
    with tempfile.TemporaryDirectory() as scratch, ThreadPoolExecutor(chosen.workers) as pool:
        jobs = []
        for number in range(-(-chosen.events // _JOB)):
            weekend = weekends[number % len(weekends)]
            jobs.append(
                pool.submit(
                    run_storm,
                    weekend,
                    min(_JOB, chosen.events - number * _JOB),
                    chosen.seed + number,
                    Path(scratch),
                    minimise=not chosen.no_minimise,
                    program=chosen.program,
                )
            )
        for job in as_completed(jobs):
            storm = job.result()
            print(told(storm), flush=True)
            total += storm.done
            found.update(failure.what.partition(" with ")[0] for failure, _ in storm.failures)
    took = (time.perf_counter() - begun) / 60
    seeds = f"seeds {chosen.seed} to {chosen.seed + len(jobs) - 1}"
    print(f"{total} events, {seeds}, {took:.0f} min: {dict(found) or 'no failures'}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
