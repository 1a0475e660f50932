"""What a terminal would obey never gets out, whichever way it came in."""

from __future__ import annotations

import io
import json
import sys
import unicodedata

import pytest
from factory import WeekendMaker
from hypothesis import given
from hypothesis import strategies as st

from pitwright.cli import main
from pitwright.cli.shared import json_text
from pitwright.desk.form_text import FieldError, read_minutes
from pitwright.signs import bare, first_hidden, visible
from pitwright.sound.read_audio import NotAudioError, open_recording
from pitwright.store.lock import FolderLock
from pitwright.store.reader import read_folder
from pitwright.timing.laps import read_laps
from pitwright.units import QuantityError, read_quantity
from pitwright.weekend.problems import Problem

EVIL = "\x1b[31m\x9b2J\x07\u202e\u2066\u061c\u200f\u2028x"
CALL = "import sys; from pitwright.cli import main; sys.exit(main())"


@given(st.text())
def test_visible_leaves_nothing_a_terminal_obeys(text):
    shown = visible(text, keep="")
    assert shown.isprintable() or first_hidden(shown, keep="") is None
    assert visible(shown, keep="") == shown
    shown.encode()  # no lone halves of a pair


def test_letters_of_every_script_stay():
    for text in ("שלום", "עברית 12", "日本語", "e\u0301", "🏁👨‍👩‍👧", "½ µm"):
        assert visible(text) == text


# Signs of a script which stand before or around others, and are seen; and of those which shape
# hieroglyphs. All other format characters have no ink.
SEEN_FORMAT = {*range(0x600, 0x606), 0x6DD, 0x70F, 0x890, 0x891, 0x8E2, 0x110BD, 0x110CD,
               *range(0x13430, 0x13460)}  # fmt: skip


def test_no_sign_without_ink_is_let_through_unseen():
    """Against the general category Cf of the interpreter's own Unicode tables."""
    for code in range(sys.maxunicode + 1):
        sign = chr(code)
        if unicodedata.category(sign) == "Cf" and code not in SEEN_FORMAT:
            text = f"Q{sign}1"
            assert visible(text) in ("Q1", f"Q<U+{code:04X}>1"), hex(code)
            assert bare(text) == "Q1"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("S1\u200b", "S1<U+200B>"),
        ("\ufeffS1", "<U+FEFF>S1"),
        ("a\U000e0041\U000e007fb", "a<U+E0041><U+E007F>b"),
        ("S\u200d1", "S<U+200D>1"),
        ("1\ufe0f0", "1<U+FE0F>0"),
        ("\u3164", "<U+3164>"),
        ("soft\u00adhyphen", "soft<U+00AD>hyphen"),
        ("1\ufe0f\u20e3", "1\ufe0f\u20e3"),
        ("❤\ufe0f", "❤\ufe0f"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("क\u094d\u200dष", "क\u094d\u200dष"),
    ],
)
def test_what_has_no_width_is_shown_by_its_number(text, shown):
    assert visible(text) == shown
    assert visible(shown) == shown


def test_in_records_and_cards_and_on_every_way_out_it_is_seen(tmp_path, capsys):
    maker = WeekendMaker(tmp_path / "w")
    stock = maker.folder / "stock.toml"
    stock.write_text(stock.read_text().replace('"Spring 1"', '"Spring\u200b 1"'))
    maker.note("kerb\ufeff \U000e0041")
    path = next((maker.folder / "log").glob("*-note-*"))
    path.write_text(path.read_text().replace("<U+FEFF>", "\ufeff"))  # as another program wrote it
    (maker.folder / "log" / "x\u200b.toml").write_text("x")
    for call in (["timeline"], ["stock"], ["verify"], ["daysheet", "--day", "all"],
                 ["daysheet", "--format", "html"], ["state", "--json"]):  # fmt: skip
        main([call[0], str(maker.folder), *call[1:]])
    said = "".join(capsys.readouterr())
    assert bare(said) == said
    assert "kerb<U+FEFF> <U+E0041>" in said
    assert "Spring<U+200B> 1" in said
    assert "log/x<U+200B>.toml" in said


def test_every_hidden_sign_goes():
    assert visible(EVIL) == "[31m2Jx"
    assert visible("\ud800a") == "a"


def test_a_problem_is_fit_to_be_shown():
    problem = Problem(f"log/{EVIL}.toml", EVIL, EVIL, EVIL)
    assert first_hidden(str(problem), keep="") is None


