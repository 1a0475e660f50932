"""Two programs in turn, in the same minutes on the same machine, compared pair by pair.

A machine that others use drifts by half within a minute; the ratio of two runs made right after
each other drifts far less, and the median of several such ratios less again. Nothing here asserts
a number of seconds.

Modules are compiled into a folder of this run before anything counts, as an installation leaves
them, whatever PYTHONDONTWRITEBYTECODE says; both sides are treated alike.
"""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

__all__ = ["Used", "load_words", "row", "used_by"]


@dataclass(frozen=True)
class Used:
    """What a finished process used: seconds of processor and of the wall clock, kibibytes."""

    cpu_s: float
    wall_s: float
    peak_kib: int


def used_by(command: Sequence[str], env: Mapping[str, str]) -> Used:
    """Run a command to its end, its output thrown away. Raises RuntimeError when it fails."""
    begin = time.perf_counter()
    process = subprocess.Popen(command, env=dict(env), stdout=subprocess.DEVNULL)
    _pid, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - begin
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}")
    return Used(usage.ru_utime + usage.ru_stime, wall, usage.ru_maxrss)


def row(what: str, ratios: Sequence[float], limit: float, more: str = "") -> bool:
    """Print a row of the table and tell whether its median keeps the limit."""
    middle = median(ratios)
    word = "ok" if middle <= limit else "OVER"
    spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
    print(f"{what:<46}{middle:6.2f} x   (at most {limit:.1f}; {spread})  {word:<5}{more}")
    return middle <= limit


def load_words() -> str:
    """Return how busy the machine was."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"
