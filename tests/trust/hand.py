"""A hand that works on the app in a terminal, and remembers what it saw there and when.

Whatever the screen shows as done is a claim on the disk from that moment on: a tick, a heat that
runs, a tap that is counted, a text typed into a form, a record that was kept. What a key is about
to undo is claimed no more, until the screen shows how it came out.
"""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from trust.left_behind import LeftBehind
from trust.terminal import Terminal

__all__ = ["JOBS", "Claim", "Hand"]

_MARKS = re.compile(r" (?:[✓–!·]|\[[✓–!·]\])(?: (?:[✓–!·]|\[[✓–!·]\]))+$")
_RUNNING = re.compile(r"^ (\S+) (running|stopped, not kept yet)  (\d+):(\d\d)(.*)$", re.MULTILINE)
_LAPS = re.compile(r"laps (\d+)")


@dataclass(frozen=True)
class Claim:
    """Something seen: what, when by this clock, and how long its app had waited for a processor."""

    kind: str
    words: str
    at: float
    waited: float
    holds: Callable[[LeftBehind], bool]


@dataclass
class Hand:
    """Works until it has seen so much, or until its time is over."""

    app: Terminal
    rng: random.Random
    goal: int
    end: float
    claims: dict[tuple[str, str], Claim] = field(default_factory=dict)
    _unsure: set[tuple[str, str]] = field(default_factory=set)
    _text: str = ""
    _read_at: float = 0.0
    _drawn: int = -1

    @property
    def over(self) -> bool:
        """Whether the moment has come."""
        enough = len(self.claims) >= self.goal or time.perf_counter() >= self.end
        return enough or self.app.code is not None

    # Seeing

    def look(self, seconds: float = 0.0) -> str:
        """Return what the screen shows, once something new came or so much time has passed."""
        if self.app.code is None and self.app.read(seconds):
            self._read_at = time.perf_counter()
        if len(self.app.seen) != self._drawn:
            self._text, self._drawn = self.app.text(), len(self.app.seen)
            self._notice(self._text)
        return self._text

    def see(self, shown: Callable[[str], object], within: float = 4.0) -> bool:
        """Wait until the screen shows something; False when it does not, or the time is over."""
        end = time.perf_counter() + within
        while not shown(self.look(0.02)):
            if self.over or time.perf_counter() > end:
                return False
        return True

    def claim(self, kind: str, words: str, holds: Callable[[LeftBehind], bool]) -> None:
        """Note that something is on the screen, the first time it is."""
        key = kind, words
        if key not in self.claims and key not in self._unsure:
            waited = self.app.kept_waiting_s(all_threads=True)
            self.claims[key] = Claim(kind, words, self._read_at, waited, holds)

    def withdraw(self, kind: str, words: str) -> None:
        """Claim something no more, a key being about to undo it."""
        self.claims.pop((kind, words), None)
        self._unsure.add((kind, words))

    def sure(self, kind: str, words: str) -> None:
        """Claim something again when it is seen; it was seen to be undone."""
        self._unsure.discard((kind, words))

    def _notice(self, text: str) -> None:
        """Claim everything that stands there as done."""
        if text.startswith(" Build ·"):
            for at, done in enumerate(ticks(text)):
                if done:
                    self.claim("tick", f"step {at + 1}", lambda left, at=at: left.ticked(at))
        running = _RUNNING.search(text)
        if running is None:
            return
        name, state, minutes, seconds, rest = running.groups()
        age, now = int(minutes) * 60 + int(seconds), datetime.now(UTC).timestamp()
        if state == "running":
            self.claim("heat", name, lambda left: left.runs(name, now - age))
        else:
            self.claim("stop", name, lambda left: left.stopped(name))
        laps = _LAPS.search(rest)
        if laps is not None:
            taps = int(laps[1]) + 1
            self.claim("tap", f"{name} {taps}", lambda left: left.tapped(name) >= taps)

    # Doing

    def press(self, *keys: str) -> None:
        """Press keys, unless the moment has come."""
        if not self.over:
            self.app.keys(*keys)

    def pause(self) -> None:
        """Do nothing for a moment, or not even that; keep looking."""
        end = time.perf_counter() + self.rng.choice((0.0, 0.0, self.rng.uniform(0, 0.12)))
        while not self.over and (left := end - time.perf_counter()) > 0:
            self.look(left)

    def leave(self) -> bool:
        """Leave whatever can be typed into; escape and a letter at once would be another key."""
        for _ in range(4):
            text = self.look()
            if "╭" not in text and "Letter keys" not in text:
                return True
            self.press("escape")
            self.see(lambda now, was=text: now != was, 0.5)
        return False

    def go(self, key: str, title: str) -> bool:
        """Go to a screen."""
        if not self.leave():
            return False
        self.press(key)
        return self.see(lambda text: text.startswith(f" {title} ·"))

    def word(self) -> str:
        """Return a word that nobody has typed before."""
        return f"w{self.rng.randrange(10**6):06d}"

    def type(self, text: str, shown_from: int = 4) -> bool:
        """Type a text; from so many signs on it is unlike any other, and claimed as it grows."""
        for count in range(1, len(text) + 1):
            if self.over:
                return False
            typed = text[:count]
            self.press(typed[-1])
            if count >= shown_from:
                if not self.see(lambda now, typed=typed: typed in now, 2.0):
                    return False
                self.claim("draft", typed, lambda left, typed=typed: left.typed(typed))
            self.pause()
        return True

    def keep(self, word: str, key: str, kept: Callable[[str], object]) -> None:
        """Keep what was typed, and claim the record once the screen says that it is kept."""
        self.press(key)
        if self.see(kept):
            self.claim("record", word, lambda left: left.recorded(word))


