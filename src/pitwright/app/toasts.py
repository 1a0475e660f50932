"""Where words said in passing may stand: on rows that no entry has, and no question.

Textual puts them over the bottom right corner, whatever is there. Here they are unseen until the
screen is laid out, and then stand on rows that are free of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from textual.content import Content
from textual.geometry import Offset
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets._toast import Toast, ToastRack

__all__ = ["ENTRIES", "place_toasts"]

ENTRIES: Final = ("Input", "TextArea", "ReadingEntry")
"""What is typed into, by the names that style sheets know it by."""

_QUESTION: Final = ".dialog"
_WIDEST: Final = 60
_EDGES: Final = 3  # a coloured edge and a blank on either side
_SCROLLBAR: Final = 2  # Textual keeps it free beside them
_PADDING: Final = 3  # a blank line above and below the words, and one between two


def place_toasts(screen: Screen[Any]) -> None:
    """Put what is said in passing on free rows of a screen that has just been laid out.

    It takes the lowest rows at the right that have room for it; where there are none, whichever
    has more room: the most rows free at the right, or all across. What was said last comes first
    where there is not room for all.
    """
    rack = next((child for child in screen.children if isinstance(child, ToastRack)), None)
    if rack is None or not rack.display:
        return
    toasts = list(rack.walk_children(Toast))
    rows, wide = _place(screen, [toast.render() for toast in toasts])
    rack.set_class(bool(rows), "-placed")
    rack.set_class(wide, "-wide")
    rack.styles.offset = Offset(0, rows.start)
    rack.styles.height = max(len(rows), 1)
    left = len(rows)
    for toast in reversed(toasts):
        # One that has no room whole is seen from its beginning, the last one at least.
        shown = left > 0
        left -= _lines(toast.render(), screen.size.width, wide=wide)
        assert isinstance(toast.parent, Widget)
        toast.parent.display = shown and (left >= 0 or toast is toasts[-1])


def _place(screen: Screen[Any], said: Sequence[Content]) -> tuple[range, bool]:
    """Return the rows to stand on, none when all are taken, and whether lines have to be wide."""
    width, height = screen.size
    need, need_wide = (sum(_lines(t, width, wide=wide) for t in said) for wide in (False, True))
    right = width - _narrow(width) - _SCROLLBAR
    edges = {0, height - 1}  # the top line and the keys, of the screen below too
    # Rather over those two than over a question, and rather over that than over an entry.
    for kinds, lines in (
        ((*ENTRIES, _QUESTION), edges),
        ((*ENTRIES, _QUESTION), set[int]()),
        (ENTRIES, edges),
        (ENTRIES, set[int]()),
    ):
        narrow = list(_between(lines | _rows_of(screen, kinds, right), height))
        roomy = [band for band in narrow if len(band) >= need]
        if roomy:
            return roomy[-1], False
        across = list(_between(lines | _rows_of(screen, kinds, 0), height))
        best = max(reversed(narrow), key=len, default=range(0))
        best_wide = max(reversed(across), key=len, default=range(0))
        if best_wide and (len(best_wide) >= need_wide or 2 * len(best_wide) >= len(best)):
            return best_wide, True
        if best:
            return best, False
    return range(0), False


def _narrow(width: int) -> int:
    return min(_WIDEST, width // 2)


def _lines(text: Content, width: int, *, wide: bool) -> int:
    """Return how many rows a toast takes on a screen of a width."""
    inside = (width - _SCROLLBAR if wide else _narrow(width)) - _EDGES
    return len(text.wrap(max(inside, 1))) + (0 if wide else _PADDING)


def _rows_of(screen: Screen[Any], kinds: Iterable[str], right_of: int) -> set[int]:
    """Return the rows of the screen that widgets of these kinds are on, right of a column."""
    taken: set[int] = set()
    for widget in screen.query(", ".join(kinds)).results(Widget):
        seen = widget.region.intersection(screen.region)
        if seen.right <= right_of or not widget.is_on_screen:
            continue
        if all(n.display for n in widget.ancestors_with_self if isinstance(n, Widget)):
            taken.update(range(seen.y, seen.bottom))
    return taken


def _between(taken: Iterable[int], height: int) -> Iterator[range]:
    """Yield the runs of rows that are free, from the top."""
    start = 0
    for row in (*sorted(taken), height):
        if row > start:
            yield range(start, row)
        start = row + 1
