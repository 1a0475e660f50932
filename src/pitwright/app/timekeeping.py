"""Timers in the app: kept on disk, rung once, started and stopped with the heats."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from pitwright.desk.clock.timers import COOLING, cool_down_timer, due_unseen, with_timer, without
from pitwright.desk.wording import from_time
from pitwright.weekend.open_work import Timer

if TYPE_CHECKING:
    from pitwright.app.app import PitwrightApp

__all__ = ["Ringer", "keep_timers", "start_cooling", "stop_cooling"]


class Ringer:
    """Rings each due timer once, on whatever screen is in front."""

    def __init__(self, app: PitwrightApp) -> None:
        self._app = app
        self._rung: set[tuple[str, datetime]] = set()

    def ring(self) -> None:
        """Ring for the timers that have become due since the last look."""
        due = due_unseen(self._app.weekend.open.timers, self._app.clock())
        fresh = [t for t in due if (t.name, t.due_at) not in self._rung]
        if not fresh:
            return
        self._rung.update((t.name, t.due_at) for t in fresh)
        self._app.bell()
        self._app.notify(
            "\n".join(f"{t.label}: time is up" for t in fresh),
            title="Timer (k for the pit clock)",
            severity="warning",
            timeout=30,
            markup=False,
        )


def keep_timers(app: PitwrightApp, timers: Sequence[Timer]) -> bool:
    """Keep the running timers; on failure say so and return False."""
    done = app.guard(lambda: app.session.keep_timers(list(timers)))
    if done:
        app.announce()
    return done


def start_cooling(app: PitwrightApp, since: datetime) -> bool:
    """Start the timer of a clutch that cools down; False when the card gives no time for it."""
    timer = cool_down_timer(app.weekend, since, app.clutch)
    if timer is None:
        return False
    if keep_timers(app, with_timer(app.weekend.open.timers, timer)):
        until = from_time(timer.due_at, app.weekend.event.zone)
        app.notify(f"Hot bell: let it cool until {until} before measuring", markup=False)
    return True


def stop_cooling(app: PitwrightApp) -> None:
    """Forget the cooling timer: the clutch is run again."""
    timers = app.weekend.open.timers
    if any(t.name == COOLING for t in timers):
        keep_timers(app, without(timers, COOLING))
