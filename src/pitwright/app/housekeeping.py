"""Searching memory for garbage while nobody types, so that no key waits for it."""

from __future__ import annotations

import gc
from time import monotonic
from typing import Final

__all__ = ["Housekeeping"]

_QUIET_S: Final = 1.5
_WORTH_IT: Final = 3
_NEVER: Final = 1_000_000


class Housekeeping:
    """Keeps the interpreter's full collections out of the way of keys.

    One of them takes some thirty milliseconds here, two frames. What is there once the first
    screen stands is set aside for good; the rest is looked through in quiet moments only. Call
    ``tidy`` every second or so, ``key_pressed`` at each key, ``stop`` at the end.
    """

    def __init__(self) -> None:
        self._last_key = monotonic()
        self._before: tuple[int, int, int] | None = None

    def key_pressed(self) -> None:
        """Note that somebody types."""
        self._last_key = monotonic()

    def tidy(self) -> None:
        """Collect when it is quiet and there may be something to find."""
        first = self._before is None
        if monotonic() - self._last_key < _QUIET_S:
            return
        if first:
            self._before = gc.get_threshold()
            gc.set_threshold(self._before[0], self._before[1], _NEVER)
        elif gc.get_count()[2] < _WORTH_IT:
            return
        gc.collect()
        if first:
            gc.freeze()

    def stop(self) -> None:
        """Leave the interpreter as it was found."""
        if self._before is not None:
            gc.unfreeze()
            gc.set_threshold(*self._before)
            self._before = None
