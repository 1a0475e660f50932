"""A weekend folder that is open: read it, add to it, notice changes made elsewhere."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from pitwright.store.drafts import with_draft
from pitwright.store.files import StoreError, create_file, remove_file, replace_file
from pitwright.store.lap_csv import format_lap_csv
from pitwright.store.laptop import adopt_open_work, laptop_name
from pitwright.store.leftovers import clean_leftovers
from pitwright.store.lock import FolderLock, Holder
from pitwright.store.log_files import KnownTexts
from pitwright.store.log_writer import (
    append_record,
    as_toml,
    next_sequence,
    prepared,
    record_path,
)
from pitwright.store.open_work import OpenPlaces, timers_toml
from pitwright.store.reader import Opened, read_folder
from pitwright.weekend.clocks import clock_problems
from pitwright.weekend.log import in_force
from pitwright.weekend.model import check_name
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


def _mark(found: os.stat_result) -> tuple[int, int, int]:
    return found.st_mtime_ns, found.st_size, found.st_ino


class Session:
    """An open weekend folder. Close it, or use it in a ``with`` block.

    ``weekend`` is always the whole truth as last read or written; every write has reached the
    disk when its method returns. ``wait_s`` is how many seconds to wait for another instance to
    leave, when this one is to write. Raises CannotOpenError when the cards cannot be used.
    """

    def __init__(
        self,
        folder: Path,
        *,
        write: bool = True,
        wait_s: float = 0.0,
        laptop: str | None = None,
        clock: Callable[[], datetime] = _now,
    ) -> None:
        self.folder = folder
        self.laptop = laptop or laptop_name()
        self._own_name = laptop is None
        self.clock = clock
        self.writable = False
        self.heat_waits = False
        """Whether the running heat as it is held is not on the disk."""
        self.on_written: Callable[[Path], None] = lambda _path: None
        """Told of each file once it is written or taken away; of a draft, in its thread."""
        before = self._look(everything=True)
        self._known: KnownTexts = {}
        opened = read_folder(folder, self.laptop, self._known)
        if opened.weekend is None:
            raise CannotOpenError(opened.problems)
        self._lock = FolderLock(folder)
        # Drafts are written by a thread; only one at a time may take the lock afresh.
        self._looking = threading.Lock()
        self._places = OpenPlaces(folder, self.laptop)
        self.writable = write and self._lock.take(wait_s)
        if self.writable:
            self._tidy()
        self._marks = self._look()
        # Whoever held the lock until now may have written since the first look. That is rare, and
        # a second reading takes as long as the first (60 ms for the demo), so look before it.
        if self._look(everything=True) != before:
            opened = read_folder(folder, self.laptop, self._known)
        try:
            self._take(opened)
        except CannotOpenError:
            self._lock.drop()
            raise

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

    @property
    def why_reading_only(self) -> str:
        """Why nothing can be written, in words; empty when it can."""
        if self.writable:
            return ""
        if self._lock.refused == "not writable":
            return "the folder cannot be written to"
        holder = self.holder
        if holder is not None:
            return f"{holder} has it open"
        return "another pitwright has it open" if self._lock.refused else "it was opened so"

    @property
    def folder_is_there(self) -> bool:
        """Whether the folder still is a weekend; not so when its stick was pulled."""
        try:
            return (self.folder / "weekend.toml").is_file()
        except OSError:
            return False

    def can_take_over(self) -> bool:
        """Tell whether another instance held the folder and has left it."""
        return not self.writable and self._lock.refused == "held" and self._lock.is_free()

    def take_over(self) -> bool:
        """Become the one who writes, when nobody else is; False when somebody is.

        The folder is read again, for whoever wrote until now may have added to it. Raises
        CannotOpenError when its cards cannot be used just now; it then stays for reading only.
        """
        if self.writable:
            return True
        if not self._lock.take():
            return False
        self._tidy()
        if not self.reload():
            self._lock.drop()
            raise CannotOpenError(self.problems)
        self.writable = True
        return True

    def _tidy(self) -> None:
        """Clear away what the dead left, and find what an earlier pitwright had in progress."""
        clean_leftovers(self.folder)
        if self._own_name:
            with contextlib.suppress(OSError):
                adopt_open_work(self.folder, self.laptop)

    def _take(self, opened: Opened) -> None:
        if opened.weekend is None:
            raise CannotOpenError(opened.problems)
        self.weekend: Weekend = opened.weekend
        self.problems = opened.problems
        self._unread = opened.unread
        self._records = list(opened.records)

    # Reading again

    def _look(self, *, everything: bool = False) -> dict[str, tuple[int, int, int]]:
        """Return a mark of every file that matters, to notice changes from outside.

        With ``everything``, of every file that is read.
        """
        marks: dict[str, tuple[int, int, int]] = {}
        places = [self.folder, self.folder / "log", self.folder / "laps"]
        own = self.folder / "open" / self.laptop
        if everything or not self.writable:
            # Another instance may keep the timers and the open build of this laptop.
            places.append(own)
        if everything:
            places.append(own / "drafts")
        for place in places:
            try:
                with os.scandir(place) as entries:
                    for entry in entries:
                        if entry.name.endswith((".toml", ".csv")) and entry.name[0] != ".":
                            found = entry.stat()
                            marks[entry.path] = _mark(found)
            except OSError:
                continue
        return marks

    def _wrote(self, path: Path) -> None:
        """Mark a file of our own; what others changed meanwhile is still to be noticed."""
        with contextlib.suppress(OSError):
            self._marks[str(path)] = _mark(path.stat())

    def changed_outside(self) -> bool:
        """Tell whether files were changed by somebody else since the last look.

        What could not be read then, on a stick that fails now and then, is worth another look.
        """
        shaky = any(p.reason.startswith("cannot be read") for p in self.problems)
        return shaky or self._look() != self._marks

    def reload(self) -> bool:
        """Read the folder again; False when its cards cannot be used just now.

        The weekend read last then stays, and ``problems`` says why.
        """
        self._marks = self._look()
        opened = read_folder(self.folder, self.laptop, self._known, self.weekend.log)
        if opened.weekend is None:
            self.problems = opened.problems
            return False
        # What is typed or tapped here may not have reached the disk yet; nobody else writes it.
        before = self.weekend.open
        self._take(opened)
        if self.writable:
            self._set_open(drafts=before.drafts)
        heat = before.heat
        if self.heat_waits and heat is not None and heat.heat.clutch in self.weekend.clutches:
            self._set_open(heat=heat)
        return True

    # Writing

    def _may_write(self) -> None:
        with self._looking:
            self._check_lock()

    def _check_lock(self) -> None:
        if not self.writable:
            raise ReadOnlyError(
                0,
                f"The folder {self.folder.name} is open for reading only: {self.why_reading_only}",
            )
        if self._lock.still_ours():
            return
        # Unplugged, moved or made afresh: write only into what still is a weekend, as its holder.
        if not self.folder_is_there:
            raise StoreError(0, f"The folder {self.folder} is gone: moved, or a stick pulled")
        self._lock.drop()
        if not self._lock.take():
            self.writable = False
            self._check_lock()

    @contextlib.contextmanager
    def _writing(self, path: Path, data: bytes) -> Iterator[None]:
        """See that ``path`` may be written; whatever fails inside carries what it was."""
        try:
            self._may_write()
            yield
        except StoreError as error:
            error.path, error.data = path, data
            raise
        self.on_written(path)

    def _put(self, path: Path, data: bytes) -> None:
        with self._writing(path, data):
            replace_file(path, data, within=self.folder)

    def append(self, record: _R) -> _R:
        """Write a record to the log, fold it into the weekend and return it as it stands there.

        Raises StoreError when it could not be written, ReadOnlyError when it may not be.
        """
        used = [r.sequence for r in self._records if r.laptop == self.laptop]
        sequence, now = next_sequence(used), self.clock()
        spare = prepared(record, laptop=self.laptop, sequence=sequence, now=now)
        with self._writing(record_path(self.folder, spare), as_toml(spare)):
            landed = append_record(
                self.folder, record, laptop=self.laptop, sequence=sequence, now=now
            )
        self._records.append(landed)  # type: ignore[arg-type]  # every concrete kind is in the union
        log = in_force(self._records, self.weekend.log)
        self.weekend = replace(self.weekend, log=log)
        clocks = clock_problems(self.weekend.event, self._records)
        self.problems = (*self._unread, *log.problems, *clocks)
        self._wrote(record_path(self.folder, landed))
        return landed

    @property
    def records(self) -> tuple[AnyRecord, ...]:
        """The records as they were written, corrections among them."""
        return tuple(self._records)

    def keep_laps(
        self,
        heat: str,
        laps: list[float],
        source: bytes | None = None,
        marks: Mapping[int, str] | None = None,
    ) -> None:
        """Keep the laps of a heat, what stood beside them, and the file they came from as it came.

        ``marks`` go by the number of the lap, from 1. Laps kept before are put aside beside the
        sources. Raises StoreError when the disk will not have it, ValueError for what is no
        heat's name.
        """
        check_name(heat)
        path, data = self.folder / "laps" / f"{heat}.csv", format_lap_csv(laps, marks).encode()
        with self._writing(path, data):
            self._put_aside(heat, path, data)
            if source is not None:
                self._keep_source(heat, source)
            replace_file(path, data, within=self.folder)
        self.weekend = replace(
            self.weekend,
            laps={**self.weekend.laps, heat: tuple(laps)},
            marks={**self.weekend.marks, heat: dict(marks or {})},
        )
        self._wrote(path)

    def _put_aside(self, heat: str, path: Path, data: bytes) -> None:
        """Keep laps that are about to be replaced; tapped ones exist nowhere else."""
        try:
            old = path.read_bytes()
        except FileNotFoundError:
            return
        except OSError as error:
            why = error.strerror or str(error)
            raise StoreError(
                error.errno or 0, f"{path.name} is there but cannot be read, so it stays: {why}"
            ) from error
        if old != data:
            self._keep_source(f"{heat} replaced", old)

    def keep_laps_aside(self, heat: str, laps: list[float]) -> str:
        """Keep laps tapped for a heat that has others, and return where: a path in the folder.

        They stand beside the sources, to be brought in from there, and count for nothing until
        then. Raises StoreError when the disk will not have it, ValueError for what is no heat's
        name.
        """
        check_name(heat)
        data = format_lap_csv(laps).encode()
        with self._writing(self.folder / "laps" / "as-it-came" / f"{heat}.txt", data):
            kept = self._keep_source(f"{heat} tapped on {self.laptop}", data)
        return kept.relative_to(self.folder).as_posix()

    def _keep_source(self, heat: str, source: bytes) -> Path:
        for number in range(1, 1000):
            tail = "" if number == 1 else f"-{number}"
            path = self.folder / "laps" / "as-it-came" / f"{heat}{tail}.txt"
            try:
                create_file(path, source, within=self.folder)
            except FileExistsError:
                with contextlib.suppress(OSError):
                    if path.read_bytes() == source:
                        return path
                continue
            return path
        raise StoreError(0, f"There are a thousand lap files for {heat} already")

    def keep_build(self, build: OpenBuild) -> None:
        """Keep the build in progress, so that a flat battery costs nothing."""
        self._put(self._places.build, as_toml(build))
        self._set_open(build=build)

    def keep_heat(self, heat: OpenHeat) -> None:
        """Keep the running heat; what the disk will not have is held, for no lap is run twice.

        What is held goes on being held when another instance takes the folder meanwhile.
        """
        if self.writable or self.heat_waits:
            self._set_open(heat=heat)
            self.heat_waits = True
        self._put(self._places.heat, as_toml(heat))
        self.heat_waits = False

    def write_waiting(self) -> None:
        """Put on the disk what is held of a heat and not there yet; raises StoreError."""
        heat = self.weekend.open.heat
        if self.heat_waits and heat is not None:
            self.keep_heat(heat)

    def keep_timers(self, timers: list[Timer]) -> None:
        """Keep the running timers."""
        self._put(self._places.timers, timers_toml(timers))
        self._set_open(timers=list(timers))

    def keep_draft(self, form: str, fields: Mapping[str, str]) -> None:
        """Keep what is typed into a form; nothing typed forgets the draft."""
        self.hold_draft(form, fields)
        self.write_draft(form)

    @property
    def drafts(self) -> Mapping[str, Draft]:
        """What is typed and not kept yet, by form."""
        return self.weekend.open.drafts

    def hold_draft(self, form: str, fields: Mapping[str, str]) -> bool:
        """Hold what is typed until ``write_draft``; tell whether it differs from what is held."""
        drafts = with_draft(self.drafts, form, fields, self.clock())
        if drafts is not None:
            self._set_open(drafts=drafts)
        return drafts is not None

    def write_draft(self, form: str) -> None:
        """Put what is held of a form on the disk; a thread may, one at a time.

        Raises StoreError when the disk will not have it.
        """
        draft = self.drafts.get(form)
        if draft is None:
            self._forget(self._places.draft(form))
        else:
            self._put(self._places.draft(form), as_toml(draft))

    def clear_build(self) -> None:
        """Forget the build in progress, once its record has landed."""
        self._forget(self._places.build)
        self._set_open(build=None)

    def clear_heat(self) -> None:
        """Forget the running heat, once its record has landed."""
        self._forget(self._places.heat)
        self._set_open(heat=None)
        self.heat_waits = False

    def _forget(self, path: Path) -> None:
        self._may_write()
        remove_file(path)
        self.on_written(path)

    def _set_open(self, **changes: object) -> None:
        self.weekend = replace(self.weekend, open=self.weekend.open.model_copy(update=changes))
