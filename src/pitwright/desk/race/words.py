"""The bite over a race in words: for the screen, the command, the list before a main."""

from __future__ import annotations

import math

from pitwright.desk.bite.words import more_torque, rpm_words, signed_rpm
from pitwright.desk.race.outcome import Outcome, worth
from pitwright.desk.race.race import Option, RaceDesk
from pitwright.desk.race.sets import AtHand
from pitwright.desk.wording import fixed
from pitwright.inference.race import Band

__all__ = [
    "against_words",
    "common_notes",
    "gain_line",
    "head_line",
    "off_words",
    "option_rows",
    "option_sentences",
    "race_lines",
    "short_answer",
    "turn_words",
    "way_words",
]

_HARDLY = 0.005
_UNLIKELY = 0.01


def _minutes(value: float) -> str:
    return "under 1" if 0.0 < value < 0.5 else f"{value:.0f}"


def off_words(found: Outcome) -> str:
    """Return the minutes off target: ``3 min off``, the mean that options are compared by."""
    return f"{_minutes(found.mean_off_min)} min off"


def _range(span: Band) -> str:
    return f"{span.low:.0f} to {math.ceil(span.high):.0f}"


def _percent(chance: float) -> str:
    whole = math.ceil(100.0 * chance - 1e-9)
    return "under 1 %" if chance < _UNLIKELY else "over 99 %" if chance > 0.99 else f"{whole} %"


def way_words(option: Option) -> str:
    """Return a way to run the race in a few words: ``Spring 2 and Shoe set 2 at 1.47``."""
    if option.leave:
        return "leave it"
    parts = f"{_named(option.spring)}, {_named(option.shoes)}"
    return parts if option.outcome is None else f"{parts}, {fixed(option.outcome.recess_mm)} mm"


def _named(part: AtHand) -> str:
    return f"{part.label} (new)" if part.standing == "new" else part.label


def turn_words(found: RaceDesk, option: Option) -> str:
    """Return what is to be done for an option: parts to fit, and how far the nut goes."""
    assert option.outcome is not None
    if option.leave:
        return "leave parts and nut as they are"
    fit = [p.label for p in (option.spring, option.shoes) if p.standing != "fitted"]
    to = f"the recess to {fixed(option.outcome.recess_mm)} mm"
    if fit:
        return f"fit {' and '.join(fit)}, set {to}"
    now = found.recess_now_mm
    if now is None or abs(now - option.outcome.recess_mm) < _HARDLY:
        return f"set {to}"
    way = "deeper" if option.outcome.recess_mm > now else "shallower"
    return f"set {to}, {fixed(abs(option.outcome.recess_mm - now))} mm {way}"


def short_answer(found: RaceDesk) -> str:
    """Return the answer in a line, with the next best it beat."""
    best = found.best
    if best is None or best.outcome is None:
        return f"cannot say: {found.unknown}"
    told = f"{turn_words(found, best)}, {off_words(best.outcome)}"
    beaten = found.leave
    if beaten is None or best.leave:
        beaten = next((o for o in found.options[1:] if o.outcome is not None), None)
    if beaten is None or beaten.outcome is None:
        return told
    return f"{told}; {way_words(beaten)}, {off_words(beaten.outcome)}"


def against_words(found: RaceDesk, option: Option) -> str:
    """Return what an option comes to, beside others: ``7 of 30 min off target``."""
    assert option.outcome is not None
    return f"{_minutes(option.outcome.mean_off_min)} of {found.minutes:.0f} min off target"


def head_line(found: RaceDesk) -> str:
    """Return which race and which bite it is held against."""
    if not found.heat:
        return "Bite over the race"
    if not found.target_rpm:
        return f"Bite over {found.heat}, {found.minutes:.0f} min"
    return (
        f"Bite over {found.heat}, {found.minutes:.0f} min: {rpm_words(found.target_rpm)} ± "
        f"{rpm_words(found.half_rpm)} rpm wanted ({found.target_of})"
    )


def option_rows(found: RaceDesk) -> list[str]:
    """Return a row for each option, cells in columns: what, recess, minutes off, drift, danger."""
    rows = [_row(option, found.best) for option in found.options]
    widths = [max((len(row[i]) for row in rows if len(row) > i + 1), default=0) for i in range(6)]
    return [
        "  ".join(
            cell.ljust(width) if i in (0, 1, 5) or i == len(row) - 1 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=False))
        ).rstrip()
        for row in rows
    ]


def _row(option: Option, best: Option | None) -> tuple[str, ...]:
    spring, shoes = _named(option.spring), option.shoes.label
    found = option.outcome
    if found is None:
        change = option.change
        by = "" if change is None else f", bites {signed_rpm(change.bite_rpm, change.u_bite_rpm)}"
        return spring, shoes, f"cannot say{by}"
    drift = signed_rpm(found.drift_rpm.middle)
    remark = "leave it" if option.leave else ""
    least = best.outcome if best is not None and best is not option else None
    if option.crosses:
        remark = f"{remark}, crosses a limit".removeprefix(", ")
    elif least is not None and found.mean_off_min < least.mean_off_min:
        gain = "little gain" if worth(found) else "gain unsure"
        remark = f"{remark}, {gain}".removeprefix(", ")
    return (
        spring,
        shoes,
        fixed(found.recess_mm),
        f"{_minutes(found.mean_off_min)} min off",
        f"drifts {drift}",
        remark,
    )


