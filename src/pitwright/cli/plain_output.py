"""What goes out of the command line: text a terminal shows and never obeys."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any, TextIO, cast

from pitwright.signs import visible

__all__ = ["plain_output"]


class _Plain:
    """A text stream that leaves out control, escape and direction signs.

    One place for all commands and for argparse, which repeats what was typed: a name out of a file
    or out of a shell's history can then not move the cursor, set a title or turn text round. A sign
    the terminal's encoding lacks is shown as a question mark rather than raising.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        shown = visible(text)
        try:
            self._stream.write(shown)
        except UnicodeEncodeError:
            encoding = self._stream.encoding or "ascii"
            self._stream.write(shown.encode(encoding, "replace").decode(encoding))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextlib.contextmanager
def plain_output() -> Iterator[None]:
    """Send standard output and error through the filter, for the length of a ``with`` block.

    The app itself writes to the terminal by another way and is not touched.
    """
    out, err = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = cast(TextIO, _Plain(out)), cast(TextIO, _Plain(err))
    try:
        yield
    finally:
        sys.stdout, sys.stderr = out, err
