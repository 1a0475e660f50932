"""What is typed and not kept yet: on the disk a moment after the key, and no key waits for it.

A draft is held in the weekend at once, so that a form that opens again has it whatever the disk
does. A thread writes it: the first key starts the wait and later ones do not lengthen it, so that
what is seen is on the disk within 100 ms even while somebody types on. Where it is not, the top
line says so until it is.
"""

from __future__ import annotations

import asyncio
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, Final, Protocol

from pitwright.store.files import StoreError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from pitwright.app.terminal_app import TerminalApp
    from pitwright.weekend.open_work import Draft

__all__ = ["DraftKeeper", "Drafts"]

# Time for the key to be painted first; keys that come during a write wait for its end anyway.
_GATHER_S: Final = 0.01
# What is late after 100 ms is on the screen by then.
_LATE_S: Final = 0.08
_AGAIN_S: Final = 1.0
_LATE: Final = "! typed text not on the disk"

_Failed = dict[str, StoreError]


class DraftKeeper(Protocol):
    """Where drafts are kept: an open weekend, or the user's own folder while there is none."""

    writable: bool

    @property
    def drafts(self) -> Mapping[str, Draft]:
        """What is held, by form."""

    def hold_draft(self, form: str, fields: Mapping[str, str]) -> bool:
        """Hold what is typed; tell whether it differs from what is held."""

    def write_draft(self, form: str) -> None:
        """Put what is held of a form on the disk; raises StoreError."""


class Drafts:
    """The drafts of all forms, by the form's name."""

    def __init__(self, app: TerminalApp[Any], keeper: DraftKeeper) -> None:
        self._app = app
        self._keeper = keeper
        self._thread: ThreadPoolExecutor | None = None
        self._due: set[str] = set()
        self._due_since: float | None = None
        self._under_way: Future[_Failed] | None = None
        self._soon: asyncio.TimerHandle | None = None
        self._late: asyncio.TimerHandle | None = None
        self.standing = ""
        """What the top line has to say of them; empty when all is on the disk."""

    def fields(self, form: str) -> dict[str, str]:
        """Return what was typed into a form and not kept yet."""
        draft = self._keeper.drafts.get(form)
        return dict(draft.fields) if draft is not None else {}

    def typed(self, form: str, fields: Mapping[str, str]) -> None:
        """Hold what is typed and have it written; nothing typed forgets the draft.

        Who only reads leaves the drafts to the one who writes.
        """
        if not self._keeper.writable or not self._keeper.hold_draft(form, fields):
            return
        self._due.add(form)
        if self._due_since is None:
            self._due_since = asyncio.get_running_loop().time()
        self._expect()
        self._begin_in(_GATHER_S)

    def forget(self, form: str) -> None:
        """Forget a draft that has been kept, before anything else can happen to it."""
        self.typed(form, {})
        if form in self._due:
            self.flush()

    def flush(self) -> bool:
        """Write what is due before going on; tell whether all is on the disk."""
        if self._under_way is not None:
            self._end(self._under_way.result())
        if self._due:
            self._end(self._write(self._take()))
        return not self._due

    def _expect(self) -> None:
        """Have it said when what is due or under way is not on the disk in time."""
        if self._late is None and self._due_since is not None and self._app.is_running:
            loop = asyncio.get_running_loop()
            self._late = loop.call_at(self._due_since + _LATE_S, self._tell_late)

    def _take(self) -> list[str]:
        forms, self._due, self._due_since = sorted(self._due), set(), None
        if self._soon is not None:
            self._soon.cancel()
            self._soon = None
        return forms

    def _begin_in(self, seconds: float) -> None:
        if self._soon is None and self._under_way is None and self._app.is_running:
            # On the loop itself: a timer of the app waits behind all the messages in its queue.
            self._soon = asyncio.get_running_loop().call_later(seconds, self._begin)

    def _begin(self) -> None:
        """Have the thread write what is due."""
        self._soon = None
        if self._under_way is not None or not self._due:
            return
        if self._thread is None:
            self._thread = ThreadPoolExecutor(1, "drafts")
        work = self._thread.submit(self._write, self._take())
        self._under_way = work
        asyncio.wrap_future(work).add_done_callback(lambda _: self._written(work))

    def _write(self, forms: Iterable[str]) -> _Failed:
        failed: _Failed = {}
        for form in forms:
            try:
                self._keeper.write_draft(form)
            except StoreError as error:
                failed[form] = error
        return failed

    def _written(self, work: Future[_Failed]) -> None:
        # A flush may have been quicker.
        if work is self._under_way:
            self._end(work.result())

    def _end(self, failed: _Failed) -> None:
        """Note how a writing ended, and what is still to be done."""
        self._under_way = None
        self._due |= set(failed)
        if failed:
            self._say(_LATE)
            if self._app.is_running:
                for error in failed.values():
                    self._app.draft_failed(error)
            self._begin_in(_AGAIN_S)
            return
        if self._late is not None:
            self._late.cancel()
            self._late = None
        if self.standing:
            self._app.drafts_kept()
            self._say("")
        if self._due:
            # Typed during that writing, and not late because something before it was.
            self._expect()
            self._begin_in(_GATHER_S)

    def _tell_late(self) -> None:
        if self._due or self._under_way is not None:
            self._say(_LATE)

    def _say(self, words: str) -> None:
        if words == self.standing:
            return
        self.standing = words
        if self._app.is_running:
            self._app.show_standing()
