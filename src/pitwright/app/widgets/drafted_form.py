"""Forms that forget nothing: what is typed is a draft on disk until it has been kept."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
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
    fresh: Collection[str] = (),
    again: dict[str, str] | None = None,
) -> None:
    """Open a form; when it can be read, ``keep`` is given the result and what was typed.

    ``form`` names the draft. What is typed is kept at every change and stands there again when
    the form is next opened, but for the fields in ``fresh``; it is forgotten once ``keep`` answers
    True. When ``keep`` fails the form comes back with what was typed (``again``). ``read`` raises
    FormError.
    """
    if not app.session.writable:
        app.notify("The folder is open for reading only; nothing can be noted", severity="warning")
        return
    draft = app.weekend.open.drafts.get(form)
    initial = {f.key: f.value for f in fields}
    values = dict(initial)
    if again is not None:
        values = again
    elif draft is not None:
        # A field that the draft does not hold had been emptied.
        values = {k: v if k in fresh else draft.fields.get(k, "") for k, v in initial.items()}
        title += " (as you left it)"

    def check(values: dict[str, str]) -> tuple[str, str] | None:
        try:
            read(values)
        except FormError as error:
            return error.first
        return None

    def typed(values: dict[str, str]) -> None:
        if values != initial or form in app.weekend.open.drafts:
            app.drafts.typed(form, values)

    def come_back(values: dict[str, str]) -> None:
        ask_form(app, form, title, fields, read, keep, caution=caution, again=values)

    def answered(values: dict[str, str] | None) -> None:
        if values is None:
            return
        try:
            result = read(values)
        except FormError as error:
            # The weekend was changed from elsewhere between the check and now.
            app.notify(error.first[1], title="Not kept", severity="error", markup=False)
            come_back(values)
            return
        if not keep(result, values):
            come_back(values)
        else:
            app.drafts.forget(form)

    app.push_screen(
        FormDialog(
            title,
            [
                Field(f.key, f.label, values.get(f.key, ""), f.hint, f.section, f.half)
                for f in fields
            ],
            check=check,
            on_typed=typed,
            caution=caution,
        ),
        answered,
    )
