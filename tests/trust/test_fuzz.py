"""The fuzzing of the readers in a short form, and properties of what people type.

In full: python tests/trust/fuzz_readers.py --cases 100000 --seed 1
"""

from __future__ import annotations

import io
import struct

import pytest
from factory import ZONE, blank_weekend
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from trust.answers import ask_everything
from trust.fuzz_readers import CASES, NOW, run

from pitwright.desk.build.build import start
from pitwright.desk.form_text import FieldError, read_minutes, read_moment
from pitwright.desk.heats.heats import start_heat
from pitwright.desk.wording import change_words, mm
from pitwright.metrology.entry import parse_entry
from pitwright.sound.read_audio import AudioError, open_recording
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.store.user import UserFiles
from pitwright.timing.laps import parse_typed_laps, read_laps
from pitwright.timing.text import LapFileError
from pitwright.units import QuantityError, read_quantity
from pitwright.weekend.records import Reading


@pytest.mark.parametrize("case", [case.__name__ for case, _share in CASES])
def test_no_reader_breaks_on_spoiled_input(case):
    assert run(120, 11, desk_share=0.05, only=case, say=lambda _line: None) == []


def test_the_demo_answers_every_question(tmp_path):
    from pitwright.paths import demo_folder

    found = read_folder(demo_folder(), "tent1").weekend
    assert found is not None
    lines = ask_everything(found, NOW)
    assert len(lines) > 200
    assert all(isinstance(line, str) for line in lines)
    with Session(blank_weekend(tmp_path / "w"), laptop="tent1") as session:
        assert ask_everything(session.weekend, NOW)


@given(st.text(max_size=60))
def test_any_text_is_an_entry_or_refused_with_a_reason(text):
    entry = parse_entry(text)
    assert entry.state in ("complete", "partial", "refused")
    assert entry.reason or entry.state == "complete" or entry.values


@given(st.text(max_size=80))
def test_any_text_is_a_quantity_or_refused(text):
    for unit in ("mm", "degC", "rpm"):
        try:
            read_quantity(text, unit)
        except QuantityError as error:
            assert str(error)  # noqa: PT017 - either way is right
    try:
        read_minutes(text)
    except FieldError as error:
        assert len(str(error)) <= 200  # noqa: PT017


@given(st.one_of(st.text(max_size=400).map(str.encode), st.binary(max_size=400)))
def test_any_bytes_are_laps_or_refused(data):
    try:
        found = read_laps(data)
    except LapFileError as error:
        assert error.reason  # noqa: PT017
    else:
        assert all(0 < lap <= 3600 for lap in found.laps)
    parse_typed_laps(data.decode("utf-8", "replace"))


def test_a_wide_header_that_is_cut_off_is_damaged():
    data = b"RF64\xff\xff\xff\xffWAVEds64" + struct.pack("<I", 28) + b"1234"
    with pytest.raises(AudioError):
        open_recording(io.BytesIO(data))


def test_negative_and_enormous_figures_are_refused_by_the_card(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    card = folder / "clutch.toml"
    kept = card.read_text()
    for old, new, reason in (
        ('"1.6 mm"', '"1e300 mm"', "far too large"),
        ('"0.9 g"', '"-0.9 g"', "cannot be below 0"),
    ):
        assert old in kept
        card.write_text(kept.replace(old, new, 1))
        (problem,) = read_folder(folder, "tent1").problems
        assert reason in problem.reason
        assert problem.key


def test_what_was_remembered_may_be_anything(tmp_path):
    user = UserFiles(tmp_path, tmp_path)
    for text in (
        'weekend = ["x"]',
        "weekend = 3",
        "weekend = [[1]]",
        "theme = 1",
        "a = " + "[" * 9999,
    ):
        (tmp_path / "remembered.toml").write_text(text)
        assert user.recent() == []
        assert user.theme() is None
    (tmp_path / "remembered.toml").write_text(
        '[[weekend]]\nfolder = "a\\u0000b"\nname = "\\u001b[31mx"\nopened_at = "y"\n'
    )
    (recent,) = user.recent()
    assert (str(recent.folder), recent.name, recent.there) == ("ab", "[31mx", False)


def test_open_work_on_a_clutch_without_its_card_is_pointed_out(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop="tent1") as session:
        session.keep_build(start(session.weekend, "full rebuild", NOW))
        session.keep_heat(start_heat(session.weekend, NOW, name="P9"))
    for path in (folder / "open" / "tent1").glob("*.toml"):
        text = path.read_text()
        path.write_text(text.replace('clutch = "A"', 'clutch = "B"'))
    found = read_folder(folder, "tent1")
    assert {(p.file, p.key) for p in found.problems} == {
        ("open/tent1/build.toml", "clutch"),
        ("open/tent1/heat.toml", "clutch"),
    }
    assert found.weekend is not None
    assert (found.weekend.open.build, found.weekend.open.heat) == (None, None)
    assert ask_everything(found.weekend, NOW)


def test_limits_between_which_nothing_is_good_are_refused():
    with pytest.raises(ValidationError, match="no value could be good"):
        Reading(quantity="x", values_mm=[1.0], low_mm=2.0, high_mm=1.0)
    with pytest.raises(ValidationError, match="no value could be good"):
        Reading(quantity="x", values_mm=[1.0], discard_below_mm=2.0, high_mm=2.0)


def test_a_card_with_one_value_for_both_limits_is_refused(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    card = folder / "clutch.toml"
    card.write_text(
        card.read_text()
        + """
[quantities.gap]
label = "Gap"
instrument = "caliper"
low = { value = "1 mm", from = "invented" }
high = { value = "1 mm", from = "invented" }
"""
    )
    (problem,) = read_folder(folder, "tent1").problems
    assert problem.key == "quantities.gap"
    assert "no value could be good" in problem.reason


def test_an_open_build_without_steps_is_refused(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop="tent1") as session:
        session.keep_build(start(session.weekend, "full rebuild", NOW))
    path = folder / "open" / "tent1" / "build.toml"
    head = path.read_text().split("[[steps]]")[0]
    path.write_text(f"steps = []\n{head}")
    (problem,) = read_folder(folder, "tent1").problems
    assert (problem.file, problem.key) == ("open/tent1/build.toml", "steps")


@pytest.mark.parametrize("day", ["9" * 30 + " May", "99999999999 May", "-1 May", "31 Feb", "0 Jan"])
def test_a_day_no_month_has_is_refused(day):
    with pytest.raises(FieldError, match="is not a day"):
        read_moment(f"{day} 10:00", ZONE, NOW)


@pytest.mark.parametrize("value", [1e12, -9e30, 1e300, 1.7976931348623157e308, 999999999999.0])
def test_a_length_that_no_part_has_is_still_told(value):
    assert mm(value).endswith(" mm")
    assert len(mm(value)) < 20
    assert change_words(0.0, value)


def test_a_fault_is_told_and_the_cases_after_it_still_run(monkeypatch):
    from trust import fuzz_readers

    tried = []

    def case_faulty(_bench):
        tried.append(len(tried))
        if len(tried) == 3:
            raise KeyError("what no reader may raise")
        return "read"

    monkeypatch.setattr(fuzz_readers, "CASES", ((case_faulty, 1),))
    told = run(10, 1, say=lambda _line: None)
    assert len(tried) == 10
    assert len(told) == 1
    assert "case_faulty KeyError test_fuzz.py" in told[0]
