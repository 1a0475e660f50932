"""A program in a real pseudo-terminal: what hands do to it, what eyes see of it, how it ends.

    with terminal([PITWRIGHT, "open", folder], environment(scratch)) as app:
        app.until(lambda seen: b"Reading " in seen)
        app.keys("3", "tab", "1", "0")       # sent at once; nothing waits for the app
        app.resize(140, 40)
        assert app.answer() is not None      # it lives: the seconds it took to answer
        assert "Measure" in app.text()       # what the screen shows
        app.keys("q")
        assert app.wait(5) == 0              # the exit code

Whatever is sent is sent without waiting for the app to settle, as hands do. The app's output is
read meanwhile, or both would wait for each other once the terminal's buffers are full.
"""

from __future__ import annotations

import codecs
import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pyte

__all__ = ["HANG_S", "PITWRIGHT", "Terminal", "environment", "key_bytes", "laptop_of", "terminal"]

PITWRIGHT = str(Path(sys.executable).parent / "pitwright")
HANG_S = 2.0
"""Who has not answered for so long hangs."""

_GIVE_UP_S = 60.0
_NAN = float("nan")
_SPECIAL = {
    "enter": "\r", "tab": "\t", "shift+tab": "\x1b[Z", "escape": "\x1b", "backspace": "\x7f",
    "space": " ", "up": "\x1b[A", "down": "\x1b[B", "right": "\x1b[C", "left": "\x1b[D",
    "home": "\x1b[H", "end": "\x1b[F", "insert": "\x1b[2~", "delete": "\x1b[3~",
    "pageup": "\x1b[5~", "pagedown": "\x1b[6~", "f1": "\x1bOP", "f2": "\x1bOQ", "f3": "\x1bOR",
    "f4": "\x1bOS", "f5": "\x1b[15~", "f6": "\x1b[17~", "f7": "\x1b[18~", "f8": "\x1b[19~",
    "f9": "\x1b[20~", "f10": "\x1b[21~", "f11": "\x1b[23~", "f12": "\x1b[24~",
    "question_mark": "?", "colon": ":", "slash": "/", "minus": "-", "plus": "+", "full_stop": ".",
    "comma": ",", "less_than_sign": "<", "greater_than_sign": ">", "left_square_bracket": "[",
    "right_square_bracket": "]", "exclamation_mark": "!", "quotation_mark": '"',
    "underscore": "_",
}  # fmt: skip
_MODIFIERS = {"shift": 1, "alt": 2, "ctrl": 4}
# pyte draws the letter of these two (the enhanced keyboard's) as if it were text.
_NOT_FOR_PYTE = re.compile(r"\x1b\[[<=>][\d;]*[a-zA-Z]")


def key_bytes(key: str) -> bytes:
    """Return what a terminal sends for a key as Textual names it: ``a``, ``shift+tab``, ``f6``.

    Raises KeyError for a key that is not known here.

    >>> key_bytes("ctrl+s"), key_bytes("shift+left"), key_bytes("alt+x"), key_bytes("é")
    (b'\\x13', b'\\x1b[1;2D', b'\\x1bx', b'\\xc3\\xa9')
    """
    if key in _SPECIAL or len(key) == 1:
        return _SPECIAL.get(key, key).encode()
    *modifiers, name = key.split("+")
    plain = key_bytes(name)
    if modifiers == ["alt"]:
        return b"\x1b" + plain
    if modifiers == ["ctrl"] and len(plain) == 1:
        return bytes([plain[0] & 0x1F])
    if plain[:2] == b"\x1b[" and plain[-1:] in b"ABCDHF":
        return b"\x1b[1;%d%b" % (1 + sum(_MODIFIERS[m] for m in modifiers), plain[-1:])
    raise KeyError(key)


def environment(scratch: Path) -> dict[str, str]:
    """Return an environment: one terminal, nobody's own files, modules compiled into ``scratch``.

    A home folder of its own is there too, since paths that are typed may lead into it.
    """
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "TEXTUAL", "LC_"))}
    for name in ("NO_COLOR", "COLUMNS", "LINES"):  # a size here would hide the window's own
        kept.pop(name, None)
    home = scratch / "home"
    home.mkdir(exist_ok=True)
    return kept | {
        "TERM": "xterm-256color",
        "COLORTERM": "truecolor",
        "LANG": "C.UTF-8",
        "HOME": str(home),
        "PYTHONPYCACHEPREFIX": str(scratch / "compiled"),
        "XDG_CONFIG_HOME": str(scratch / "config"),
        "XDG_STATE_HOME": str(scratch / "state"),
    }