def option_sentences(found: RaceDesk, option: Option) -> list[str]:
    """Return all about one option in sentences."""
    done = option.outcome
    if done is None:
        return [f"{way_words(option)}: cannot say.", f"{option.unknown}.", *_as_fitted(option)]
    what = turn_words(found, option)
    lines = [
        f"{what[:1].upper()}{what[1:]}.",
        f"Off target {_minutes(done.mean_off_min)} of {found.minutes:.0f} min on average "
        f"(9 in 10: {_range(done.off_min)}); {_percent(done.leaves)} that it leaves the window.",
        *_beside(done),
        f"Bite {rpm_words(done.curve[0].middle)} at the start, "
        f"{rpm_words(done.curve[-1].middle)} at the end: drift "
        f"{signed_rpm(done.drift_rpm.middle)} (9 in 10: {signed_rpm(done.drift_rpm.low)} to "
        f"{signed_rpm(done.drift_rpm.high)}) rpm.",
        *_lock_up(done),
        f"The spring is {100 * done.solid:.0f} % of the way to solid at the bite.",
    ]
    lines.append(_limits(done))
    for part in (option.spring, option.shoes):
        if part.taken_mm is not None:
            lines.append(
                f"{part.label} is not read yet: taken as {fixed(part.taken_mm)} mm; measure it as "
                "it goes in, and ask again."
            )
    return lines


def _beside(done: Outcome) -> list[str]:
    if done.beside is None:
        return []
    less, more = _percent(done.beside.less), _percent(done.beside.more)
    return [f"Less off than left as it is in {less} of races, more in {more}."]


def _as_fitted(option: Option) -> list[str]:
    change = option.change
    if change is None:
        return []
    told = [f"bites {signed_rpm(change.bite_rpm, change.u_bite_rpm)} rpm"]
    if change.lock_up_rpm is not None:
        told.append(f"locks up {signed_rpm(change.lock_up_rpm, change.u_lock_up_rpm)} rpm")
    if change.torque_percent is not None:
        told.append(more_torque(change))
    return [f"Fitted at the recess as it is, by the card's figures of its kind: {', '.join(told)}."]


def _lock_up(done: Outcome) -> list[str]:
    lock = done.lock_up
    if lock is None:
        return []
    change = lock.change_rpm
    told = (
        f"Lock-up {signed_rpm(change.middle)} (9 in 10: {signed_rpm(change.low)} to "
        f"{signed_rpm(change.high)}) rpm from start to end, the bell {lock.start_c:.0f} to "
        f"{lock.end_c:.0f} °C"
    )
    never = f"; {_percent(lock.never)} that it no longer locks up" * (lock.never >= _UNLIKELY)
    return [f"{told}{never}."]


def _limits(done: Outcome) -> str:
    """Return how likely each limit is crossed, those that hardly can be together at the end."""
    told = [
        (chance, what)
        for chance, what in (
            (done.drags, "drags at idle"),
            (done.binds, "spring solid before the bite"),
            (done.thin, "shoes past their limit"),
            (done.short, "spring below its discard limit at the end"),
        )
        if chance is not None
    ]
    parts = [f"{what}: {_percent(chance)}" for chance, what in told if chance >= _UNLIKELY]
    rest = [what for chance, what in told if chance < _UNLIKELY]
    if rest:
        parts.append(f"{', '.join(rest)}: under 1 %{' each' if len(rest) > 1 else ''}")
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}."


def gain_line(found: RaceDesk) -> str:
    """Return what the best gains over leaving it, empty where that cannot be said."""
    best, leave = found.best, found.leave
    if best is None or leave is None or best.outcome is None or leave.outcome is None:
        return ""
    if best.leave:
        return "Nothing at hand gains surely enough to be worth a job: leave it."
    gain = leave.outcome.mean_off_min - best.outcome.mean_off_min
    return f"Against leaving it: {_minutes(max(gain, 0.0))} min less off target."


def race_lines(found: RaceDesk) -> list[str]:
    """Return the answer as lines of text: the best first, then what it beat."""
    lines = [head_line(found)]
    if found.best is None:
        return [*lines, f"  Cannot say: {found.unknown}", *_noted(found)]
    best = option_sentences(found, found.best)
    lines += [f"  {'Best' if i == 0 else '':<6}{text}" for i, text in enumerate(best)]
    gain = gain_line(found)
    if gain:
        lines.append(f"  {'':<6}{gain}")
    rows = option_rows(found)
    if len(rows) > 1:
        lines += [f"  {'Beat' if i == 0 else '':<6}{row}" for i, row in enumerate(rows[1:])]
    return [*lines, *_noted(found)]


def _noted(found: RaceDesk) -> list[str]:
    return [f"  Note: {note}" for note in (*found.notes, *common_notes(found))]


def common_notes(found: RaceDesk) -> list[str]:
    """Return what the minutes leave out, and where the window comes from."""
    if found.best is None:
        return []
    notes = [f"± {rpm_words(found.half_rpm)} rpm is {found.half_of}"]
    if found.seen:
        notes.append(
            f"the bite itself is known to ± {rpm_words(2 * found.u_bite_rpm)} rpm, the same for "
            "every set: turn the nut to the wanted creep and that is gone"
        )
    notes.append("what the bell's bore wears is not counted")
    notes.append(f"counted from the start, after {found.warm_up_minutes:.0f} min of warm-up")
    return notes
