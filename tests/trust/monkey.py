"""A monkey at the keys: random keys, clicks, pastes, resizes and focus changes over the app.

    python tests/trust/monkey.py --keys 20000 --seed 1

Each weekend of hard_weekends.py gets its share of the keys. Nothing may raise; the folder stays in
order; a record, once written, is never changed; every record in the log was acknowledged to the
app; and none lands but by an action that says it keeps something. Leaving the app opens the folder
again, as does the killer in another test. A fault is told with weekend, seed and number of the
event, so that the same command finds it again.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import sys
import tempfile
import traceback
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from factory import LAPTOP
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input
from trust.hard_weekends import WEEKENDS
from trust.kept import Kept, LostError
from trust.mutate import HOSTILE

from pitwright.app.app import PitwrightApp
from pitwright.store.session import Session
from pitwright.weekend.records import Record

SIZES = ((20, 5), (30, 8), (40, 12), (60, 16), (80, 24), (80, 24), (100, 30), (140, 40), (250, 80))
MOVES = (
    "up", "down", "left", "right", "tab", "shift+tab", "home", "end", "pageup", "pagedown",
    "escape", "escape", "backspace", "delete", "ctrl+home", "ctrl+end", "shift+left",
)  # fmt: skip
DEEDS = ("enter", "enter", "enter", "space", "y", "n", "f2", "ctrl+s")
OTHERS = (
    "f1", "f3", "f4", "f5", "f6", "f8", "f9", "f12", "ctrl+z", "ctrl+y", "ctrl+g", "ctrl+p",
    "ctrl+u", "ctrl+k", "ctrl+w", "question_mark", "colon", "slash", "minus", "plus", "full_stop",
    "comma", "less_than_sign", "greater_than_sign", "left_square_bracket", "right_square_bracket",
    "ctrl+underscore", "alt+x", "insert", "exclamation_mark", "quotation_mark",
)  # fmt: skip
LETTERS = tuple("abcdefghijklmnoprstuvwxz") + tuple("ABCDEFGHKLMNPRSTUW")
DIGITS = tuple("1234567") * 2 + tuple("089")
TEXTS = (
    "10.15", "10,15 10.18", "1.35", "0.25", "8", "12:30", "Q7", "S2", "0.1 0.2", "12000", "yes",
    "rain", "5", "24", "0.4 in", "999999", "-1", "18.2 18.3 18.4", "Sat 10:30", "P1",
)  # fmt: skip
NAMES = {
    " ": "space", ".": "full_stop", ",": "comma", "-": "minus", ":": "colon", "/": "slash",
}  # fmt: skip

# What may keep a record: the keys that confirm, a click, and the digits that a question or a list
# offers beside its answers. Moving, typing, pasting, other sizes and the passing of time may not.
KEEPING_KEYS = frozenset(("enter", "y", "space", "f2", "ctrl+s"))
KEEPING_ACTIONS = ("Confirm.dismiss(True)", "Pick.number(")


def some_key(rng: random.Random) -> str:
    """Return a key, some more often than others."""
    kind = rng.random()
    return rng.choice(
        MOVES if kind < 0.34 else DEEDS if kind < 0.52 else LETTERS if kind < 0.82
        else DIGITS if kind < 0.92 else OTHERS
    )  # fmt: skip


@dataclass
class Clock:
    """A clock that the monkey puts on."""

    now: datetime

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Monkey:
    """One weekend under the monkey's hands."""

    weekend: str
    seed: int
    folder: Path
    clock: Clock
    rng: random.Random
    kept: Kept
    acknowledged: set[str] = field(default_factory=set)
    doing: str = "nothing"
    allowed: bool = False
    done: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    landed: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    def look(self) -> None:
        """Hold the folder to what is promised of it."""
        names = self.kept.look()
        if names != self.acknowledged:
            raise LostError(f"records nobody was told of: {names ^ self.acknowledged}")

    def watch(self, session: Session) -> None:
        """Note every record on its way into the log, and what was done for it."""
        append = session.append

        def noted(record: Record) -> Record:
            landed = append(record)
            self.acknowledged.add(landed.id)
            self.landed[f"{self.doing} -> {getattr(record, 'kind', '?')}"] += 1
            if not self.allowed:
                self.faults.append(f"a record of {record!r:.60} landed by {self.doing}")
            return landed

        session.append = noted  # type: ignore[method-assign,assignment]


def _typing(app: PitwrightApp, key: str) -> bool:
    return isinstance(app.focused, Input) and (len(key) == 1 or key in NAMES.values())


async def _press(monkey: Monkey, pilot: Pilot[Any], app: PitwrightApp, key: str) -> None:
    active = app.screen.active_bindings.get(key)
    action = active.binding.action if active is not None else ""
    typing = _typing(app, key)
    where = type(app.screen).__name__
    monkey.doing = f"{where}: {'typing' if typing else action or 'key'} ({key})"
    monkey.allowed = not typing and (
        key in KEEPING_KEYS or f"{where}.{action}".startswith(KEEPING_ACTIONS)
    )
    await pilot.press(key)


