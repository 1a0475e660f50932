"""Two laptops' folders into one: the union, and what differs is said, never settled silently."""

from __future__ import annotations

import json
import os
import shutil
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import WeekendMaker

from pitwright.cli import main
from pitwright.store.files import StoreError
from pitwright.store.merge import merge
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.records import Correction, NoteRecord, Setting

NOW = datetime(2026, 5, 15, 12, tzinfo=UTC)


def note(text: str) -> NoteRecord:
    return NoteRecord(happened_at=NOW, text=text)


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and "open" not in p.parts
    }


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path]:
    """Two folders with a common beginning and work of their own."""
    maker = WeekendMaker(tmp_path / "a")
    maker.fit("spring", "S1")
    maker.heat("P1", "practice", 8, [20.5, 20.1])
    a, b = tmp_path / "a", tmp_path / "b"
    shutil.copytree(a, b)
    with Session(a, laptop="tent1") as session:
        session.append(note("from tent1"))
        session.keep_laps("P2", [19.9, 19.8])
    with Session(b, laptop="van2") as session:
        session.append(note("from van2"))
        session.keep_laps("Q1", [19.7], b"as it came")
    (b / "recordings").mkdir()
    (b / "recordings" / "launch.wav").write_bytes(b"RIFF")
    return a, b


def test_a_merge_is_the_union_and_touches_nothing_else(two: tuple[Path, Path]) -> None:
    a, b = two
    before_a, before_b = contents(a), contents(b)
    done = merge(a, b)
    assert contents(b) == before_b
    assert contents(a) == before_b | before_a
    assert len([n for n in done.copied if n.startswith("log/")]) == 1
    assert {"laps/Q1.csv", "laps/as-it-came/Q1.txt", "recordings/launch.wav"} < set(done.copied)
    assert done.left == {}
    assert done.problems == ()
    assert {card.result for card in done.cards} == {"same"}
    again = merge(a, b)
    assert again.copied == ()
    # Both ways round it is the same weekend.
    merge(b, a)
    assert contents(a) == contents(b)
    logs = [read_folder(place, "x").weekend for place in two]
    assert logs[0] is not None
    assert logs[0] == logs[1]


def test_a_dry_run_only_says(two: tuple[Path, Path]) -> None:
    a, b = two
    before = contents(a)
    said = merge(a, b, dry_run=True)
    assert contents(a) == before
    assert merge(a, b).copied == said.copied


def test_cards_are_compared_key_by_key_and_never_written(two: tuple[Path, Path]) -> None:
    a, b = two
    stock = b / "stock.toml"
    stock.write_text(stock.read_text().replace('label = "Spring 3"', 'label = "The stiff one"'))
    (b / "weekend.toml").write_text("# mine\n" + (b / "weekend.toml").read_text())
    (b / "procedure.toml").write_text("not TOML")
    (b / "clutch-B.toml").write_text((b / "clutch.toml").read_text())
    before = {p.name: p.read_bytes() for p in a.glob("*.toml")}
    done = merge(a, b)
    assert {p.name: p.read_bytes() for p in a.glob("*.toml")} == before
    said = {card.card: card for card in done.cards}
    assert said["stock.toml"].result == "differs"
    assert said["stock.toml"].keys == ("spring[S3].label",)
    assert said["weekend.toml"].result == "comments differ"
    assert said["clutch.toml"].result == "same"
    assert said["procedure.toml"].result == "unreadable"
    assert said["clutch-B.toml"].result == "only there"


