"""What is typed and not kept yet: how it is held, and where it is kept without a weekend."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

from pitwright.signs import bare
from pitwright.store.files import remove_file, replace_file
from pitwright.store.log_writer import as_toml
from pitwright.store.toml_reader import names_in, read_model
from pitwright.weekend.model import MOST_SIGNS
from pitwright.weekend.open_work import Draft

__all__ = ["UserDrafts", "with_draft"]


def with_draft(
    drafts: Mapping[str, Draft], form: str, fields: Mapping[str, str], now: datetime
) -> dict[str, Draft] | None:
    """Return the drafts with what is typed into a form, None when nothing changes by it.

    Nothing typed takes the form's draft out.
    """
    held = drafts[form].fields if form in drafts else {}
    # What no draft can hold (a whole file pasted by mistake) still stands in the field.
    clean = {key: bare(text)[:MOST_SIGNS] for key, text in fields.items()}
    typed = {key: text for key, text in clean.items() if text.strip()}
    if typed == held:
        return None
    rest = {name: draft for name, draft in drafts.items() if name != form}
    return rest | {form: Draft(form=form, saved_at=now, fields=typed)} if typed else rest


class UserDrafts:
    """What is typed where no weekend is open yet, in a folder of the user's own.

    Without a folder it is held and not kept. What cannot be read there is left as it is, and counts
    for nothing.
    """

    writable = True

    def __init__(self, folder: Path | None, clock: Callable[[], datetime]) -> None:
        self._folder = folder
        self._clock = clock
        self.drafts: Mapping[str, Draft] = {}
        """What is held, by form."""
        if folder is not None:
            found = [read_model(folder, name, Draft) for name in names_in(folder, "", ".toml", [])]
            self.drafts = {draft.form: draft for draft in found if isinstance(draft, Draft)}

    def hold_draft(self, form: str, fields: Mapping[str, str]) -> bool:
        """Hold what is typed until ``write_draft``; tell whether it differs from what is held."""
        changed = with_draft(self.drafts, form, fields, self._clock())
        if changed is not None:
            self.drafts = changed
        return changed is not None

    def write_draft(self, form: str) -> None:
        """Put what is held of a form on the disk; a thread may, one at a time.

        Raises StoreError when the disk will not have it.
        """
        if self._folder is None:
            return
        draft, path = self.drafts.get(form), self._folder / f"{form}.toml"
        if draft is None:
            remove_file(path)
        else:
            replace_file(path, as_toml(draft))