def test_a_file_named_with_escapes_is_named_without_them(tmp_path, capfd):
    maker = WeekendMaker(tmp_path / "w")
    (maker.folder / "log" / "a\x1b[31mb.toml").write_text("x")
    (maker.folder / "laps" / "a\u202eb.csv").write_text("x")
    for problem in read_folder(maker.folder, "tent1").problems:
        assert first_hidden(str(problem), keep="") is None
    assert main(["verify", str(maker.folder)]) == 1
    said = capfd.readouterr().out
    assert "log/a[31mb.toml" in said
    assert "laps/ab.csv" in said
    assert first_hidden(said) is None


@pytest.mark.parametrize(
    "words",
    [
        ["verify", EVIL],
        ["state", EVIL, "--json"],
        ["state", "{}", "--clutch", EVIL],
        ["state", "{}", "--at", EVIL],
        ["bite", "{}", "--recess", EVIL],
        ["measure", "{}", EVIL, "1"],
        ["measure", "{}", "free_length", EVIL],
        ["heat", "{}", EVIL],
        ["note", "{}", EVIL],
        ["daysheet", "{}", "--day", EVIL],
        ["forecast", "{}", "--part", EVIL],
        [EVIL],
        ["--" + EVIL],
    ],
)
def test_what_was_typed_is_repeated_without_escapes(tmp_path, capfd, words):
    maker = WeekendMaker(tmp_path / "w")
    words = [word.replace("{}", str(maker.folder)) for word in words]
    try:
        status = main(words)
    except SystemExit as stop:
        status = stop.code
    out, err = capfd.readouterr()
    assert status in (1, 2)
    assert err or out
    assert first_hidden(out + err) is None


def test_an_output_that_lacks_a_sign_gets_a_question_mark(tmp_path, monkeypatch):
    maker = WeekendMaker(tmp_path / "w")
    maker.note("Kerb ✓ שלום")
    narrow = io.TextIOWrapper(io.BytesIO(), "ascii")
    monkeypatch.setattr(sys, "stdout", narrow)
    assert main(["timeline", str(maker.folder)]) == 0
    narrow.flush()
    assert b"Kerb ? ????" in narrow.buffer.getvalue()


def test_json_keeps_every_sign_as_an_escape():
    said = json_text({"a": EVIL})
    assert first_hidden(said) is None
    assert json.loads(said) == {"a": EVIL}
    assert "שלום" in json_text({"a": "שלום"})


def test_errors_of_the_readers_are_fit_to_be_shown():
    with pytest.raises(QuantityError) as quantity:
        read_quantity(EVIL, "mm")
    with pytest.raises(FieldError) as field:
        read_minutes(f"5 {EVIL}")
    with pytest.raises(NotAudioError) as sound:
        open_recording(io.BytesIO(b""), EVIL)
    for error in (quantity, field, sound):
        assert first_hidden(str(error.value), keep="") is None


def test_laps_are_previewed_without_escapes():
    drivers = ["Ana\x1b[2J", *["Ana[2J"] * 9, "Kor\u202e", *["Kor"] * 9]
    rows = "\n".join(f"{driver},{18 + i / 10}" for i, driver in enumerate(drivers))
    found = read_laps(f"driver,time\n{rows}".encode())
    assert found.question == ("Ana[2J", "Kor")
    assert any("control characters left out" in note for note in found.understood.notes)
    header = read_laps(b"lap a\tb;time\n1;18.1\n2;18.2\n").understood.header
    assert header == ("lap a b", "time")


@pytest.mark.parametrize(
    "note",
    [
        b"",
        b"[" * 100_000,
        b'{"host": "a", "process": 1e400, "since": ""}',
        b'{"host": "a", "process": -1, "since": ""}',
        b'{"host": "a", "process": 99999999999999999999, "since": ""}',
        b"\xff\xfe",
        b"x" * 3_000_000,
    ],
)
def test_a_strange_note_beside_the_lock_names_nobody(tmp_path, note):
    (tmp_path / "open").mkdir()
    (tmp_path / "open" / "holder.json").write_bytes(note)
    assert FolderLock(tmp_path).holder() is None


def test_the_holder_is_named_without_escapes(tmp_path):
    (tmp_path / "open").mkdir()
    note = {"host": EVIL, "process": 1, "since": EVIL}
    (tmp_path / "open" / "holder.json").write_text(json.dumps(note))
    assert first_hidden(str(FolderLock(tmp_path).holder()), keep="") is None