def ticks(text: str) -> list[bool]:
    """Return which steps the line of marks shows as done."""
    line = next((line for line in text.splitlines() if _MARKS.fullmatch(line)), "")
    return [mark == "✓" for mark in line if mark in "✓–!·"]


def _no_form(text: str) -> bool:
    return "╭" not in text


# What it does


def read(hand: Hand) -> None:
    """Measure a spring and keep the reading."""
    if not hand.go("3", "Measure"):
        return
    number = f"9.93{hand.rng.randrange(10**5):05d}"
    if hand.see(lambda text: "Letter keys" in text) and hand.type(number, 6):
        hand.keep(number, "ctrl+s", lambda text: "reading kept" in text)


def build(hand: Hand) -> None:
    """Begin a build or go on with it: tick, and undo again where the ticks get many."""
    if not hand.go("2", "Build"):
        return
    for _ in range(3):
        if not ticks(hand.look()):
            hand.press("enter")
            hand.see(ticks, 2.0)
    while not hand.over and (count := sum(ticks(hand.look()))) < 5:
        hand.press(hand.rng.choice(("space", "enter")))
        if not hand.see(lambda text, count=count: sum(ticks(text)) > count, 2.0):
            return
        hand.pause()
    done = [at for at, tick in enumerate(ticks(hand.look())) if tick]
    for at in reversed(done[hand.rng.randrange(len(done) or 1) :]):
        hand.press("up")
        hand.see(lambda text, at=at: f"step {at + 1} of" in text, 2.0)
        hand.withdraw("tick", f"step {at + 1}")
        hand.press("u")
        if not hand.see(lambda text, at=at: ticks(text)[at : at + 1] != [True], 2.0):
            return
        hand.claim("tick", f"step {at + 1} open", lambda left, at=at: not left.ticked(at))


def heat(hand: Hand) -> None:
    """Start a heat, tap at the line, take a tap back, stop, fill in and keep."""
    if not hand.go("1", "Timeline"):
        return
    if _RUNNING.search(hand.look()) is None:
        name = f"K{hand.rng.randrange(10**5):05d}"
        hand.press("h")
        if not (hand.see(lambda text: "Start a heat" in text) and hand.type(name, 5)):
            return
        hand.press("f2")
    hand.see(_RUNNING.search)
    for _ in range(hand.rng.randrange(1, 4)):
        found = _RUNNING.search(hand.look())
        if found is None or found[2] != "running":
            break
        laps = _LAPS.search(found[5])
        if laps is not None:
            taken_back = f"{found[1]} {int(laps[1]) + 1}"
            hand.withdraw("tap", taken_back)
            hand.press("u")
            if not hand.see(lambda text, was=found[5]: was not in text, 2.0):
                return
            hand.sure("tap", taken_back)
        before = _LAPS.findall(hand.look())
        hand.press("space")
        hand.see(lambda text, before=before: _LAPS.findall(text) != before, 2.0)
        hand.pause()
    found = _RUNNING.search(hand.look())
    hand.press("h")
    if found is None or not hand.see(lambda text: "fill in what you know" in text):
        return
    name = found[1]
    hand.claim("stop", name, lambda left: left.stopped(name))
    hand.press("down", "down", "down", "down", "down")
    if hand.type(hand.word()):
        hand.keep(name, "f2", _no_form)


def note(hand: Hand) -> None:
    """Write a note."""
    if not hand.go("1", "Timeline"):
        return
    hand.press("n")
    if hand.see(lambda text: "A note" in text):
        word = hand.word()
        if hand.type(word):
            hand.keep(word, "f2", _no_form)


def clock(hand: Hand) -> None:
    """Start a timer, and begin to say that the schedule runs late."""
    if not hand.go("1", "Timeline"):
        return
    hand.press("k")
    hand.see(lambda text: text.startswith(" Pit clock ·"))
    hand.press("t")
    if hand.see(lambda text: "A timer of your own" in text):
        word = hand.word()
        hand.press("9", "9", "down")
        if hand.type(word):
            hand.press("f2")
            if hand.see(_no_form):
                hand.claim("timer", word, lambda left: left.timed(word))
    hand.press("d")
    if hand.see(lambda text: "schedule runs late" in text):
        hand.press("down", "down")
        hand.type(hand.word())


def switch(hand: Hand) -> None:
    """Look at another screen."""
    hand.go(*hand.rng.choice((("4", "Bite"), ("5", "Shims"), ("7", "Day sheet"))))


def begin(hand: Hand) -> None:
    """Begin to say what a new weekend is, at the start where no weekend is open."""
    hand.press("n")
    if hand.see(lambda text: "A new weekend" in text):
        hand.type(hand.word())
        hand.press("down")
        hand.type(hand.word())


JOBS: dict[str, Callable[[Hand], None]] = {
    "read": read,
    "build": build,
    "heat": heat,
    "clock": clock,
    "note": note,
    "begin": begin,
}
"""What a hand can do, by name; ``begin`` is done where no weekend is open."""
