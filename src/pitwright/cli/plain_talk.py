"""Talking in lines: what is said, and what is answered, with no cursor and no colour."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = ["COMMANDS", "Command", "Talk", "Turn"]

Command = Literal["skip", "note", "back", "repeat", "list", "pause", "give up", "leave", "help"]

COMMANDS: dict[str, tuple[Command, str]] = {
    "s": ("skip", "skip this step, with a reason"),
    "n": ("note", "write a note to this step"),
    "b": ("back", "go to the step before"),
    "r": ("repeat", "say this step again"),
    "l": ("list", "list all steps, and go to one"),
    "p": ("pause", "stop the working time until enter is pressed"),
    "x": ("give up", "give this build up, with a reason"),
    "q": ("leave", "leave; the build goes on later at this step"),
    "?": ("help", "say these again"),
}


class Turn(Exception):  # noqa: N818 - carries what the user wants, not an error
    """The user wants something else than to answer."""

    def __init__(self, command: Command) -> None:
        super().__init__(command)
        self.command = command


@dataclass
class Talk:
    """Says lines and reads answers; ``read`` raises EOFError when nobody answers any more."""

    read: Callable[[], str]
    say: Callable[[str], None]

    def line(self, question: str, *, may_turn: bool = True, answers: str = "") -> str:
        """Ask for a line; a command in its place raises Turn, unless it is among ``answers``."""
        self.say(question)
        try:
            text = self.read().strip()
        except EOFError:
            raise Turn("leave") from None
        if may_turn and text.lower() in COMMANDS and text.lower() not in answers.split():
            raise Turn(COMMANDS[text.lower()][0])
        return text

    def text(self, question: str, check: Callable[[str], str] = lambda _text: "") -> str:
        """Ask for words until they will do; an empty line goes back."""
        while True:
            text = self.line(f"{question} (an empty line goes back)", may_turn=False)
            if not text:
                raise Turn("repeat")
            trouble = check(text)
            if not trouble:
                return text
            self.say(f"{trouble}.")

    def yes(self, question: str) -> bool:
        """Ask until the answer is yes or no."""
        while True:
            answer = self.line(f"{question} y or n:", answers="n").lower()
            if answer in ("y", "yes", "n", "no"):
                return answer[0] == "y"
            self.say("Please answer y or n.")

    def pick(self, question: str, choices: Sequence[str]) -> int:
        """Ask for one of several by its number."""
        self.say(question)
        for number, choice in enumerate(choices, 1):
            self.say(f"  {number}  {choice}")
        while True:
            answer = self.line(f"Number, 1 to {len(choices)}:")
            if answer.isdigit() and 1 <= int(answer) <= len(choices):
                return int(answer) - 1
            self.say(f"Please answer with a number from 1 to {len(choices)}.")
