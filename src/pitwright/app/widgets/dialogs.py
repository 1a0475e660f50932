"""Small questions over a screen: a line of text, a choice, a yes or no, a short form."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, cast

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.standing import Dialog
from pitwright.app.widgets.line_input import LineInput
from pitwright.app.widgets.options import Options

if TYPE_CHECKING:
    from pitwright.app.drafts import Drafts
    from pitwright.app.terminal_app import TerminalApp

__all__ = ["AskLine", "Choice", "Confirm", "Field", "FormDialog", "Pick"]


def _drafts(dialog: Dialog[Any]) -> Drafts:
    return cast("TerminalApp[Any]", dialog.app).drafts


def _forget_answered(dialog: Dialog[Any], draft: str) -> None:
    """Forget a draft after the answer has been taken, which the caller may be about to keep."""
    if draft:
        dialog.app.call_later(_drafts(dialog).forget, draft)


@dataclass(frozen=True)
class Choice:
    """One thing to choose: its key, what is shown, and a second line."""

    key: str
    label: str
    detail: str = ""


class Pick(Dialog[str | None]):
    """Choose one of several; the result is its key, None when left with Escape.

    The first nine answer to their number as well. The cursor begins on ``chosen``, on the first
    when that is None; an empty text leaves it off the list, so that enter alone chooses nothing.
    ``caution`` stands above the list.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Back", id="dialog.back", tooltip="Go back"),
        *(
            Binding(str(number), f"number({number})", f"Choice {number}", show=False,
                    id=f"dialog.choice-{number}", tooltip=f"Choose number {number} of the list")
            for number in range(1, 10)
        ),
    ]  # fmt: skip

    def __init__(
        self,
        title: str,
        choices: Sequence[Choice],
        *,
        chosen: str | None = None,
        caution: str = "",
    ) -> None:
        super().__init__()
        self._title = title
        self._caution = caution
        self._choices = choices
        self._chosen = chosen

    def compose(self) -> ComposeResult:
        """Lay out the list."""
        with Vertical(classes="dialog"):
            yield Static(Content(self._title), classes="heading")
            if self._caution:
                yield Static(Content(self._caution), classes="caution")
            yield Options(
                *(
                    Option(Content(c.label + (f"  {c.detail}" if c.detail else "")), id=c.key)
                    for c in self._choices
                )
            )
            yield Static("enter or its number chooses, escape goes back", classes="hint")

    def on_mount(self) -> None:
        """Put the cursor on what is chosen now."""
        options = self.query_one(OptionList)
        keys = [c.key for c in self._choices]
        first = None if self._chosen == "" else 0
        options.highlighted = keys.index(self._chosen) if self._chosen in keys else first
        options.focus()

    def action_number(self, number: int) -> None:
        """Answer with a choice by its number."""
        if number <= len(self._choices):
            self.dismiss(self._choices[number - 1].key)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Answer with the choice."""
        self.dismiss(event.option.id)


class Confirm(Dialog[bool]):
    """A question answered by y or n; on a keypad by 1 or 0.

    With ``weighty`` the cursor starts on No: a second enter, pressed out of habit, must not
    confirm a tight screw, a shim nobody owns, or the end of a build.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,1", "dismiss(True)", "Yes", id="dialog.yes", tooltip="Yes"),
        Binding("n,0,escape", "dismiss(False)", "No", id="dialog.no", tooltip="No"),
    ]

    def __init__(self, question: str, *, weighty: bool = False) -> None:
        super().__init__()
        self._question = question
        self._weighty = weighty

    def compose(self) -> ComposeResult:
        """Lay out the question; both answers can be clicked."""
        with Vertical(classes="dialog"):
            yield Static(Content(self._question), classes="heading")
            yield Options(Option("y 1  Yes", id="yes"), Option("n 0  No", id="no"))

    def on_mount(self) -> None:
        """Put the cursor where a careless enter does least harm."""
        self.query_one(OptionList).highlighted = 1 if self._weighty else 0

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Answer with the choice."""
        self.dismiss(event.option.id == "yes")


class AskLine(Dialog[str | None]):
    """Ask for a line of text; ``check`` returns what is wrong with it, or nothing.

    ``draft`` names what is kept of it until it is answered; ``on_typed`` is told every change, for
    a caller that forgets it only once its own work is done.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Back", id="dialog.back")
    ]

    def __init__(
        self,
        title: str,
        *,
        value: str = "",
        hint: str = "enter keeps it, escape goes back",
        check: Callable[[str], str] = lambda _text: "",
        on_typed: Callable[[str], None] = lambda _text: None,
        draft: str = "",
    ) -> None:
        super().__init__()
        self._title = title
        self._value = value
        self._hint = hint
        self._check = check
        self._on_typed = on_typed
        self._draft = draft

    def compose(self) -> ComposeResult:
        """Lay out the entry, with what was typed into it before."""
        value = self._value
        if self._draft:
            value = _drafts(self).fields(self._draft).get("text", value)
        with Vertical(classes="dialog"):
            yield Static(Content(self._title), classes="heading")
            yield LineInput(value)
            yield Static("", classes="trouble", markup=False)
            yield Static(Content(self._hint), classes="hint")

    def on_input_changed(self, event: Input.Changed) -> None:
        """Pass on what is typed."""
        self._on_typed(event.value)
        if self._draft:
            typed = event.value if event.value != self._value else ""
            _drafts(self).typed(self._draft, {"text": typed})

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Answer with the text, when it will do."""
        trouble = self._check(event.value)
        if trouble:
            self.query_one(".trouble", Static).update(Content(trouble))
            return
        self.dismiss(event.value)
        _forget_answered(self, self._draft)


@dataclass(frozen=True)
class Field:
    """One entry of a form.

    A new ``section`` puts a heading above the field. Two ``half`` fields that follow each other
    in one section share a line, when what stands in them fits in half of one.
    """

    key: str
    label: str
    value: str = ""
    hint: str = ""
    section: str = ""
    half: bool = False


class FormDialog(Dialog[dict[str, str] | None]):
    """A form; ``check`` returns the key and what is wrong there, or None.

    ``draft`` names what is kept of it until it is answered: what differs from what was offered, for
    the next offer may be another one. ``on_typed`` is told every change, for a caller that forgets
    it only once its own work is done. A long form scrolls; what is wrong, and how to keep it, stay
    in sight.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Back", id="dialog.back"),
        Binding("f2", "keep", "Keep", id="dialog.keep", tooltip="Keep the form from any field"),
        # Ahead of the scroll, which would take the arrows as soon as a form is longer than it.
        Binding("up", "step(-1)", "Up", show=False, id="dialog.up", priority=True),
        Binding("down", "step(1)", "Down", show=False, id="dialog.down", priority=True),
    ]

    def __init__(
        self,
        title: str,
        fields: Sequence[Field],
        *,
        check: Callable[[dict[str, str]], tuple[str, str] | None] = lambda _values: None,
        on_typed: Callable[[dict[str, str]], None] = lambda _values: None,
        draft: str = "",
        caution: str = "",
    ) -> None:
        super().__init__()
        self._title = title
        self._fields = fields
        self._check = check
        self._on_typed = on_typed
        self._draft = draft
        self._initial = {f.key: f.value for f in fields}
        self._caution = caution

    def compose(self) -> ComposeResult:
        """Lay out the fields, with what was typed into them before."""
        if self._draft and (kept := _drafts(self).fields(self._draft)):
            self._fields = [replace(f, value=kept.get(f.key, f.value)) for f in self._fields]
            self._title += " (as you left it)"
        with Vertical(classes="dialog form"):
            yield Static(Content(self._title), classes="heading")
            if self._caution:
                yield Static(Content(self._caution), classes="caution")
            with VerticalScroll(classes="fields", can_focus=False):
                section = ""
                halves = any(field.half for field in self._fields)
                for line in _lines(self._fields):
                    if line[0].section != section:
                        section = line[0].section
                        yield Static(Content(section), classes="section")
                    with Horizontal(classes="row"):
                        for field in line:
                            short = " short" if halves else ""
                            yield Static(Content(field.label), classes=f"label{short}")
                            yield LineInput(
                                field.value,
                                id=f"field-{field.key}",
                                placeholder=field.hint,
                                select_on_focus=False,
                            )
            yield Static("", classes="trouble", markup=False)
            yield Static(
                "F2 keeps it, so does enter on the last line; escape goes back", classes="hint keep"
            )

    def values(self) -> dict[str, str]:
        """Return what is typed, by field."""
        return {f.key: self.query_one(f"#field-{f.key}", Input).value for f in self._fields}

    def on_resize(self) -> None:
        """Leave room under the fields for what is wrong and for the keys."""
        around = 8 if self._caution else 6
        self.query_one(".fields").styles.max_height = max(self.size.height - around, 3)

    def on_input_changed(self) -> None:
        """Pass on what is typed."""
        values = self.values()
        self._on_typed(values)
        if self._draft:
            typed = {key: text for key, text in values.items() if text != self._initial[key]}
            _drafts(self).typed(self._draft, typed)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Go to the next field; keep on the last one."""
        if event.input.id == f"field-{self._fields[-1].key}":
            self.action_keep()
        else:
            self.focus_next()

    def on_click(self, event: events.Click) -> None:
        """Keep the form when its bottom line is clicked."""
        if isinstance(event.widget, Static) and event.widget.has_class("keep"):
            self.action_keep()

    def action_step(self, by: int) -> None:
        """Go to the line above or below, in the same half of it."""
        lines = _lines(self._fields)
        focused = self.focused.id if self.focused is not None else None
        for number, line in enumerate(lines):
            for place, field in enumerate(line):
                if f"field-{field.key}" == focused:
                    beside = lines[(number + by) % len(lines)]
                    key = beside[min(place, len(beside) - 1)].key
                    self.query_one(f"#field-{key}", Input).focus()
                    return
        self.focus_next()

    def action_keep(self) -> None:
        """Answer with what is typed, when it will do."""
        values = self.values()
        trouble = self._check(values)
        if trouble is None:
            self.dismiss(values)
            _forget_answered(self, self._draft)
            return
        key, reason = trouble
        self.query_one(".trouble", Static).update(Content(reason))
        if key in values:
            self.query_one(f"#field-{key}", Input).focus()


_HALF_ROOM = 16  # signs that half a line shows without scrolling, the cursor behind them


def _lines(fields: Sequence[Field]) -> list[list[Field]]:
    """Return the fields line by line."""
    lines: list[list[Field]] = []
    for field in fields:
        last = lines[-1] if lines else []
        short = all(len(each.value) <= _HALF_ROOM for each in (*last, field))
        pairs = len(last) == 1 and last[0].half and field.half and short
        if pairs and last[0].section == field.section:
            last.append(field)
        else:
            lines.append([field])
    return lines
