"""Waiting for what an app shows or does, however slow the machine is."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from textual.pilot import Pilot


async def until(pilot: Pilot[Any], held: Callable[[], object], seconds: float = 60.0) -> None:
    """Wait until something holds; fail when it never comes."""
    ends = time.monotonic() + seconds
    while not held():
        assert time.monotonic() < ends, "never came"
        await pilot.pause(0.02)
