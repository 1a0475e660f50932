"""Two programs in turn, in the same minutes on the same machine, compared pair by pair.

A machine that others use drifts by half within a minute; the ratio of two runs made right after
each other drifts far less, and the median of several such ratios less again. Nothing here asserts
a number of seconds.

Modules are compiled into a folder of this run before anything counts, as an installation leaves
them, whatever PYTHONDONTWRITEBYTECODE says; both sides are treated alike.
"""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

__all__ = [
    "PITWRIGHT",
    "Terminal",
    "Used",
    "environment",
    "load_words",
    "row",
    "terminal",
    "used_by",
]

PITWRIGHT = str(Path(sys.executable).parent / "pitwright")
_GIVE_UP_S = 60.0


def environment(scratch: Path) -> dict[str, str]:
    """Return the environment of both sides: one terminal, compiled modules, nobody's own files."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "TEXTUAL", "LC_"))}
    kept.pop("NO_COLOR", None)
    return kept | {
        "TERM": "xterm-256color",
        "COLORTERM": "truecolor",
        "LANG": "C.UTF-8",
        "PYTHONPYCACHEPREFIX": str(scratch / "compiled"),
        "XDG_CONFIG_HOME": str(scratch / "config"),
        "XDG_STATE_HOME": str(scratch / "state"),
    }


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


@dataclass
class Terminal:
    """A program in a pseudo-terminal; ``seen`` is all that it wrote."""

    pid: int
    handle: int
    begun: float
    seen: bytearray = field(default_factory=bytearray)

    def until(self, reached: Callable[[bytes], object], start: int = 0) -> tuple[float, float]:
        """Read until what was written since ``start`` will do; return wall and processor seconds.

        Both count from the start of the process; the processor's are NaN where /proc is not.
        Raises TimeoutError when it does not come.
        """
        end = time.perf_counter() + _GIVE_UP_S
        while not reached(bytes(self.seen[start:])):
            left = end - time.perf_counter()
            ready, _, _ = select.select([self.handle], [], [], max(left, 0))
            if not ready:
                raise TimeoutError(f"not seen; the last of it: {bytes(self.seen[-400:])!r}")
            try:
                self.seen += os.read(self.handle, 65536)
            except OSError:
                raise TimeoutError(f"it ended: {bytes(self.seen[-400:])!r}") from None
        return time.perf_counter() - self.begun, self.cpu_s()

    def drain(self, seconds: float) -> None:
        """Read whatever comes for a while."""
        end = time.perf_counter() + seconds
        while (left := end - time.perf_counter()) > 0:
            ready, _, _ = select.select([self.handle], [], [], left)
            if ready:
                self.seen += os.read(self.handle, 65536)

    def press(self, keys: bytes) -> int:
        """Type; return where in ``seen`` what follows begins."""
        os.write(self.handle, keys)
        return len(self.seen)

    def cpu_s(self) -> float:
        """Processor seconds of all its threads so far (Linux)."""
        try:
            tasks = Path(f"/proc/{self.pid}/task").iterdir()
            return sum(int((t / "schedstat").read_text().split()[0]) for t in tasks) / 1e9
        except OSError:
            return float("nan")

    def peak_kib(self) -> float:
        """Peak resident memory so far (Linux), in KiB."""
        try:
            status = Path(f"/proc/{self.pid}/status").read_text()
        except OSError:
            return float("nan")
        found = re.search(r"VmHWM:\s+(\d+)", status)
        return float(found[1]) if found else float("nan")


@contextmanager
def terminal(
    command: Sequence[str], env: Mapping[str, str], size: tuple[int, int] = (80, 24)
) -> Iterator[Terminal]:
    """Start a program in a new pseudo-terminal of columns and rows, and end it afterwards."""
    begun = time.perf_counter()
    pid, handle = pty.fork()
    if pid == 0:
        fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        os.execve(command[0], list(command), dict(env))
    try:
        yield Terminal(pid, handle, begun)
    finally:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        os.close(handle)


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
