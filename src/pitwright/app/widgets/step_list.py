"""The steps of a build with what became of each, the one in hand marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from textual.content import Content
from textual.message import Message
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from pitwright.app.widgets.options import Options
from pitwright.desk.build.view import Mark, StepLine

__all__ = ["MARKS", "StepList", "strip"]

MARKS: Final[dict[Mark, str]] = {"done": "✓", "skipped": "–", "passed over": "!", "open": "·"}
_STYLES: Final[dict[Mark, str]] = {
    "done": "$flag-good",
    "skipped": "$foreground 65%",
    "passed over": "$warning",
    "open": "$foreground 65%",
}


def strip(lines: Sequence[StepLine]) -> Content:
    """Return all the marks in one line, the step in hand in brackets."""
    parts: list[Content] = []
    for line in lines:
        mark = Content.styled(_sign(line), _style(line))
        parts.append(Content.assemble("[", mark, "]") if line.in_hand else mark)
    return Content(" ").join(parts)


def _sign(line: StepLine) -> str:
    return "!" if line.wants else MARKS[line.mark]


def _style(line: StepLine) -> str:
    return "$warning" if line.wants else _STYLES[line.mark]


class StepList(Options, can_focus=False):
    """All steps, one line each; a click takes one up, the keys are the screen's."""

    DEFAULT_CSS = """
    StepList { border: none; padding: 0; scrollbar-size-vertical: 1; }
    StepList > .option-list--option-highlighted {
        background: $panel; color: $foreground; text-style: bold;
    }
    """

    @dataclass
    class Chosen(Message):
        """A step was clicked."""

        step: str

    def show(self, lines: Sequence[StepLine]) -> None:
        """Show the steps, with the one in hand in view and some of what surrounds it."""
        self.set_options(
            Option(
                Content.assemble(
                    "▸" if line.in_hand else " ",
                    Content.styled(f"{_sign(line)} ", _style(line)),
                    f"{line.number:>2}  {line.title}",
                ),
                id=f"step-{line.number}",
            )
            for line in lines
        )
        self._steps = [line.step for line in lines]
        at = next((i for i, line in enumerate(lines) if line.in_hand), 0)
        self.highlighted = at
        self.call_after_refresh(self._bring_to_view, at)

    def _bring_to_view(self, at: int) -> None:
        before = 1 if self.size.height < 8 else self.size.height // 3
        self.scroll_to(y=max(at - before, 0), animate=False)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Pass on which step was clicked."""
        event.stop()
        self.post_message(self.Chosen(self._steps[event.option_index]))
