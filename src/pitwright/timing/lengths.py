"""From times as written to lengths of laps: units, passing times, midnight, doubled lines."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import mean, median
from typing import Literal

from pitwright.timing.text import RejectedLine, rejected
from pitwright.timing.times import TimeCell, lap_fault, read_time

Kind = Literal["lap times", "passing times"]

DAY = 86_400.0
PLAINLY_MILLISECONDS = 5_000.0
PLAINLY_SECONDS = 300.0
_MOST_SUMMARIES = 4
_SHORTEST_STEP = 5.0
"""Laps do not get quicker by as many seconds each, three in a row."""
_FEWEST_BESIDE_BLANK = 3
_SEVERAL = "several lines carry each lap number"
_EXACT = 0.0006
"""Two times to a thousandth that are the same differ by no more, in seconds."""
_THOUSANDTHS = re.compile(r"[.,]\d{3}(?!\d)")


@dataclass(frozen=True)
class Entry:
    """One cell that should hold a time, and the line it stands on.

    mark: what stands beside it in a cell of its own. alone: a blank line stands above it.
    """

    line: int
    text: str
    driver: str
    lap: int | None
    cell: str
    heat: str = ""
    mark: str = ""
    alone: bool = False


@dataclass(frozen=True)
class Lengths:
    """Laps in seconds, what was refused, and how the times were written.

    marks: what stood beside a lap, by its number from 1.
    """

    laps: tuple[float, ...]
    marks: dict[int, str]
    rejected: tuple[RejectedLine, ...]
    kind: Kind
    notation: str
    decimal: str
    notes: tuple[str, ...]


@dataclass
class _Work:
    """Times of one driver on the way to laps; a None value marks where one could not be read."""

    entries: list[Entry] = field(default_factory=list)
    marks: dict[Entry, str] = field(default_factory=dict)
    thousandths: bool = False
    values: list[float | None] = field(default_factory=list)
    refused: list[RejectedLine] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def refuse(self, entry: Entry, reason: str) -> None:
        self.refused.append(rejected(entry.line, entry.text, reason))


def lengths(entries: Sequence[Entry], kind: Kind | None, *, milliseconds: bool = False) -> Lengths:
    """Turn the cells of one driver into laps.

    kind: as the heading or the user says, None to judge by the times themselves.
    milliseconds: the heading says so.
    """
    work = _Work()
    cells: list[TimeCell] = []
    for entry in _in_running_order(entries, work):
        read = read_time(entry.cell)
        work.entries.append(entry)
        if isinstance(read, TimeCell):
            cells.append(read)
            work.values.append(read.value)
            work.marks[entry] = " ".join(filter(None, (read.mark, entry.mark)))
        else:
            work.values.append(None)
            work.refuse(entry, read)
    given = kind is not None
    clock = sum(cell.notation == "h:m:s" for cell in cells) * 2 > len(cells)
    kind = kind or _judge(work.values, clock=clock)
    notation = _unit(work, cells, kind, milliseconds)
    work.thousandths = sum(bool(_THOUSANDTHS.search(e.cell)) for e in work.entries) * 2 > len(cells)
    _drop_doubles(work, kind)
    if kind == "lap times" and not given:
        _drop_countdown(work)
    if kind == "lap times":
        _drop_summaries(work)
        _note_blank_lines(work)
        _note_whole_number(work)
    found = _from_passings(work, clock=clock) if kind == "passing times" else _from_laps(work)
    decimals = Counter(cell.decimal for cell in cells if cell.decimal)
    decimal = decimals.most_common(1)[0][0] if decimals else ""
    laps = tuple(seconds for seconds, _ in found)
    marks = {n: work.marks[e] for n, (_, e) in enumerate(found, 1) if work.marks[e]}
    return Lengths(laps, marks, tuple(work.refused), kind, notation, decimal, tuple(work.notes))


def _in_running_order(entries: Sequence[Entry], work: _Work) -> list[Entry]:
    """Turn a list that was written newest lap first."""
    numbers = [entry.lap for entry in entries if entry.lap is not None]
    falling = sum(b < a for a, b in pairwise(numbers))
    if len(numbers) >= 3 and falling > 0.8 * (len(numbers) - 1):
        work.notes.append("the newest lap stood first; the order was turned round")
        return list(reversed(entries))
    return list(entries)


def _judge(values: Sequence[float | None], *, clock: bool) -> Kind:
    """Lap times or passing times.

    Passing times rise from line to line (a clock once falls back, at midnight) by about a lap: they
    start near one lap, or at a clock time too long for a lap, or rise too often to be chance.
    """
    known = [value for value in values if value is not None]
    steps = [b - a for a, b in pairwise(known)]
    if len(known) < 3:
        return "passing times" if clock and len(known) == 2 and known[0] > 3600.0 else "lap times"
    rising = sum(step > 0.0 for step in steps)
    if rising < 0.8 * len(steps) or rising < 2:
        return "lap times"
    step = median(step for step in steps if step > 0.0)
    if known[0] >= 3600.0 and clock:
        return "passing times"
    starts_near = step >= 0.5 * known[0]
    whole_run = len(steps) >= 5 and step >= 5.0
    long_for_laps = known[0] >= 600.0 and step < known[0]
    plain = rising == len(steps) or rising >= 5
    return "passing times" if plain and (starts_near or whole_run or long_for_laps) else "lap times"


def _unit(work: _Work, cells: Sequence[TimeCell], kind: Kind, milliseconds: bool) -> str:
    """Settle whether whole numbers are seconds or milliseconds, and name the notation."""
    counts = Counter(cell.notation for cell in cells)
    if not counts:
        return "nothing that reads as a time"
    commonest = counts.most_common(1)[0][0]
    if commonest in ("h:m:s", "m:s", "m's", "milliseconds"):
        return {"m's": "minutes ' seconds"}.get(commonest, commonest)
    known = [value for value in work.values if value is not None]
    steps = [b - a for a, b in pairwise(known) if b > a]
    typical = median(steps) if kind == "passing times" and steps else median(known)
    if not milliseconds and commonest == "whole numbers":
        milliseconds = typical >= PLAINLY_MILLISECONDS
        if PLAINLY_SECONDS < typical < PLAINLY_MILLISECONDS:
            for at, entry in enumerate(work.entries):
                if work.values[at] is not None:
                    work.values[at] = None
                    work.refuse(entry, "seconds or thousandths? name the unit in the heading")
            return "whole numbers of an unknown unit"
    if milliseconds:
        work.values = [None if value is None else value / 1000.0 for value in work.values]
        return "milliseconds"
    return "seconds"


def _drop_doubles(work: _Work, kind: Kind) -> None:
    """Refuse a second line with a lap number already seen, and a last line that sums the rest."""
    seen: set[int] = set()
    numbers = [entry.lap for entry in work.entries if entry.lap is not None]
    numbered = len(set(numbers)) * 2 > len(numbers)
    if numbers and not numbered:
        for at, entry in enumerate(work.entries):
            if work.values[at] is not None:
                work.refuse(entry, f"{_SEVERAL}: which of them is the lap?")
        work.entries, work.values = [], []
    keep: list[int] = []
    for at, entry in enumerate(work.entries):
        if numbered and entry.lap is not None and entry.lap in seen:
            if work.values[at] is not None:
                work.refuse(entry, f"lap {entry.lap} stands above already")
            continue
        if entry.lap is not None:
            seen.add(entry.lap)
        keep.append(at)
    work.entries = [work.entries[at] for at in keep]
    work.values = [work.values[at] for at in keep]


def _drop_countdown(work: _Work) -> None:
    """Refuse times that fall by a lap each: what is left, or passings upside down.

    In which of the two orders they stand the times alone cannot tell.
    """
    known = [value for value in work.values if value is not None]
    steps = [before - after for before, after in pairwise(known)]
    if len(steps) < 2 or min(steps) < _SHORTEST_STEP or max(steps) > 3.0 * min(steps):
        return
    for at, entry in enumerate(work.entries):
        if work.values[at] is not None:
            work.refuse(entry, "what is left, or passings with the last first: no lap times")
    work.entries, work.values = [], []


def _drop_summaries(work: _Work) -> None:
    """Refuse lines below or above the laps that only sum them up, where no word says so.

    A sum is one, and so is what stands beyond it. A best or a mean alone is one below a blank line,
    and a best also where times to a thousandth make it unlikely for a lap to be the same by chance.
    A line with a lap number of its own is a summary only as the sum of all the others.
    """
    for _ in ("below", "above"):
        known = [at for at, value in enumerate(work.values) if value is not None]
        most = min(_MOST_SUMMARIES, len(known) - 3)
        for count in range(most, 0, -1):
            edges = (
                (known[:-count], known[-count:]),
                (known[count:], known[:count]),
            )
            reasons = next(filter(None, (_summaries(work, *edge) for edge in edges)), None)
            if reasons is not None:
                break
        else:
            return
        for at, reason in sorted(reasons.items(), reverse=True):
            work.refuse(work.entries[at], reason)
            del work.entries[at], work.values[at]


def _summaries(work: _Work, laps: list[int], others: list[int]) -> dict[int, str] | None:
    """Why each of the others is a summary of the laps; None when one of them is not."""
    values = [value for at in laps if (value := work.values[at]) is not None]
    if max(values) == min(values):
        return None
    below = others[0] > laps[0]
    where = "above" if below else "below"
    found: dict[int, str] = {}
    for at in others:
        entry, value = work.entries[at], work.values[at] or 0.0
        if abs(value - sum(values)) <= 0.0051 * len(values):
            found[at] = "sum"
        elif entry.lap is not None:
            return None
        elif abs(value - min(values)) < _EXACT:
            found[at] = "best"
        elif abs(value - mean(values)) < _EXACT:
            found[at] = "mean"
        elif abs(value - max(values)) < _EXACT:
            found[at] = "slowest"
        else:
            return None
    kinds = set(found.values())
    by_chance = len(values) < 4 or not work.thousandths or "best" not in kinds
    told = below and (work.entries[others[0]].alone or not by_chance)
    if "sum" in kinds or (told and "slowest" not in kinds):
        return {at: f"the {kind} of the laps {where} it, no lap" for at, kind in found.items()}
    if below and kinds == {"mean"} and work.thousandths:
        line = work.entries[others[0]].line
        note = f"line {line} is the mean of the laps above it, and was taken for a lap"
        work.notes.extend([note] if note not in work.notes else [])
    return None


def _note_blank_lines(work: _Work) -> None:
    """Say that a list of laps without numbers has a blank line in it; it may be two heats."""
    middle = work.entries[_FEWEST_BESIDE_BLANK : 1 - _FEWEST_BESIDE_BLANK]
    lines = [entry.line for entry in middle if entry.alone and entry.lap is None]
    if lines:
        work.notes.append(f"a blank line stands above line {lines[0]}: are all of them one heat?")


def _note_whole_number(work: _Work) -> None:
    """Say that a long lap among laps with fractions is a whole number; it may be a car's."""
    typical = median([value for value in work.values if value is not None] or [0.0])
    for entry, value in zip(work.entries, work.values, strict=True):
        bare = entry.lap is None and entry.text.strip() == entry.cell and entry.cell.isdecimal()
        if bare and value is not None and value > 1.5 * typical:
            work.notes.append(f"line {entry.line} is a whole number, and was taken for a lap")
            return


