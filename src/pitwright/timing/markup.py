"""Laps in JSON or in the tables of a page, laid out as lines and cells for the one reader."""

import json
from html.parser import HTMLParser
from typing import Any

from pitwright.timing.text import LapFileError, TextLines
from pitwright.timing.words import heading_role

Lines = tuple[tuple[int, str], ...]


def unwrapped(text: TextLines) -> tuple[Lines, str]:
    """Return the lines with cells parted by tabs, and the form: JSON, a page's table, or ''.

    Lines of these are numbered as they are laid out; anything else keeps its own numbers.
    Raises LapFileError for JSON that cannot be read, and for XML and pages without a table.
    """
    whole = "\n".join(line for _, line in text.lines).strip()
    if whole.startswith(("{", "[{", "[\n")) or (whole.startswith("[") and '"' in whole):
        return _json(whole), "JSON"
    if whole.startswith("<"):
        page = _Page()
        page.feed(whole)
        page.close()
        if not page.tables:
            what = "XML" if whole.startswith("<?xml") else "a page or XML without a table"
            raise LapFileError(f"this is {what}; save the laps as CSV text first")
        return tuple(enumerate(page.lines, 1)), "a page's table"
    return text.lines, ""


def _json(whole: str) -> Lines:
    try:
        try:
            value = json.loads(whole)
        except json.JSONDecodeError:
            value = [json.loads(line) for line in whole.splitlines() if line.strip()]
        laid: list[str] = []
        _lay_out(value, "", laid)
    except json.JSONDecodeError as error:
        raise LapFileError(f"this is JSON that is cut short or damaged: {error.msg}") from None
    except (RecursionError, ValueError):
        raise LapFileError("this is JSON of a kind that no laps are written in") from None
    return tuple(enumerate(laid, 1))


def _lay_out(value: Any, title: str, laid: list[str]) -> None:
    """Write lists as tables, each under the name it goes by."""
    if isinstance(value, dict):
        lists = {key: item for key, item in value.items() if isinstance(item, dict | list)}
        named = [
            str(item) for key, item in value.items()
            if isinstance(item, str) and heading_role(key) in ("heat", "driver")
        ]  # fmt: skip
        own = ", ".join(named) or title
        for key, item in lists.items():
            generic = heading_role(key) in ("lap", "lap time", "time") or len(lists) == 1
            _lay_out(item, own if generic else ", ".join(filter(None, (own, key))), laid)
        return
    if not isinstance(value, list):
        return
    if any(isinstance(item, dict) and _holds_lists(item) and not _is_lap(item) for item in value):
        for item in value:
            _lay_out(item, title, laid)
        return
    if title:
        laid.append(_cell(title))
    if value and all(isinstance(item, dict) for item in value):
        keys = list(dict.fromkeys(k for item in value for k in item if not _nests(item[k])))
        laid.append("\t".join(map(_cell, keys)))
        laid.extend("\t".join(_cell(item.get(key)) for key in keys) for item in value)
        return
    for item in value:
        laid.append("\t".join(map(_cell, item)) if isinstance(item, list) else _cell(item))


def _nests(value: Any) -> bool:
    return isinstance(value, dict | list)


def _holds_lists(item: dict[str, Any]) -> bool:
    return any(map(_nests, item.values()))


def _is_lap(item: dict[str, Any]) -> bool:
    """Whether it has a time of its own; what it holds besides, such as sectors, is none."""
    timed = ("lap time", "time", "passing")
    return any(heading_role(key) in timed for key, each in item.items() if not _nests(each))


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return " ".join(str(value).replace('"', "").split())


class _Page(HTMLParser):
    """The rows of a page's tables, and the headlines above them."""

    _HEADLINES = ("h1", "h2", "h3", "h4", "h5", "h6", "caption", "p")

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self.tables = 0
        self._cells: list[str] | None = None
        self._words: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: object) -> None:
        """Begin a row, a cell or a headline; what is open before it ends."""
        if tag in ("table", "tr"):
            self._end_row()
            self.tables += tag == "table"
            self._cells = [] if tag == "tr" else None
        elif tag in ("td", "th"):
            self._end_cell()
            self._words = []
        elif tag in self._HEADLINES and self._cells is None:
            self._words = []

    def handle_endtag(self, tag: str) -> None:
        """End it."""
        if tag in ("table", "tr"):
            self._end_row()
        elif tag in ("td", "th"):
            self._end_cell()
        elif tag in self._HEADLINES and self._cells is None and self._words is not None:
            self._add(_cell("".join(self._words)))
            self._words = None

    def handle_data(self, data: str) -> None:
        """Keep the words of the cell or headline in hand."""
        if self._words is not None:
            self._words.append(data)

    def _end_cell(self) -> None:
        if self._cells is not None and self._words is not None:
            self._cells.append(_cell("".join(self._words)))
        self._words = None

    def _end_row(self) -> None:
        self._end_cell()
        if self._cells:
            self._add("\t".join(self._cells))
        self._cells = None

    def _add(self, text: str) -> None:
        if text:
            self.lines.append(text)
