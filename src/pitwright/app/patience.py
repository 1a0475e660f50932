"""How long to wait for what may never come: by what the app does meanwhile, not by the clock."""

from __future__ import annotations

import asyncio
import time
from typing import Any, Final

__all__ = ["until_done_or_idle"]

_AT_MOST_S: Final = 2.0
_LONGEST_S: Final = 10.0
_TICK_S: Final = 0.05


async def until_done_or_idle(wanted: asyncio.Future[Any], seconds: float = _AT_MOST_S) -> bool:
    """Wait for something; give it up once the app has had nothing to do for so many seconds.

    False when the app was busy to the end of all patience: what waits behind this is then not to be
    given to whatever happens to be in front.

    A busy laptop takes seconds for what is merely slow, such as a screen's first coming up. Giving
    up by the clock would hand the keys that wait for it to whatever has the cursor now. So only
    ticks count in which the app could have done it and did not: those that come on time, or late
    although the app hardly had the processor, having nothing to do.
    """
    idle, end = 0.0, time.perf_counter() + _LONGEST_S
    while not wanted.done() and idle < seconds:
        if time.perf_counter() > end:
            return False
        begun, used = time.perf_counter(), time.thread_time()
        await asyncio.wait({wanted}, timeout=_TICK_S)
        took, used = time.perf_counter() - begun, time.thread_time() - used
        if took < 2 * _TICK_S or used < took / 100:
            idle += _TICK_S
    return True