def _from_laps(work: _Work) -> list[tuple[float, Entry]]:
    laps: list[tuple[float, Entry]] = []
    last: int | None = None
    gaps: list[str] = []
    known = [value for value in work.values if value is not None]
    typical = median(known) if known else 0.0
    for entry, value in zip(work.entries, work.values, strict=True):
        if entry.lap is not None and last is not None and entry.lap > last + 1:
            gaps.append(
                str(last + 1) if entry.lap == last + 2 else f"{last + 1} to {entry.lap - 1}"
            )
        last = entry.lap if entry.lap is not None else last
        if value is None:
            continue
        fault = lap_fault(value)
        if entry.lap == 0 and value < 0.7 * typical:
            fault = "the run to the line before lap 1"
        if fault is None:
            laps.append((value, entry))
        else:
            work.refuse(entry, fault)
    if gaps:
        work.notes.append(f"no line for lap {', '.join(gaps[:5])}")
    return laps


def _from_passings(work: _Work, *, clock: bool) -> list[tuple[float, Entry]]:
    """Differences of passing times. A lap next to a passing that is missing has no known length."""
    _drop_leaps(work, clock=clock)
    known = [value for value in work.values if value is not None]
    steps = [b - a for a, b in pairwise(known) if b > a]
    typical = median(steps) if steps else 0.0
    before: float | None = None
    if known and work.values[0] is not None and 0.3 * typical <= known[0] <= 3.0 * typical:
        before = 0.0
        work.notes.append("the first passing time was taken as the first lap, counted from zero")
    elif known:
        work.notes.append("the first passing only starts the count")
    laps: list[tuple[float, Entry]] = []
    last: int | None = None
    latest = days = 0.0
    started = before is not None
    for entry, value in zip(work.entries, work.values, strict=True):
        skipped = entry.lap is not None and last is not None and entry.lap > last + 1
        last = entry.lap if entry.lap is not None else last
        if value is None:
            before = None
            continue
        if clock and value + days < latest - DAY / 2.0:
            days += DAY
            work.notes.append("the clock passed midnight")
        time = value + days
        if time <= latest and started:
            work.refuse(entry, "not later than the passing before it")
            before = None
            continue
        if before is None:
            if started:
                work.refuse(entry, "the passing before it is not known, so the lap is not")
        elif skipped:
            work.refuse(entry, "a passing before it is missing, so the lap is not known")
        else:
            fault = lap_fault(time - before)
            if fault is None:
                laps.append((round(time - before, 6), entry))
            else:
                work.refuse(entry, fault)
        started = True
        before = latest = time
    return laps


def _drop_leaps(work: _Work, *, clock: bool) -> None:
    """Refuse a passing that is later than the next one, where the next fits the one before."""
    known = [at for at, value in enumerate(work.values) if value is not None]
    for one, two, three in zip(known, known[1:], known[2:], strict=False):
        a, b, c = work.values[one], work.values[two], work.values[three]
        if a is None or b is None or c is None or not a < c < b:
            continue
        if not (clock and b - c > DAY / 2.0):
            work.values[two] = None
            work.refuse(work.entries[two], "later than the passing after it")
