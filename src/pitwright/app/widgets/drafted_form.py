"""Forms that forget nothing: what is typed is a draft on disk until it has been kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from pitwright.app.widgets.dialogs import Field, FormDialog
from pitwright.desk.form_text import FormError, FormField

if TYPE_CHECKING:
    from pitwright.app.app import PitwrightApp

__all__ = ["ask_form"]

_T = TypeVar("_T")


def ask_form(
    app: PitwrightApp,
    form: str,
    title: str,
    fields: Sequence[FormField],
    read: Callable[[dict[str, str]], _T],
    keep: Callable[[_T, dict[str, str]], bool],
    *,
    caution: str = "",
) -> None:
    """Open a form; when it can be read, ``keep`` is given the result and what was typed.

    ``form`` names the draft. What is typed is kept at every change and stands there again when
    the form is next opened; it is forgotten once ``keep`` answers True. ``read`` raises FormError.
    """
    if not app.session.writable:
        app.notify("The folder is open for reading only; nothing can be noted", severity="warning")
        return
    draft = app.weekend.open.drafts.get(form)
    if draft is not None:
        title += " (as you left it)"

    def check(values: dict[str, str]) -> tuple[str, str] | None:
        try:
            read(values)
        except FormError as error:
            return error.first
        return None

    def typed(values: dict[str, str]) -> None:
        app.guard(lambda: app.session.keep_draft(form, values))

    def answered(values: dict[str, str] | None) -> None:
        if values is None:
            return
        if keep(read(values), values):
            app.guard(lambda: app.session.keep_draft(form, {}))

    app.push_screen(
        FormDialog(
            title,
            [
                Field(
                    f.key,
                    f.label,
                    f.value if draft is None else draft.fields.get(f.key, ""),
                    f.hint,
                    f.section,
                    f.half,
                )
                for f in fields
            ],
            check=check,
            on_typed=typed,
            caution=caution,
        ),
        answered,
    )
