"""Timers: deadlines on the wall clock, so that neither quitting nor a sleeping laptop stops them.

Each function takes the running timers and returns the new ones; nothing is written here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

from pitwright.desk.form_text import FormError, FormField, FormReader, line_trouble, read_minutes
from pitwright.weekend.open_work import Timer
from pitwright.weekend.weekend import Weekend

__all__ = [
    "COOLING",
    "cool_down_timer",
    "due_unseen",
    "mark_seen",
    "read_timer",
    "timer_form",
    "with_timer",
    "without",
]

COOLING: Final = "cooling down"
"""The name of the timer that says when a hot clutch may be measured."""

_LONGEST_MIN: Final = 24 * 60.0
_KEPT_AFTER_SEEN: Final = timedelta(hours=12)


def cool_down_timer(weekend: Weekend, since: datetime, clutch: str | None = None) -> Timer | None:
    """Return the timer of a clutch that cools down ``since``; None when the card gives no time.

    Raises KeyError when there is no such clutch.
    """
    cool_down = weekend.card(clutch).targets.cool_down
    if cool_down is None:
        return None
    return Timer(
        name=COOLING,
        label="Cooling down before measuring",
        due_at=since + timedelta(minutes=cool_down.value),
    )


def with_timer(timers: Sequence[Timer], timer: Timer) -> list[Timer]:
    """Return the timers with this one, in place of an older one of its name.

    Timers seen to half a day ago are dropped: nobody looks at them any more.
    """
    old = timer.due_at - _KEPT_AFTER_SEEN
    kept = [t for t in timers if t.name != timer.name and not (t.seen and t.due_at < old)]
    return [*kept, timer]


def without(timers: Sequence[Timer], name: str) -> list[Timer]:
    """Return the timers without the one of this name."""
    return [t for t in timers if t.name != name]


def due_unseen(timers: Sequence[Timer], now: datetime) -> tuple[Timer, ...]:
    """Return the timers whose deadline has passed and that nobody has seen to, oldest first."""
    due = [t for t in timers if t.due_at <= now and not t.seen]
    return tuple(sorted(due, key=lambda t: t.due_at))


def mark_seen(timers: Sequence[Timer], now: datetime) -> list[Timer]:
    """Return the timers with every due one marked as seen."""
    return [t.model_copy(update={"seen": True}) if t.due_at <= now else t for t in timers]


def timer_form() -> tuple[FormField, ...]:
    """Return the form of a timer of one's own."""
    return (
        FormField("minutes", "Rings after", "", "10 min, 90 s, 1 h", half=False),
        FormField("label", "What for", "", "Tyres off the warmer", half=False),
    )


def read_timer(timers: Sequence[Timer], values: Mapping[str, str], now: datetime) -> Timer:
    """Return the timer of a filled-in form. Raises FormError with every field that is wrong."""
    read = FormReader(values)
    minutes = read("minutes", "Rings after", read_minutes)
    if minutes is None:
        read.errors.setdefault("minutes", "Rings after: how many minutes?")
    elif not 0 < minutes <= _LONGEST_MIN:
        read.errors["minutes"] = "Rings after: from a second to a day"
    label = values.get("label", "").strip()
    trouble = line_trouble(label)
    if trouble:
        read.errors["label"] = f"What for: {trouble}"
    if read.errors or minutes is None:
        raise FormError(read.errors)
    taken = {t.name for t in timers}
    name = next(n for i in range(1, len(taken) + 2) if (n := f"own {i}") not in taken)
    return Timer(name=name, label=label or "Timer", due_at=now + timedelta(minutes=minutes))
