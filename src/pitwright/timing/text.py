"""From bytes to numbered lines of text, or a plain refusal."""

import codecs
import re
import unicodedata
from dataclasses import dataclass

from pitwright.signs import bare

MOST_BYTES = 5_000_000
MOST_LAPS = 20_000
MOST_LINES = 5 * MOST_LAPS
MOST_CELLS = 20 * MOST_LAPS

_BINARY_STARTS = {
    b"PK\x03\x04": "a packed or workbook file",
    b"\xd0\xcf\x11\xe0": "an old workbook file",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a packed file",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"SQLite format 3": "a database",
}
_LINE_END = re.compile(r"\r\n|\n|\r|\f")


class LapFileError(ValueError):
    """The laps cannot be read at all; the message says why, and on which line where there is one.

    line: number of the line, from 1, or None. reason: without the line.
    """

    def __init__(self, reason: str, line: int | None = None) -> None:
        super().__init__(reason if line is None else f"line {line}: {reason}")
        self.line = line
        self.reason = reason


@dataclass(frozen=True)
class RejectedLine:
    """A line that gave no lap: its number from 1, its text (shortened) and why."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True)
class TextLines:
    """The lines of a file in order, each with its number, and the encoding they were read with."""

    lines: tuple[tuple[int, str], ...]
    encoding: str
    notes: tuple[str, ...]


def rejected(line: int, text: str, reason: str) -> RejectedLine:
    """Make a rejected line, its text shortened to sixty characters and printable."""
    clean = "".join(c if c.isprintable() else " " for c in text).strip()
    return RejectedLine(line, clean if len(clean) <= 60 else f"{clean[:59]}…", reason)


def read_lines(data: bytes) -> TextLines:
    """Decode a file and cut it into lines.

    UTF-8 and UTF-16 with or without a mark, otherwise Windows western (which takes Latin-1 too).
    Raises LapFileError when the file is too large or too long, is not text, or is empty.
    """
    if len(data) > MOST_BYTES:
        raise LapFileError(
            f"this is more than a file of laps can be (the most is {MOST_BYTES / 1e6:.0f} MB)"
        )
    for start, what in _BINARY_STARTS.items():
        if data.startswith(start):
            raise LapFileError(f"this is {what}, not text; save the laps as CSV text first")
    text, encoding = _decode(data)
    text = _common_digits(text)
    notes: tuple[str, ...] = ()
    shown = bare(text, keep="\t\r\n\f")
    controls = len(text) - len(shown)
    if controls > max(3, len(text) // 50):
        raise LapFileError("this is not a text file; save the laps as CSV text first")
    if controls:
        text = shown
        one = "one stray control character" if controls == 1 else f"{controls} control characters"
        notes = (f"{one} left out",)
    parts = _LINE_END.split(text)
    if len(parts) > MOST_LINES:
        raise LapFileError(
            f"{len(parts)} lines are more than a file of laps can have (the most is {MOST_LINES})"
        )
    lines = tuple(enumerate(parts, 1))
    if not any(line.strip() for _, line in lines):
        raise LapFileError("the file is empty")
    return TextLines(lines, encoding, notes)


def _common_digits(text: str) -> str:
    """Write digits of any script, and the wide signs of East Asian text, as plain ones."""
    if text.isascii():
        return text
    table: dict[str, str | int | None] = {
        c: str(digit) if digit is not None else chr(ord(c) - 0xFEE0) if "！" <= c <= "～" else " "
        for c in set(text)
        if (digit := unicodedata.decimal(c, None)) is not None or "！" <= c <= "～" or c == "　"
    }
    return text.translate(str.maketrans({**table, "٫": ","}))


def _decode(data: bytes) -> tuple[str, str]:
    if data.startswith(codecs.BOM_UTF8):
        return data[3:].decode("utf-8", errors="replace"), "UTF-8"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace"), "UTF-16"
    even, odd = data[0::2].count(0), data[1::2].count(0)
    half = max(1, len(data) // 2)
    if odd > 0.8 * half and even < 0.1 * half:
        return data.decode("utf-16-le", errors="replace"), "UTF-16"
    if even > 0.8 * half and odd < 0.1 * half:
        return data.decode("utf-16-be", errors="replace"), "UTF-16"
    try:
        return data.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Windows western"