def test_laps_of_one_heat_that_differ_are_both_kept_and_the_fuller_ones_stand(
    two: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = two
    (b / "laps" / "P1.csv").write_text("lap,seconds\n1,25\n")
    before = contents(a), contents(b)
    said = merge(a, b, dry_run=True)
    assert (contents(a), contents(b)) == before
    done = merge(a, b)
    assert (done.beside, done.replaced) == (said.beside, said.replaced)
    assert list(done.beside) == ["laps/P1.csv"]
    opened = read_folder(a, "tent1")
    assert opened.problems == ()
    assert opened.weekend is not None
    assert opened.weekend.laps["P1"] == (20.5, 20.1)
    assert set(opened.weekend.laps) == {"P1", "P2", "Q1"}
    # The other way round it comes to the same, and then there is nothing left to do.
    assert main(["merge", str(b), str(a)]) == 0
    assert "laps/P1.csv differs: the other one is fuller and taken" in capsys.readouterr().out
    assert contents(a) == contents(b)
    for into, other in ((a, b), (b, a)):
        again = merge(into, other)
        assert (again.copied, again.beside, again.replaced) == ((), {}, ())
    # Who then chooses the others keeps what was chosen.
    (a / "laps" / "P1.csv").write_text("lap,seconds\n1,24\n")
    (b / "laps" / "P1.csv").write_text("lap,seconds\n1,25\n")
    merge(a, b)
    assert (a / "laps" / "P1.csv").read_text() == "lap,seconds\n1,24\n"


@pytest.mark.parametrize("laps", [[20.5], []], ids=["one lap taken out", "all of them"])
def test_laps_put_right_give_way_to_no_older_copy(
    two: tuple[Path, Path], laps: list[float], capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = two
    with Session(a, laptop="tent1") as session:
        session.keep_laps("P1", [20.5])  # put right twice, the second time on purpose
        session.keep_laps("P1", laps)
    right = (a / "laps" / "P1.csv").read_bytes()
    older = (b / "laps" / "P1.csv").read_bytes()
    assert main(["merge", str(a), str(b)]) == 0
    said = capsys.readouterr().out
    assert "laps/P1.csv differs: the one here was put right after the other one and stands" in said
    assert (a / "laps" / "P1.csv").read_bytes() == right
    # The same seen from the other folder; and it stays so, back and forth.
    assert main(["merge", str(b), str(a)]) == 0
    said = capsys.readouterr().out
    assert "the other one was put right after the one here and taken; the one here kept" in said
    for into, other in ((a, b), (b, a), (a, b)):
        assert (into / "laps" / "P1.csv").read_bytes() == right
        assert merge(into, other).beside == {}
    assert contents(a) == contents(b)
    assert older in contents(b).values()
    # Who goes back to the older ones has chosen so: they are the later ones now.
    with Session(b, laptop="van2") as session:
        session.keep_laps("P1", [20.5, 20.1])
    assert merge(a, b).replaced == ("laps/P1.csv",)
    assert (a / "laps" / "P1.csv").read_bytes() == older
    assert merge(b, a).beside == {}


def test_recordings_that_differ_stay_what_the_records_name(two: tuple[Path, Path]) -> None:
    a, b = two
    (a / "recordings").mkdir()
    (a / "recordings" / "launch.wav").write_bytes(b"here")
    done = merge(a, b)
    assert done.replaced == ()
    assert (a / "recordings" / "launch.wav").read_bytes() == b"here"
    assert (a / done.beside["recordings/launch.wav"]).read_bytes() == b"RIFF"
    assert merge(a, b).beside == {}


@pytest.mark.parametrize("inside", [[], ["notes.txt"], ["log/app.log"], ["log/app.toml"]])
def test_what_is_no_weekend_is_refused(
    two: tuple[Path, Path], capsys: pytest.CaptureFixture[str], inside: list[str]
) -> None:
    a, _ = two
    other = a.parent / "other"
    other.mkdir()
    for name in inside:
        (other / name).parent.mkdir(exist_ok=True)
        (other / name).write_text("x")
    before = contents(a)
    assert main(["merge", str(a), str(other)]) == 2
    assert "holds no weekend" in capsys.readouterr().err
    assert contents(a) == before


def test_a_folder_inside_the_log_is_said_and_not_copied(two: tuple[Path, Path]) -> None:
    a, b = two
    (b / "log" / "old").mkdir()
    record = next((b / "log").glob("*-note-van2-*"))
    record.rename(b / "log" / "old" / record.name)
    done = merge(a, b)
    assert done.left == {"log/old": "is a folder inside the log, which is never read"}
    assert not (a / "log" / "old").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such files on Windows")
def test_pipes_and_linked_folders_are_named_and_stop_nothing(two: tuple[Path, Path]) -> None:
    a, b = two
    os.mkfifo(b / "log" / "20260515T080000Z-note-x-aaaa.toml")
    os.mkfifo(a / "laps" / "Q1.csv")
    (b / "laps" / "more").symlink_to(a, target_is_directory=True)
    done = merge(a, b)
    assert done.left == {
        "laps/more": "is a link; copy the folder itself",
        "log/20260515T080000Z-note-x-aaaa.toml": "is not a file",
        "laps/Q1.csv": "cannot come here: what has its name here is not a file",
    }
    assert "recordings/launch.wav" in done.copied


def test_a_record_changed_by_hand_is_left_out_and_said(
    two: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = two
    path = next((b / "log").glob("*-fit-*"))
    path.write_text(path.read_text().replace('"S1"', '"S2"'))
    before = (a / "log" / path.name).read_bytes()
    assert main(["merge", str(a), str(b)]) == 1
    assert f"left out: log/{path.name}" in capsys.readouterr().out
    assert (a / "log" / path.name).read_bytes() == before


def test_two_corrections_of_one_record_are_shown_until_one_is_taken_back(
    two: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = two
    with Session(a, laptop="tent1") as session:
        wrong = session.append(Setting(happened_at=NOW, recess_mm=1.5))
    shutil.copy(a / "log" / f"{wrong.id}.toml", b / "log")
    for place, laptop, recess in ((a, "tent1", 1.3), (b, "van2", 1.4)):
        right = Setting(happened_at=NOW, recess_mm=recess)
        with Session(place, laptop=laptop) as session:
            session.append(
                Correction(happened_at=NOW, replaces=wrong.id, reason="r", replacement=right)
            )
    assert main(["merge", str(a), str(b)]) == 1
    assert "is corrected twice" in capsys.readouterr().out
    assert main(["verify", str(a)]) == 1
    assert "take one of the two corrections back" in capsys.readouterr().out
    with Session(a, laptop="tent1") as session:
        (conflict,) = session.problems
        assert conflict.weight == "error"
        one = next(r for r in session.records if isinstance(r, Correction) and r.laptop == "van2")
        session.append(Correction(happened_at=NOW, replaces=one.id, reason="mine stands"))
        assert session.problems == ()
        assert session.weekend.state().recess.value_mm == 1.3  # type: ignore[union-attr]
    assert main(["verify", str(a)]) == 0


def test_what_was_saved_elsewhere_is_merged_without_cards(two: tuple[Path, Path]) -> None:
    a, _ = two
    spare = a.parent / "spare"
    (spare / "log").mkdir(parents=True)
    record = next((two[1] / "log").glob("*-note-van2-*"))
    shutil.copy(record, spare / "log")
    done = merge(a, spare)
    assert done.copied == (f"log/{record.name}",)
    assert done.cards == ()


def test_links_and_the_folder_itself_are_refused(two: tuple[Path, Path]) -> None:
    a, b = two
    secret = a.parent / "secret.toml"
    secret.write_text("x = 1")
    (b / "log" / "20260515T080000Z-note-x-aaaa.toml").symlink_to(secret)
    done = merge(a, b)
    assert list(done.left.values()) == ["is a link; copy the file itself"]
    with pytest.raises(StoreError, match="same folder"):
        merge(a, b.parent / "a")


def test_the_command_says_what_it_did(
    two: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = two
    assert main(["merge", str(a), str(b), "--dry-run", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["dry_run"] is True
    assert main(["merge", str(a), str(b)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("1 record copied")
    assert "stock.toml is the same" in out
    assert main(["merge", str(a), str(b / "nowhere")]) == 2
    assert main(["merge", str(b / "log"), str(a)]) == 2
    assert "holds no weekend" in capsys.readouterr().err
