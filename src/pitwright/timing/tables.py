"""Cutting lines of laps into cells: what stands between them, and the decimal sign."""

import csv
import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.timing.text import MOST_CELLS, LapFileError, RejectedLine, rejected
from pitwright.timing.times import TimeCell, read_time
from pitwright.timing.words import names_a_heat

DELIMITER_NAMES = {
    ",": "comma",
    ";": "semicolon",
    "\t": "tab",
    "|": "bar",
    " ": "spaces",
    "  ": "two or more spaces",
    "1)": "the lap number in front",
    "": "none",
}
_WRAPPING = '"[]{}'
_SAMPLE = 300
_SAMPLE_WIDTH = 5_000
_COMMENT = re.compile(r"\s*(#(?!\s*[,;\t|])|//)")
_SEPARATOR_LINE = re.compile(r"\s*\"?sep=(.)\"?\s*", re.I)
_DECIMAL_COMMA = re.compile(r"\"?(?:\d+[:'’′])*\d+,\d{1,6}\"?")
_NUMBERED = re.compile(r"\s*(?:(?:[^\W\d]+|#)\s*(\d{1,4})\s*[:.)=-]?|(\d{1,4})\s*[:.)=-])\s+(\S.*)")
_QUOTED = re.compile(r"\"[^\"]*\"")


@dataclass(frozen=True)
class Row:
    """One line cut into cells, with its number and its text."""

    line: int
    text: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """The lines cut into cells; comments and blank lines are gone."""

    delimiter: str
    rows: tuple[Row, ...]
    rejected: tuple[RejectedLine, ...]
    comments: int


def is_time(cell: str) -> bool:
    """Whether a cell can be read as a time."""
    return isinstance(read_time(cell), TimeCell)


def cut(lines: Sequence[tuple[int, str]], *, delimiter: str | None = None) -> Table:
    """Cut numbered lines into cells, guessing the delimiter from the lines themselves if not given.

    Raises LapFileError when there are more than MOST_CELLS cells.
    """
    kept: list[tuple[int, str]] = []
    comments = 0
    titled = sum(_commented_heat(text) is not None for _, text in lines) > 1
    named: str | None = None
    for line, text in lines:
        if not text.strip():
            continue
        if not kept and (match := _SEPARATOR_LINE.fullmatch(text)):
            named = match.group(1)
        elif titled and (title := _commented_heat(text)) is not None:
            kept.append((line, title))
        elif _COMMENT.match(text):
            comments += 1
        else:
            kept.append((line, text))
    sample = [text[:_SAMPLE_WIDTH] for _, text in kept[:_SAMPLE]]
    if delimiter is None:
        delimiter = named if named is not None and named in ",;\t|" else guess_delimiter(sample)
    rows: list[Row] = []
    out: list[RejectedLine] = []
    total = 0
    for line, text in kept:
        cells = _cells(text, delimiter)
        total += len(cells or ())
        if total > MOST_CELLS:
            raise LapFileError(f"more than {MOST_CELLS} cells are no table of laps")
        if cells is None:
            out.append(rejected(line, text, "a cell is too long"))
        elif not any(cells):
            out.append(rejected(line, text, "no value on this line"))
        else:
            rows.append(Row(line, text, cells))
    return Table(delimiter, tuple(rows), tuple(out), comments)


def _commented_heat(text: str) -> str | None:
    """What a comment says that names a heat ('# Q1'); None for any other line."""
    comment = _COMMENT.match(text)
    title = text[comment.end() :].strip() if comment is not None else ""
    return title if names_a_heat(title) else None


def guess_delimiter(sample: Sequence[str]) -> str:
    """What stands between the cells of most of these lines; empty when each is one cell."""
    if not sample:
        return ""
    bare = [_QUOTED.sub("q", text) for text in sample]
    for candidate in ("\t", ";", "|"):
        if 2 * sum(candidate in text.strip(" ") for text in bare) >= len(bare):
            return candidate
    if 2 * sum("," in text for text in bare) >= len(bare):
        return _spaces(sample) if _comma_is_decimal(bare) else ","
    return _spaces(sample)


def _spaces(sample: Sequence[str]) -> str:
    """Which run of spaces separates cells, if any."""
    whole = sum(is_time(text) for text in sample)
    listed = any(len(parts := text.split()) > 1 and all(map(is_time, parts)) for text in sample)
    if 2 * whole >= len(sample) and not listed:
        return ""
    numbered = [_NUMBERED.fullmatch(text) for text in sample]
    if 2 * sum(m is not None and is_time(m.group(3)) for m in numbered) >= len(sample):
        return "1)"
    for delimiter in ("  ", " "):
        cut_up = [_cells(text, delimiter) or () for text in sample]
        if 2 * sum(len(c) > 1 and any(map(is_time, c)) for c in cut_up) >= len(sample):
            return delimiter
    return ""


def _comma_is_decimal(bare: Sequence[str]) -> bool:
    """Whether commas outside quotes are decimal signs.

    They are when what surrounds them reads as numbers with a decimal comma, nothing carries a
    decimal point, and what stands before them does not simply count 1, 2, 3.
    """
    tokens = [token.rstrip(",") for text in bare for token in text.split()]
    inside = [token for token in tokens if "," in token]
    if not inside or any(re.search(r"\d\.\d", token) for token in tokens):
        return False
    decimal = sum(bool(_DECIMAL_COMMA.fullmatch(token)) for token in inside)
    if decimal < 0.8 * len(inside) or 2 * len(inside) < len(bare):
        return False
    before = [token.split(",")[0] for token in inside]
    counts = [int(text) for text in before if text.isascii() and text.isdigit() and len(text) < 9]
    steps = sum(b - a == 1 for a, b in itertools.pairwise(counts))
    return not (len(counts) >= 2 and counts[0] <= 1 and 2 * steps >= len(counts) - 1)


def _cells(text: str, delimiter: str) -> tuple[str, ...] | None:
    if delimiter == "1)":
        match = _NUMBERED.fullmatch(text)
        text = text.replace("\t", " ")
        return (match[1] or match[2], match[3].strip()) if match else ("", text.strip())
    if delimiter in ("", " ", "  "):
        parts = (
            [text]
            if not delimiter
            else re.split(r"\s{2,}" if delimiter == "  " else r"\s+", text.strip())
        )
        parts = [part.replace("\t", " ") for part in parts]
        return tuple(part.strip().strip(_WRAPPING).rstrip(",").strip() for part in parts)
    try:
        cells = next(csv.reader([text], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return None
    cells = [cell.replace("\t", " ").strip().strip(_WRAPPING).strip() for cell in cells]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)
