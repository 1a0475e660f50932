"""One recording in hand: its takes, which of them is looked at, and what became of each."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pitwright.desk.ear.ear import Take, pooled, take_ups

if TYPE_CHECKING:
    from pitwright.sound.listen import Hearing
    from pitwright.sound.takeup import Place

__all__ = ["EarBench", "new_bench", "reading_at"]


@dataclass(frozen=True)
class EarBench:
    """A recording being looked through; every change gives a new one.

    takes: the launches heard, and what the user added; at: the row looked at, counted over
    ``shown``, which ends with the launches together when there are several.
    """

    file: str
    hearing: Hearing
    takes: tuple[Take, ...]
    at: int = 0

    @property
    def shown(self) -> tuple[Take, ...]:
        """All rows: the takes, and the launches together."""
        together = pooled(self.takes)
        return self.takes if together is None else (*self.takes, together)

    @property
    def current(self) -> Take | None:
        """The row looked at; None when there is none."""
        shown = self.shown
        return shown[min(self.at, len(shown) - 1)] if shown else None

    def looking_at(self, at: int) -> EarBench:
        """Look at another row; the ends join."""
        count = len(self.shown)
        return replace(self, at=at % count) if count else self

    def in_hand(self, mark_s: float) -> Take:
        """Return the take that a correction by hand works on: a new one where there is none."""
        take = self.current
        if take is None or take.count > 1 or take.how != "plateau" or take.kept:
            number = sum(t.name.startswith("By hand") for t in self.takes) + 1
            name = "By hand" if number == 1 else f"By hand {number}"
            return Take(name, "plateau", None, mark_s, mark_s, "nothing measured yet")
        return take

    def put(self, take: Take) -> EarBench:
        """Put a take in the place of the one of its name, or at the end, and look at it."""
        names = [t.name for t in self.takes]
        if take.name in names:
            at = names.index(take.name)
            return replace(self, takes=(*self.takes[:at], take, *self.takes[at + 1 :]), at=at)
        return replace(self, takes=(*self.takes, take), at=len(self.takes))

    @property
    def interest_s(self) -> float:
        """Where a cursor belongs [s]: on the take-up looked at, else where there may be one."""
        take = self.current
        if take is not None and take.speed is not None and take.count == 1:
            return (take.speed.start_s + take.speed.end_s) / 2
        return take.start_s if take is not None else self.hearing.duration_s / 2

    def discarding(self) -> EarBench:
        """Discard the take looked at, or take it back; a kept one stays kept."""
        take = self.current
        if take is None or take.count > 1 or take.kept:
            return self
        return self.put(replace(take, discarded=not take.discarded))

    def keeping(self) -> EarBench:
        """Mark the take looked at as kept; of launches together, each of them."""
        take = self.current
        if take is None:
            return self
        if take.count == 1:
            return self.put(replace(take, kept=True))
        kept = tuple(
            replace(t, kept=True)
            if t.how == "plateau" and t.speed is not None and not t.discarded
            else t
            for t in self.takes
        )
        return replace(self, takes=kept)

    def placed(
        self, place: Place, car_speed_m_s: float, pull_m_s_2: float | None = None
    ) -> EarBench:
        """Take the car to have been elsewhere: take-ups change, of kept and typed ones none."""
        from pitwright.sound.takeup import moved

        takes = tuple(
            replace(t, speed=moved(t.speed, place, car_speed_m_s, pull_m_s_2))
            if t.speed is not None and t.how == "plateau" and not t.kept and t.by_hand != "typed"
            else t
            for t in self.takes
        )
        return replace(self, takes=takes)


def new_bench(file: str, hearing: Hearing) -> EarBench:
    """Return the bench of a recording just heard, at its first measured launch, or at all."""
    bench = EarBench(file, hearing, take_ups(hearing))
    shown = bench.shown
    if shown and shown[-1].count > 1:
        return replace(bench, at=len(shown) - 1)
    first = next((i for i, take in enumerate(shown) if take.speed is not None), 0)
    return replace(bench, at=first)


def reading_at(hearing: Hearing, at_s: float) -> tuple[float, float] | None:
    """Return engine speed [rpm] and confidence of the trace at a moment; None without a trace."""
    import numpy as np

    track = hearing.track
    if not len(track):
        return None
    at = int(np.argmin(np.abs(track.time_s - at_s)))
    return float(track.rpm[at]), float(track.confidence[at])
