"""Two sizes in one breath: a signal that comes inside another's handler is told after it."""

from __future__ import annotations

import asyncio
import os
import signal

import pytest

from pitwright.app.window_sizes import sizes_in_turn

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is no such signal on Windows")


async def test_the_size_of_the_second_signal_is_told_last() -> None:
    sizes, told = iter([80, 100]), []

    def tell(_number: int, _frame: object) -> None:
        size = next(sizes)
        if size == 80:
            signal.raise_signal(signal.SIGWINCH)
        told.append(size)

    before = signal.signal(signal.SIGWINCH, tell)
    try:
        sizes_in_turn()
        signal.raise_signal(signal.SIGWINCH)
        for _ in range(100):
            await asyncio.sleep(0.01)
            if len(told) == 2:
                break
    finally:
        asyncio.get_running_loop().remove_signal_handler(signal.SIGWINCH)
        signal.signal(signal.SIGWINCH, before)
    assert told == [80, 100]


async def test_where_nobody_listens_nothing_changes() -> None:
    before = signal.getsignal(signal.SIGWINCH)
    sizes_in_turn()
    assert signal.getsignal(signal.SIGWINCH) == before
