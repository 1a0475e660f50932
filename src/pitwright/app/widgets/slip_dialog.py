"""The question about a reading that looks like a slip of the finger."""

from __future__ import annotations

from typing import ClassVar, Literal, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.standing import Dialog
from pitwright.app.widgets.options import Options
from pitwright.desk.measure.judged import SlipQuestion

__all__ = ["AskSlip", "SlipAnswer"]

SlipAnswer = Literal["keep", "take", "move", "edit"]


class AskSlip(Dialog[SlipAnswer]):
    """Ask whether a doubtful reading is meant; leaving with Escape goes back to the entry."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,1", "answer('keep')", "Keep it", id="slip.keep",
                tooltip="Keep it as typed"),
        Binding("t,2", "answer('take')", "Take it", id="slip.take",
                tooltip="Take what is suggested"),
        Binding("m,3", "answer('move')", "Move it", id="slip.move",
                tooltip="Move it to the entry it belongs to"),
        Binding("n,0,escape", "answer('edit')", "Back", id="slip.edit",
                tooltip="Back to the entry"),
    ]  # fmt: skip

    def __init__(
        self,
        label: str,
        typed: str,
        slip: SlipQuestion,
        other_label: str = "",
        *,
        may_keep: bool = True,
        verdict: Content | None = None,
    ) -> None:
        super().__init__()
        self._label = label
        self._typed = typed
        self._slip = slip
        self._other = other_label
        self._may_keep = may_keep
        self._verdict = verdict

    def compose(self) -> ComposeResult:
        """Lay out the question; every answer can be clicked."""
        with Vertical(classes="dialog"):
            yield Static(Content(f"{self._label}: {self._slip.question}"), classes="heading")
            if self._verdict is not None:
                yield Static(self._verdict)
            options: list[Option] = []
            if self._slip.replacement is not None:
                options.append(Option(Content(f"t 2  Take {self._slip.replacement}"), id="take"))
            if self._other:
                options.append(Option(Content(f"m 3  Move it to {self._other}"), id="move"))
            if self._may_keep:
                options.append(Option(Content(f"y 1  Yes, keep {self._typed} as typed"), id="keep"))
            options.append(Option("n 0  No, back to the entry", id="edit"))
            yield Options(*options)

    def on_mount(self) -> None:
        """Start on the way back, so that a second Enter keeps nothing unseen."""
        options = self.query_one(OptionList)
        options.highlighted = options.option_count - 1
        options.focus()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only the answers that make sense here."""
        if action == "answer" and parameters == ("take",):
            return self._slip.replacement is not None
        if action == "answer" and parameters == ("move",):
            return bool(self._other)
        if action == "answer" and parameters == ("keep",):
            return self._may_keep
        return True

    def action_answer(self, answer: SlipAnswer) -> None:
        """Answer by key."""
        self.dismiss(answer)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Answer with the choice."""
        self.dismiss(cast(SlipAnswer, event.option.id))
