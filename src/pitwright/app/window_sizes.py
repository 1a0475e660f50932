"""Of two sizes a window takes in one breath, the second counts."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from typing import Any, Final

__all__ = ["sizes_in_turn"]

_SIGNAL: Final[int] = getattr(signal, "SIGWINCH", 0)  # Windows has none


def sizes_in_turn() -> None:
    """Have the running loop tell of new window sizes, one after the other.

    Textual does so inside a signal handler. A second signal that comes while the first has read
    its size and not told it yet is handled within it, and told before it: the app then stays at
    the first size for good.
    """
    told: Any = signal.getsignal(_SIGNAL) if _SIGNAL else None
    if callable(told):
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):
            asyncio.get_running_loop().add_signal_handler(_SIGNAL, told, _SIGNAL, None)
