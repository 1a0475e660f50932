"""When the disk will not have it: what was typed is saved in another folder."""

from __future__ import annotations

import time
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pitwright.store.files import StoreError, create_file
from pitwright.store.log_writer import as_toml

if TYPE_CHECKING:
    from pitwright.app.app import PitwrightApp
    from pitwright.weekend.records import Record

__all__ = ["Rescue"]

_SAID_AGAIN_AFTER_S: Final = 30.0
# These lines differ each time the same entry is tried.
_OF_THE_TRY: Final = (b"id =", b"happened_at =", b"recorded_at =", b"sequence =")


def _body(data: bytes) -> bytes:
    return b"\n".join(line for line in data.splitlines() if not line.startswith(_OF_THE_TRY))


class Rescue:
    """Keeps what could not be written, says so, and saves it where the user says."""

    def __init__(self, app: PitwrightApp) -> None:
        self._app = app
        self.unsaved: dict[Path, bytes] = {}
        self._said = ("", 0.0)
        self._asking = False
        app.session.on_written = self._written

    def failed(self, error: StoreError, *, offer: bool) -> None:
        """Say why something was not kept; with ``offer``, ask where to save it instead.

        The work in progress is written again and again: what it says is not repeated each time.
        """
        reason = error.strerror or str(error)
        if error.path is not None:
            self._landed(error.data)
            self.unsaved[error.path] = error.data
        if offer and self.unsaved:
            self._tell(reason)
            # A form that comes back with what was typed comes first, this on top of it.
            self._app.set_timer(0.05, lambda: self.ask(reason))
            return
        said, at = self._said
        if reason != said or time.monotonic() - at > _SAID_AGAIN_AFTER_S:
            self._tell(reason, ". F9 saves it on another disk" if self.unsaved else "")
            self._said = (reason, time.monotonic())

    def _tell(self, reason: str, tail: str = "") -> None:
        # Only here is it true: whoever else writes, a command for instance, keeps nothing.
        said = f"{reason.rstrip('.?')}. What you typed is still here{tail}"
        self._app.notify(said, title="Not kept", severity="error", timeout=20, markup=False)

    def kept(self, record: Record | None = None) -> None:
        """Forget a record kept after all; once nothing waits, say so where it was said to."""
        if record is not None:
            self._landed(as_toml(record))
        if self.unsaved or self._app.session.heat_waits:
            return
        told, self._said = self._said[0], ("", 0.0)
        if told:
            self._app.notify("What is in hand is kept in it", title="The disk takes it again")

    def _written(self, path: Path) -> None:
        """Forget open work that is on the disk now; a record goes by what it says."""
        if path.parent != self._app.session.folder / "log":
            self.unsaved.pop(path, None)

    def _landed(self, data: bytes) -> None:
        body = _body(data)
        # In place, for a draft's thread may take another one out.
        for path, held in list(self.unsaved.items()):
            if _body(held) == body:
                self.unsaved.pop(path, None)

    def ask(self, reason: str = "") -> None:
        """Ask for a folder and save there what could not be kept."""
        from pitwright.app.widgets.dialogs import AskLine

        if not self.unsaved:
            self._app.notify("All that was typed is kept in the weekend; nothing to save")
            return
        if self._asking:
            return
        self._asking = True
        many = "" if len(self.unsaved) == 1 else f" ({len(self.unsaved)} entries)"
        title = (f"Not kept: {reason}\n\n" if reason else "") + (
            f"Save it in another folder{many}? Which one?"
        )

        def answered(folder: str | None) -> None:
            self._asking = False
            if folder is None:
                self._app.notify("It stays on the screen; F9 asks again")

        self._app.push_screen(
            AskLine(
                title,
                value=str(Path.home()),
                hint="enter saves it there, escape leaves it on the screen",
                draft="rescue folder",
                check=self._save,
            ),
            answered,
        )

    def _tapped(self) -> dict[Path, bytes]:
        """Return the laps of a heat that waits for the disk, as a file that can be brought in."""
        from pitwright.desk.heats.heats import laps_of
        from pitwright.store.lap_csv import format_lap_csv

        session = self._app.session
        heat = session.weekend.open.heat
        laps = laps_of(heat) if session.heat_waits and heat is not None else ()
        if heat is None or not laps:
            return {}
        return {Path("laps") / f"{heat.heat.heat}.csv": format_lap_csv(list(laps)).encode()}

    def _save(self, typed: str) -> str:
        """Save in the folder typed; return what is wrong with it, nothing when it is done."""
        if not typed.strip():
            return "a folder, such as your home folder or another stick"
        session = self._app.session
        try:
            folder = Path(typed.strip()).expanduser().absolute()
            if folder.resolve().is_relative_to(session.folder.resolve()):
                return "that is inside the weekend's own folder; choose another one"
            if not folder.is_dir():
                return "there is no such folder"
            stamp = self._app.clock().astimezone(UTC)
            place = folder / f"pitwright-saved-{stamp:%Y%m%dT%H%M%SZ}"
            held = dict(self.unsaved)
            files = {path.relative_to(session.folder): data for path, data in held.items()}
            files = self._tapped() | files
            for name, data in files.items():
                create_file(place / name, data)
                self.unsaved.pop(session.folder / name, None)
        except FileExistsError as error:
            return f"{error} is there already; try again in a second"
        except (OSError, RuntimeError, ValueError) as error:
            return getattr(error, "strerror", None) or str(error)
        how = "Once the weekend can be written again, enter it there"
        if any(name.parts[0] in ("log", "laps") for name in files):
            how += (
                f" or run: pitwright merge {session.folder} {place}. Not both, or it stands "
                "there twice"
            )
        self._app.notify(
            f"Saved in {place}. {how}",
            title="Saved elsewhere",
            timeout=60,
            markup=False,
        )
        return ""
