"""A weekend folder that is open: read it, add to it, notice changes made elsewhere."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from pitwright.store.files import StoreError, create_file, replace_file
from pitwright.store.lap_csv import format_lap_csv
from pitwright.store.lock import FolderLock, Holder
from pitwright.store.log_writer import append_record, laptop_name, next_sequence
from pitwright.store.open_work import OpenFolder
from pitwright.store.reader import Opened, read_folder
from pitwright.weekend.log import in_force
from pitwright.weekend.open_work import Draft, OpenBuild, OpenHeat, Timer
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import AnyRecord, Record
from pitwright.weekend.weekend import Weekend

__all__ = ["CannotOpenError", "ReadOnlyError", "Session"]

_R = TypeVar("_R", bound=Record)


class CannotOpenError(Exception):
    """The folder's cards cannot be used; ``problems`` says what to mend."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(str(p) for p in problems))
        self.problems = problems


class ReadOnlyError(StoreError):
    """Another instance has the folder open for writing, or it cannot be written to."""


def _now() -> datetime:
    return datetime.now(UTC)


class Session:
    """An open weekend folder. Close it, or use it in a ``with`` block.

    ``weekend`` is always the whole truth as last read or written; every write has reached the
    disk when its method returns. Raises CannotOpenError when the cards cannot be used.
    """

    def __init__(
        self,
        folder: Path,
        *,
        write: bool = True,
        laptop: str | None = None,
        clock: Callable[[], datetime] = _now,
    ) -> None:
        self.folder = folder
        self.laptop = laptop or laptop_name()
        self.clock = clock
        opened = read_folder(folder, self.laptop)
        if opened.weekend is None:
            raise CannotOpenError(opened.problems)
        self._lock = FolderLock(folder)
        self.writable = write and self._lock.take()
        if self.writable:
            # Whoever held the lock until now may have written since the first look.
            opened = read_folder(folder, self.laptop)
        self._open_folder = OpenFolder(folder, self.laptop)
        self._take(opened)
        self._marks = self._look()

    def __enter__(self) -> Self:
        """Return the session itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the lock back."""
        self.close()

    def close(self) -> None:
        """Give the lock back; nothing is left to write."""
        self._lock.drop()

    @property
    def holder(self) -> Holder | None:
        """Who else has the folder open for writing, when this session may only read."""
        return None if self.writable else self._lock.holder()

    def _take(self, opened: Opened) -> None:
        if opened.weekend is None:
            raise CannotOpenError(opened.problems)
        self.weekend: Weekend = opened.weekend
        self.problems = opened.problems
        self._records = list(opened.records)

    # Reading again

    def _look(self) -> dict[str, tuple[int, int]]:
        """Return a mark of every file that matters, to notice changes from outside."""
        marks: dict[str, tuple[int, int]] = {}
        for place in (self.folder, self.folder / "log", self.folder / "laps"):
            try:
                with os.scandir(place) as entries:
                    for entry in entries:
                        if entry.name.endswith((".toml", ".csv")) and entry.name[0] != ".":
                            found = entry.stat()
                            marks[entry.path] = (found.st_mtime_ns, found.st_size)
            except OSError:
                continue
        return marks

    def changed_outside(self) -> bool:
        """Tell whether files were changed by somebody else since the last look."""
        return self._look() != self._marks

    def reload(self) -> bool:
        """Read the folder again; False when its cards cannot be used just now.

        The weekend read last then stays, and ``problems`` says why.
        """
        self._marks = self._look()
        opened = read_folder(self.folder, self.laptop)
        if opened.weekend is None:
            self.problems = opened.problems
            return False
        self._take(opened)
        return True

    # Writing

    def _may_write(self) -> None:
        if not self.writable:
            holder = self.holder
            who = f"{holder} has it open" if holder else "it cannot be written to"
            raise ReadOnlyError(0, f"The folder {self.folder.name} is open for reading only: {who}")

    def append(self, record: _R) -> _R:
        """Write a record to the log, fold it into the weekend and return it as it stands there.

        Raises StoreError when it could not be written, ReadOnlyError when it may not be.
        """
        self._may_write()
        used = [r.sequence for r in self._records if r.laptop == self.laptop]
        landed = append_record(
            self.folder,
            record,
            laptop=self.laptop,
            sequence=next_sequence(used),
            now=self.clock(),
        )
        self._records.append(landed)  # type: ignore[arg-type]  # every concrete kind is in the union
        self.weekend = replace(self.weekend, log=in_force(self._records))
        self._marks = self._look()
        return landed

    @property
    def records(self) -> tuple[AnyRecord, ...]:
        """The records as they were written, corrections among them."""
        return tuple(self._records)

    def raw_record(self, record: str) -> AnyRecord | None:
        """Return a record as it was written, by its id."""
        return next((r for r in self._records if r.id == record), None)

    def keep_laps(self, heat: str, laps: list[float], source: bytes | None = None) -> None:
        """Keep the laps of a heat, and the file they came from as it came.

        Raises StoreError when the disk will not have it.
        """
        self._may_write()
        if source is not None:
            self._keep_source(heat, source)
        replace_file(self.folder / "laps" / f"{heat}.csv", format_lap_csv(laps).encode())
        self.weekend = replace(self.weekend, laps={**self.weekend.laps, heat: tuple(laps)})
        self._marks = self._look()

    def _keep_source(self, heat: str, source: bytes) -> None:
        for number in range(1, 1000):
            tail = "" if number == 1 else f"-{number}"
            path = self.folder / "laps" / "as-it-came" / f"{heat}{tail}.txt"
            try:
                create_file(path, source)
            except FileExistsError:
                if path.read_bytes() == source:
                    return
                continue
            return

    def keep_build(self, build: OpenBuild) -> None:
        """Keep the build in progress, so that a flat battery costs nothing."""
        self._may_write()
        self._open_folder.keep_build(build)
        self._set_open(build=build)

    def keep_heat(self, heat: OpenHeat) -> None:
        """Keep the running heat."""
        self._may_write()
        self._open_folder.keep_heat(heat)
        self._set_open(heat=heat)

    def keep_timers(self, timers: list[Timer]) -> None:
        """Keep the running timers."""
        self._may_write()
        self._open_folder.keep_timers(timers)
        self._set_open(timers=list(timers))

    def keep_draft(self, form: str, fields: dict[str, str]) -> None:
        """Keep what is typed into a form; nothing typed forgets the draft."""
        self._may_write()
        drafts = dict(self.weekend.open.drafts)
        typed = {key: text for key, text in fields.items() if text.strip()}
        if typed:
            draft = Draft(form=form, saved_at=self.clock(), fields=typed)
            self._open_folder.keep_draft(draft)
            drafts[form] = draft
        else:
            self._open_folder.clear_draft(form)
            drafts.pop(form, None)
        self._set_open(drafts=drafts)

    def clear_build(self) -> None:
        """Forget the build in progress, once its record has landed."""
        self._may_write()
        self._open_folder.clear_build()
        self._set_open(build=None)

    def clear_heat(self) -> None:
        """Forget the running heat, once its record has landed."""
        self._may_write()
        self._open_folder.clear_heat()
        self._set_open(heat=None)

    def _set_open(self, **changes: object) -> None:
        self.weekend = replace(self.weekend, open=self.weekend.open.model_copy(update=changes))