def laptop_of(scratch: Path) -> str:
    """Return what the laptop is called by a program in the environment of ``scratch``."""
    from pitwright.store.laptop import laptop_name

    return laptop_name(scratch / "state/pitwright/laptops")


@dataclass
class Terminal:
    """A program in a pseudo-terminal; ``seen`` is what it wrote since the start or ``forget``.

    ``size`` is columns and rows; ``code`` the exit code once it has ended, negative for a signal.
    """

    pid: int
    handle: int
    begun: float
    size: tuple[int, int]
    seen: bytearray = field(default_factory=bytearray)
    code: int | None = None
    _screen: pyte.Screen | None = None
    _stream: pyte.Stream | None = None
    _decoder: codecs.IncrementalDecoder | None = None
    _drawn: int = 0

    # What hands do

    def send(self, data: bytes) -> None:
        """Write to the terminal, reading what comes meanwhile; nothing once the app has ended.

        Raises TimeoutError when the app takes nothing for a minute.
        """
        left, end = memoryview(data), time.perf_counter() + _GIVE_UP_S
        while left and self.code is None:
            readable, writable, _ = select.select([self.handle], [self.handle], [], 1.0)
            if readable:
                self._read()
            if writable and self.code is None:
                left = left[os.write(self.handle, left[:256]) :]
            elif time.perf_counter() > end:
                raise TimeoutError("it takes no keys")

    def press(self, data: bytes) -> int:
        """Type bytes; return where in ``seen`` what follows begins."""
        self.send(data)
        return len(self.seen)

    def keys(self, *names: str) -> None:
        """Press keys by the names that Textual gives them, one right after the other."""
        self.send(b"".join(map(key_bytes, names)))

    def paste(self, text: str) -> None:
        """Paste text as a terminal does, in brackets; they cannot be closed from within."""
        plain = text.encode().replace(b"\x1b", b"")
        self.send(b"\x1b[200~" + plain + b"\x1b[201~")

    def mouse(self, x: int, y: int, button: int = 0, *, held: bool = False) -> None:
        """Click at a cell counted from 0, with left 0, middle 1, right 2; 64 and 65 turn the wheel.

        35 moves the mouse without a button. ``held`` leaves the button down.
        """
        down = f"\x1b[<{button};{x + 1};{y + 1}M"
        up = "" if held or button >= 32 else f"\x1b[<{button};{x + 1};{y + 1}m"
        self.send((down + up).encode())

    def focus(self, has: bool) -> None:
        """Tell the app that its window has the focus, or has lost it."""
        self.send(b"\x1b[I" if has else b"\x1b[O")

    def resize(self, columns: int, rows: int) -> None:
        """Give the window another size; the kernel tells the app with a SIGWINCH."""
        if self.code is None:
            self.size = columns, rows
            _set_size(self.handle, self.size)

    # What eyes see

    def until(self, reached: Callable[[bytes], object], start: int = 0) -> tuple[float, float]:
        """Read until what was written since ``start`` will do; return wall and processor seconds.

        Both count from the start of the process; the processor's are NaN where /proc is not.
        Raises TimeoutError when it does not come.
        """
        end = time.perf_counter() + _GIVE_UP_S
        while not reached(bytes(self.seen[start:])):
            if self.code is not None:
                raise TimeoutError(f"it ended: {bytes(self.seen[-400:])!r}")
            if not self.read(end - time.perf_counter()):
                raise TimeoutError(f"not seen; the last of it: {bytes(self.seen[-400:])!r}")
        return time.perf_counter() - self.begun, self.cpu_s()

    def read(self, seconds: float) -> bool:
        """Read what comes next, as soon as it does; False when nothing came for so long."""
        ready, _, _ = select.select([self.handle], [], [], max(seconds, 0))
        if ready:
            self._read()
        return bool(ready)

    def drain(self, seconds: float) -> None:
        """Read whatever comes for a while, or until the app has ended."""
        end = time.perf_counter() + seconds
        while self.code is None and (left := end - time.perf_counter()) > 0:
            self.read(left)
        if seconds <= 0 and self.code is None:
            self.read(0)

    def lines(self) -> list[str]:
        """Return what the screen shows, a string for each row (needs pyte)."""
        import pyte

        self.drain(0)
        if self._screen is None:
            # Larger than any window: textual moves to each row by its number, and paints afresh
            # whatever changes its size, so that only what lies inside the window counts.
            self._screen = pyte.Screen(300, 120)
            self._stream = pyte.Stream(self._screen)
            self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        assert self._stream is not None
        assert self._decoder is not None
        fresh = self._decoder.decode(bytes(self.seen[self._drawn :]))
        self._drawn = len(self.seen)
        self._stream.feed(_NOT_FOR_PYTE.sub("", fresh))
        columns, rows = self.size
        cells = self._screen.buffer
        lines = ((cells[y][x].data for x in range(columns)) for y in range(rows))
        return ["".join(line).rstrip() for line in lines]

    def text(self) -> str:
        """Return what the screen shows as one string."""
        return "\n".join(self.lines())

    def shows(self, words: str, within: float = 5.0) -> bool:
        """Tell whether the screen comes to show these words."""
        end = time.perf_counter() + within
        while words not in self.text():
            left = end - time.perf_counter()
            if left <= 0 or self.code is not None:
                return False
            self.drain(min(left, 0.02))
        return True

    def forget(self) -> None:
        """Forget what was written so far, where a long run would fill the memory with it."""
        self.seen.clear()
        self._screen = self._stream = self._decoder = None
        self._drawn = 0

    # Whether it lives, and how it ends

    def answer(self, within: float = HANG_S) -> float | None:
        """Ask for a sign of life; return the seconds until it came, None when it did not.

        The window grows by a row. Only who has dealt with all that was sent before, and lays its
        screen out and paints it, writes into that row. (A paint begun before the window was last
        made smaller does so too: a sign of life all the same.) Afterwards the window shrinks back.
        """
        self.drain(0)
        columns, rows = self.size
        start, asked = len(self.seen), time.perf_counter()
        self.resize(columns, rows + 1)
        into_new_row = re.compile(rb"\x1b\[%d;\d+H" % (rows + 1))
        found = None
        while found is None and self.code is None:
            if into_new_row.search(self.seen, max(start - 8, 0)):
                found = time.perf_counter() - asked
            elif not self.read(asked + within - time.perf_counter()):
                break
        self.resize(columns, rows)
        return found

    def wait(self, seconds: float) -> int | None:
        """Wait for the end; return the exit code, None when it has not ended by then."""
        self.drain(seconds)
        return self.code

    def kill(self) -> None:
        """End it at once, as a flat battery would (SIGKILL)."""
        if self.code is None:
            os.kill(self.pid, signal.SIGKILL)
            self._reap()

    def cpu_s(self) -> float:
        """Processor seconds of all its threads so far (Linux)."""
        return self._scheduled("*", 0)

    def kept_waiting_s(self, *, all_threads: bool = False) -> float:
        """Seconds in which its main thread could have run, and others had the processor (Linux).

        With ``all_threads`` those of each are added up.
        """
        return self._scheduled("*" if all_threads else str(self.pid), 1)

    def _scheduled(self, tasks: str, column: int) -> float:
        try:
            found = list(Path(f"/proc/{self.pid}/task").glob(f"{tasks}/schedstat"))
            return sum(int(f.read_text().split()[column]) for f in found) / 1e9 if found else _NAN
        except OSError:
            return _NAN

    def settle(self, within: float = _GIVE_UP_S) -> None:
        """Wait until it has nothing to do: for half a second it hardly wanted to run."""
        end = time.perf_counter() + within
        while self.code is None and time.perf_counter() < end:
            before = self.cpu_s() + self.kept_waiting_s()
            self.drain(0.5)
            if not self.cpu_s() + self.kept_waiting_s() - before > 0.15:
                return

    def peak_kib(self) -> float:
        """Peak resident memory so far (Linux), in KiB."""
        try:
            status = Path(f"/proc/{self.pid}/status").read_text()
        except OSError:
            return _NAN
        found = re.search(r"VmHWM:\s+(\d+)", status)
        return float(found[1]) if found else float("nan")

    def _read(self) -> None:
        try:
            self.seen += os.read(self.handle, 65536)
        except OSError:
            # Nobody has the terminal open any more.
            self._reap()

    def _reap(self) -> None:
        _pid, status = os.waitpid(self.pid, 0)
        self.code = os.waitstatus_to_exitcode(status)


def _set_size(handle: int, size: tuple[int, int]) -> None:
    fcntl.ioctl(handle, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))


@contextmanager
def terminal(
    command: Sequence[str],
    env: Mapping[str, str],
    size: tuple[int, int] = (80, 24),
    *,
    folder: Path | None = None,
) -> Iterator[Terminal]:
    """Start a program in a new pseudo-terminal of columns and rows, and kill it afterwards.

    ``folder`` is the one it is started in, this process's own when None.
    """
    begun = time.perf_counter()
    pid, handle = pty.fork()
    if pid == 0:
        try:
            _set_size(0, size)
            if folder is not None:
                os.chdir(folder)
            os.execve(command[0], list(command), dict(env))
        finally:
            os._exit(127)
    app = Terminal(pid, handle, begun, size)
    try:
        yield app
    finally:
        app.kill()
        os.close(handle)
