"""A newer format is refused politely, an older one is brought up to date on a copy."""

from __future__ import annotations

import errno
import json
import shutil
from datetime import date
from pathlib import Path

import pytest

from pitwright.cli import main
from pitwright.store import migrate as migrations
from pitwright.store.create import CARDS, new_weekend
from pitwright.store.files import StoreError
from pitwright.store.migrate import format_of, migrate
from pitwright.store.reader import read_folder
from pitwright.weekend.records import RECORD_KINDS

OLD = Path(__file__).parent / "old_weekend_format_0"


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_weekend(tmp_path / "w", name="W", time_zone="UTC", starts_on=date(2026, 5, 15))
    return tmp_path / "w"


@pytest.mark.parametrize("card", CARDS)
def test_a_card_of_a_newer_format_is_refused_politely(folder: Path, card: str) -> None:
    path = folder / card
    path.write_text(path.read_text().replace("format = 1", "format = 2") + "\nwhat_is_new = 7\n")
    before = contents(folder)
    opened = read_folder(folder, "tent1")
    assert opened.weekend is None
    (problem,) = opened.problems
    assert (problem.file, problem.key) == (card, "format")
    assert "newer pitwright" in problem.reason
    assert "update pitwright" in problem.advice
    assert contents(folder) == before


@pytest.mark.parametrize("kind", [*RECORD_KINDS, "a kind of the future"])
def test_a_record_of_a_newer_format_is_left_out_and_said(folder: Path, kind: str) -> None:
    name = "20260515T080000Z-x-tent1-aaaa.toml"
    (folder / "log" / name).write_text(f'format = 2\nkind = "{kind}"\nwhat_is_new = 7\n')
    opened = read_folder(folder, "tent1")
    assert opened.weekend is not None
    (problem,) = opened.problems
    assert (problem.file, problem.key) == (f"log/{name}", "format")
    assert "newer pitwright" in problem.reason


def test_an_old_weekend_says_how_to_bring_it_up_to_date() -> None:
    opened = read_folder(OLD, "tent1")
    assert opened.weekend is None
    said = {p.file: p for p in opened.problems}
    for card in CARDS:
        assert said[card].key == "format"
        assert "older format" in said[card].reason
        assert "pitwright migrate" in said[card].advice


def test_the_kept_old_weekend_is_migrated_on_a_copy(tmp_path: Path) -> None:
    before = contents(OLD)
    done = migrate(OLD, tmp_path / "new")
    assert contents(OLD) == before
    assert done.problems == ()
    assert done.from_format == 0
    opened = read_folder(tmp_path / "new", "tent1")
    assert opened.problems == ()
    weekend = opened.weekend
    assert weekend is not None
    assert weekend.event.time_zone == "Europe/Lisbon"
    assert sorted(r.sequence for r in opened.records) == [1, 2, 3, 4, 5]
    assert {r.laptop for r in opened.records} == {"tent1"}
    state = weekend.state()
    assert state.recess is not None
    assert state.recess.value_mm == 1.35
    (heat,) = weekend.heats
    assert heat.laps == (21.4, 20.9, 21.05)
    # Comments, and texts that only look like keys, are as they were.
    assert "# kept by hand: do not lose this line" in (tmp_path / "new/weekend.toml").read_text()
    notes = [r.note for r in weekend.log.records if r.kind == "setting"]
    assert notes == ["format = 0 is not a key here\nlaptop_id = neither"]
    kept = (tmp_path / "new/laps/as-it-came/Q1.txt").read_bytes()
    assert kept == b"21.4;20.9;21.05\r\n"


def test_the_command_migrates_and_verifies(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new = tmp_path / "new"
    assert main(["migrate", str(OLD), str(new), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["from_format"] == 0
    assert main(["verify", str(new)]) == 0
    capsys.readouterr()
    assert main(["migrate", str(OLD), str(new)]) == 2
    assert "there already" in capsys.readouterr().err
    assert main(["migrate", str(new), str(tmp_path / "newer")]) == 2
    assert "nothing to migrate" in capsys.readouterr().err
    assert not (tmp_path / "newer").exists()


def test_a_format_from_the_future_or_none_is_not_guessed_at(folder: Path, tmp_path: Path) -> None:
    card = folder / "weekend.toml"
    text = card.read_text()
    for number, reason in (("7", "cannot migrate"), ("-1", "cannot migrate"), ('"x"', "no whole")):
        card.write_text(text.replace("format = 1", f"format = {number}"))
        with pytest.raises(StoreError, match=reason):
            migrate(folder, tmp_path / "new")
    card.write_text("not TOML")
    with pytest.raises(StoreError, match="not valid TOML"):
        format_of(folder)
    card.unlink()
    with pytest.raises(StoreError, match="is not there"):
        format_of(folder)
    assert not (tmp_path / "new").exists()


def test_a_migration_cut_short_leaves_no_new_weekend(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = tmp_path / "old"
    shutil.copytree(OLD, old)
    before = contents(old)

    def full(path: Path, data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(migrations, "replace_file", full)
    with pytest.raises(StoreError, match="No space"):
        migrate(old, tmp_path / "new")
    assert [p.name for p in tmp_path.iterdir()] == ["old"]
    assert contents(old) == before


def test_every_format_before_todays_has_its_step() -> None:
    assert sorted(migrations.MIGRATIONS) == list(range(migrations.FORMAT))
