"""Large letters out of half blocks, to be read from two metres with both hands busy."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import Final

from textual.containers import VerticalScroll
from textual.content import Content
from textual.geometry import Size
from textual.widgets import Static

from pitwright.app.standing import Standing

__all__ = ["BigPrint", "drawn", "letters", "wrap_letters"]

# Five rows a letter, three or five wide: our own drawing.
_GLYPHS: Final[dict[str, str]] = {
    "A": ".#. #.# ### #.# #.#",
    "B": "##. #.# ##. #.# ##.",
    "C": ".## #.. #.. #.. .##",
    "D": "##. #.# #.# #.# ##.",
    "E": "### #.. ##. #.. ###",
    "F": "### #.. ##. #.. #..",
    "G": ".### #... #.## #..# .###",
    "H": "#.# #.# ### #.# #.#",
    "I": "# # # # #",
    "J": "..# ..# ..# #.# .#.",
    "K": "#..# #.#. ##.. #.#. #..#",
    "L": "#.. #.. #.. #.. ###",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#..# ##.# #.## #..# #..#",
    "O": ".##. #..# #..# #..# .##.",
    "P": "##. #.# ##. #.. #..",
    "Q": ".##. #..# #..# #.## .###",
    "R": "##. #.# ##. #.# #.#",
    "S": ".## #.. .#. ..# ##.",
    "T": "### .#. .#. .#. .#.",
    "U": "#.# #.# #.# #.# ###",
    "V": "#.# #.# #.# #.# .#.",
    "W": "#...# #...# #.#.# ##.## #...#",
    "X": "#.# #.# .#. #.# #.#",
    "Y": "#.# #.# .#. .#. .#.",
    "Z": "### ..# .#. #.. ###",
    "0": "### #.# #.# #.# ###",
    "1": ".#. ##. .#. .#. ###",
    "2": "### ..# ### #.. ###",
    "3": "### ..# .## ..# ###",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ### ..# ###",
    "6": "### #.. ### #.# ###",
    "7": "### ..# ..# .#. .#.",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ###",
    ".": ". . . . #",
    ",": ".. .. .. .# #.",
    ":": ". # . # .",
    ";": ".. .# .. .# #.",
    "-": "... ... ### ... ...",
    "+": "... .#. ### .#. ...",
    "/": "..# ..# .#. #.. #..",
    "'": "# # . . .",
    "(": ".# #. #. #. .#",
    ")": "#. .# .# .# #.",
    "!": "# # # . #",
    "?": "##. ..# .#. ... .#.",
    "=": "... ### ... ### ...",
    " ": ". . . . .",
}
_ENDLESS: Final = 10_000
_HALVES: Final = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def _plain(text: str) -> str:
    """Return the text in capitals without accents."""
    spread = unicodedata.normalize("NFKD", text.replace("–", "-").replace("×", "x").upper())
    return "".join(sign for sign in spread if not unicodedata.combining(sign))


def _pixels(text: str) -> list[str] | None:
    rows = [""] * 5
    for sign in _plain(text):
        glyph = _GLYPHS.get(sign)
        if glyph is None:
            return None
        for index, row in enumerate(glyph.split()):
            rows[index] += row + "."
    return [row[:-1] for row in rows]


def letters(text: str, *, double: bool = False) -> list[str] | None:
    """Return a line of text as rows of block characters: three rows, or five when doubled.

    None when a sign has no drawing; the text is then better shown as it is.
    """
    pixels = _pixels(text)
    if pixels is None:
        return None
    if double:
        return ["".join("██" if p == "#" else "  " for p in row) for row in pixels]
    blank = "." * len(pixels[0])
    pairs = [(pixels[0], pixels[1]), (pixels[2], pixels[3]), (pixels[4], blank)]
    return [
        "".join(_HALVES[a == "#", b == "#"] for a, b in zip(top, bottom, strict=True))
        for top, bottom in pairs
    ]


def wrap_letters(text: str, width: int, *, double: bool = False) -> list[list[str]] | None:
    """Break a text into lines of letters that fit ``width`` columns; None as for ``letters``.

    A single word that is too wide is None too.
    """
    lines: list[list[str]] = []
    held = ""
    for word in text.split():
        tried = f"{held} {word}".strip()
        drawn = letters(tried, double=double)
        if drawn is None:
            return None
        if len(drawn[0]) <= width:
            held = tried
            continue
        alone = letters(word, double=double)
        if not held or alone is None or len(alone[0]) > width:
            return None
        lines.append(letters(held, double=double) or [])
        held = word
    if held:
        lines.append(letters(held, double=double) or [])
    return lines


class BigPrint(Standing, VerticalScroll, can_focus=False):
    """A title and a few facts in large letters, with words of normal size between.

    The words are cautions: they stand under the title, where nothing large pushes them out of
    sight, and what is too large for the room is written in plain capitals.
    """

    DEFAULT_CSS = """
    BigPrint { padding: 1 2; }
    BigPrint Static { height: auto; text-style: bold; }
    BigPrint #big-title { color: $primary; }
    BigPrint #big-facts { color: $foreground; margin-top: 1; }
    BigPrint #big-words { color: $warning; margin-top: 1; }
    """

    def compose(self) -> list[Static]:
        """Lay out title, words and facts."""
        return [
            Static("", id="big-title", markup=False),
            Static("", id="big-words", markup=False),
            Static("", id="big-facts", markup=False),
        ]

    def show(self, title: str, facts: Sequence[str], words: Sequence[str], room: Size) -> None:
        """Show it all as large as ``room`` allows."""
        width = max(room.width - 6, 20)
        # one row of padding above and below, one above the words, one above the facts
        height = max(room.height - 4 - sum(1 + len(w) // width for w in words), 4)
        double = self._rows((title, *facts), width, double=True) <= height
        plain = not double and self._rows((title, *facts), width) > height
        lines = [fact.upper() if plain else drawn(fact, width, double=double) for fact in facts]
        self.query_one("#big-title", Static).update(Content(drawn(title, width, double=double)))
        self.query_one("#big-words", Static).update(Content("\n".join(words)))
        self.query_one("#big-words").display = bool(words)
        self.query_one("#big-facts", Static).update(Content("\n\n".join(lines)))

    @staticmethod
    def _rows(texts: Sequence[str], width: int, *, double: bool = False) -> int:
        """Return how many rows the texts take, endless when one cannot be drawn doubled."""
        rows = 0
        for text in texts:
            lines = wrap_letters(text, width, double=double)
            if lines is None and double:
                return _ENDLESS
            each = 6 if double else 3
            rows += each * len(lines) if lines is not None else 1 + len(text) // width
            rows += 0 if double else 1
        return rows


def drawn(text: str, width: int, *, double: bool = False) -> str:
    """Return a text in large letters, or in plain capitals where it cannot be drawn."""
    lines = wrap_letters(text, width, double=double)
    if lines is None:
        return text.upper()
    gap = "\n\n" if double else "\n"
    return gap.join("\n".join(line) for line in lines)