async def _one(monkey: Monkey, pilot: Pilot[Any], app: PitwrightApp) -> None:
    """Do one thing."""
    rng = monkey.rng
    roll = rng.random()
    size = app.size
    if roll < 0.80:
        monkey.kinds["key"] += 1
        await _press(monkey, pilot, app, some_key(rng))
    elif roll < 0.85:
        monkey.kinds["text"] += 1
        for sign in rng.choice(TEXTS):
            if app._exit:
                return
            await _press(monkey, pilot, app, NAMES.get(sign, sign))
    elif roll < 0.93:
        x, y = rng.randrange(max(size.width, 1)), rng.randrange(max(size.height, 1))
        monkey.kinds["click"] += 1
        monkey.doing, monkey.allowed = f"{type(app.screen).__name__}: click", True
        await pilot.click(offset=(x, y), times=rng.choice((1, 1, 1, 2)))
    elif roll < 0.955:
        monkey.kinds["resize"] += 1
        monkey.doing, monkey.allowed = "resize", False
        width, height = rng.choice((*SIZES, (rng.randrange(20, 251), rng.randrange(5, 81))))
        await pilot.resize_terminal(width, height)
    elif roll < 0.97:
        monkey.kinds["paste"] += 1
        monkey.doing, monkey.allowed = "paste", False
        app.post_message(events.Paste(rng.choice((*HOSTILE, *TEXTS, "18.1\n18.2\n18.3"))))
        await pilot.pause()
    elif roll < 0.98:
        monkey.kinds["focus"] += 1
        monkey.doing, monkey.allowed = "focus", False
        app.post_message(rng.choice((events.AppBlur, events.AppFocus))())
        await pilot.pause()
    elif roll < 0.99:
        monkey.kinds["hover"] += 1
        monkey.doing, monkey.allowed = "hover", False
        await pilot.hover(
            offset=(rng.randrange(max(size.width, 1)), rng.randrange(max(size.height, 1)))
        )
    else:
        monkey.kinds["time"] += 1
        monkey.doing, monkey.allowed = "time", False
        monkey.clock.now += timedelta(seconds=rng.choice((1, 30, 240, 900)))
        await pilot.pause()


async def _sitting(monkey: Monkey, keys: int) -> None:
    """Open the app and work until it is left, or all keys are done."""
    with Session(monkey.folder, laptop=LAPTOP, clock=monkey.clock) as session:
        monkey.watch(session)
        app = PitwrightApp(session, clock=monkey.clock)
        size = monkey.rng.choice(SIZES)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            while monkey.done < keys and not app._exit:
                monkey.done += 1
                await _one(monkey, pilot, app)
                if app._exception is not None:
                    break
                if monkey.done % 200 == 0:
                    await pilot.pause()
                    monkey.look()
    monkey.look()


def run_monkey(weekend: str, keys: int, seed: int, scratch: Path) -> Monkey:
    """Let the monkey at one weekend; return it with the faults it found."""
    folder = scratch / weekend
    clock = Clock(WEEKENDS[weekend](folder))
    rng = random.Random(f"{weekend}-{seed}")
    monkey = Monkey(weekend, seed, folder, clock, rng, Kept(folder))
    monkey.acknowledged = monkey.kept.look()
    # Folders the app may look into, or write into when a path is typed, are ours.
    home, before = scratch / f"home-{weekend}", Path.cwd()
    home.mkdir()
    kept = {name: os.environ.get(name) for name in ("HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME")}
    os.environ.update(dict.fromkeys(kept, str(home)))
    os.chdir(home)
    try:
        while monkey.done < keys:
            started = monkey.done
            try:
                asyncio.run(_sitting(monkey, keys))
            except Exception as error:
                trace = "".join(traceback.format_exception(error)[-6:])
                monkey.faults.append(
                    f"{type(error).__name__}: {error!s:.300} at event {monkey.done} "
                    f"({monkey.doing})\n{trace}"
                )
                break
            if monkey.done == started:
                monkey.faults.append("the app ends as soon as it starts")
                break
    finally:
        os.chdir(before)
        for name, value in kept.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
    return monkey


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--keys", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--weekend", choices=sorted(WEEKENDS), action="append")
    parser.add_argument("--landed", action="store_true", help="list what kept records")
    arguments = parser.parse_args()
    chosen = arguments.weekend or list(WEEKENDS)
    share = -(-arguments.keys // len(chosen))
    total = faults = 0
    landed: Counter[str] = Counter()
    for weekend in chosen:
        with tempfile.TemporaryDirectory() as scratch:
            monkey = run_monkey(weekend, share, arguments.seed, Path(scratch))
        total += monkey.done
        faults += len(monkey.faults)
        landed += monkey.landed
        kinds = ", ".join(f"{n} {kind}" for kind, n in monkey.kinds.most_common())
        print(f"{weekend}: {monkey.done} events ({kinds}), {sum(monkey.landed.values())} records",
              flush=True)  # fmt: skip
        for fault in monkey.faults:
            print(f"  FAULT, weekend {weekend}, seed {arguments.seed}: {fault}", flush=True)
    if arguments.landed:
        for what, count in landed.most_common():
            print(f"{count:6d}  {what}")
    print(f"{total} events, seed {arguments.seed}, {sum(landed.values())} records: {faults} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
