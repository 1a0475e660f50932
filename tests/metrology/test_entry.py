import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwright.metrology.entry import LENGTH_IN_MM, parse_entry
from pitwright.units import read_quantity


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("10.15", (10.15,)),
        ("10,15", (10.15,)),
        (".5", (0.5,)),
        ("0.4 in", (10.16,)),
        ('0.4"', (10.16,)),
        ("0.4in", (10.16,)),
        ("0.4 IN", (10.16,)),
        ("400 thou", (10.16,)),
        ("400 mil", (10.16,)),
        ("1.015 cm", (10.15,)),
        ("10150 um", (10.15,)),
        ("10150 µm", (10.15,)),
        ("10150 \u03bcm", (10.15,)),
        ("10.15 10.18 10.16", (10.15, 10.18, 10.16)),
        ("10,15 10,18", (10.15, 10.18)),
        ("10.15, 10.18", (10.15, 10.18)),
        ("10.15,10.18,10.16", (10.15, 10.18, 10.16)),
        ("10,15; 10,18", (10.15, 10.18)),
        ("10.15;10.18", (10.15, 10.18)),
        ("10, 11", (10.0, 11.0)),
        ("10.15\n10.18\r\n10.16\n", (10.15, 10.18, 10.16)),
        ("10.15\t10.18", (10.15, 10.18)),
        ("10.15\u00a010.18", (10.15, 10.18)),
        ("10.15 10.18 mm", (10.15, 10.18)),
        ("0.4 0.41 in", (10.16, 10.414)),
        ("0.4 in 10.2 mm", (10.16, 10.2)),
        ("0.4 in, 0.41 in", (10.16, 10.414)),
        ("  10.15  ", (10.15,)),
        ("+0.02", (0.02,)),
        ("0", (0.0,)),
    ],
)
def test_complete(text, values):
    entry = parse_entry(text)
    assert (entry.state, entry.values, entry.reason) == ("complete", values, "")


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("", ()),
        ("   ", ()),
        ("10.", ()),
        ("10,", ()),
        (".", ()),
        (",", ()),
        ("-", ()),
        ("+", ()),
        ("0.4 i", ()),
        ("0.4 c", ()),
        ("0.4 in 0.41", (10.16,)),
        ("10.15 10.", (10.15,)),
        ("10.15;", (10.15,)),
        ("10.15, ", (10.15,)),
        ("10.15,10", (10.15,)),
        ("10150", ()),
    ],
)
def test_partial(text, values):
    entry = parse_entry(text)
    assert (entry.state, entry.values) == ("partial", values)
    assert entry.reason


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("nan", "number was expected"),
        ("inf", "number was expected"),
        ("1e999", "not known"),
        ("1e3", "not known"),
        ("-1", "below zero"),
        ("-0.5", "below zero"),
        ("\u22121", "below zero"),
        ("10.15 furlong", "not known"),
        ("0.4in0.41", "blank behind in"),
        ("5000 mm", "too large"),
        ("40 in 40 in", "too large"),
        ("9999999999", "too large"),
        ("10..1", "digits were expected"),
        ("10. 1", "digits were expected"),
        ("10.1.2", "not a number"),
        ("1,234.5", "not a number"),
        ("10,15,10,18", "blank between"),
        ("10.15,10 10.2", "blank between"),
        ("10 ,15", "blank between"),
        ("10 mm 10.2 10.3 mm", "its unit"),
        ("--1", "behind '-'"),
        ("+ 1", "behind '+'"),
        (". 5", "without digits"),
        ("10;;11", "number was expected"),
        ("10.15 ,,", "blank between"),
        ("10; ,5", "nothing before it"),
        ("１０", "number was expected"),
        ("x", "number was expected"),
        ("1 " * 101, "more than 100"),
        ("1" * 3000, "too much text"),
    ],
)
def test_refused(text, reason):
    entry = parse_entry(text)
    assert entry.state == "refused"
    assert entry.values == ()
    assert reason in entry.reason


def test_negative_where_allowed():
    assert parse_entry("-0,5 0.5", allow_negative=True).values == (-0.5, 0.5)
    assert parse_entry("-5000 mm", allow_negative=True).state == "refused"


def test_every_unit_is_what_the_cards_take_it_for():
    """Typed at the bench and written on a card, a unit is the same."""
    for unit, in_mm in LENGTH_IN_MM.items():
        assert read_quantity(f"1 {unit}", "mm") == pytest.approx(float(in_mm), rel=1e-12)


def test_decimal_text_is_converted_without_a_float_detour():
    for text, value in (("0.386 in", 9.8044), ("386 thou", 9.8044), ("9800 um", 9.8)):
        assert parse_entry(text).values == (value,)


NUMBER = st.tuples(
    st.sampled_from(["", "", "+"]),
    st.integers(0, 40).map(str),
    st.sampled_from(["", ".", ","]),
    st.text("0123456789", min_size=1, max_size=4),
).map(lambda t: t[0] + t[1] + (t[2] + t[3] if t[2] else ""))
UNIT = st.sampled_from([*LENGTH_IN_MM, "MM", "In"])
BLANK = st.sampled_from(["", " ", "  "])
SEPARATOR = st.sampled_from([" ", "  ", "; ", ";", ", ", "\n", "\r\n", " ; ", "\t"])


@st.composite
def valid_entries(draw):
    numbers = draw(st.lists(NUMBER, min_size=1, max_size=5))
    style = draw(st.sampled_from(["none", "each", "end", "compact"]))
    if style == "compact":
        decimals = st.decimals(0, 40, places=2).map(str)
        return ",".join(draw(st.lists(decimals, min_size=2, max_size=5))) + draw(BLANK)
    text = draw(BLANK)
    for i, number in enumerate(numbers):
        last = i == len(numbers) - 1
        with_unit = style == "each" or (style == "end" and last)
        text += number + (draw(BLANK) + draw(UNIT) if with_unit else "")
        text += draw(st.sampled_from(["", " ", "\n"])) if last else draw(SEPARATOR)
    return text


@settings(max_examples=500)
@given(valid_entries())
def test_no_beginning_of_a_readable_entry_is_refused(text):
    entry = parse_entry(text)
    if entry.state == "refused":
        # 40 inches is more than the largest length: such an entry is rightly no entry
        assert "too large" in entry.reason
        return
    assert entry.state == "complete"
    for end in range(len(text)):
        beginning = parse_entry(text[:end])
        assert beginning.state in ("complete", "partial"), (text[:end], beginning)


@settings(max_examples=300)
@given(st.text("0123456789.,;-+ inmcuµ\"'\nthouleNe", max_size=12))
def test_a_refusal_is_final(text):
    """Whatever follows, a refused text cannot become readable: so refusing early hides nothing."""
    if parse_entry(text).state == "refused":
        for more in ("0", "5 mm", " 1", " in", "\n", ".5", ",5", "m", "n", '"', "um"):
            assert parse_entry(text + more).state != "complete", (text, more)


@given(st.text(max_size=40))
def test_any_text_gets_an_answer(text):
    entry = parse_entry(text)
    assert entry.state in ("complete", "partial", "refused")
    assert (entry.state == "complete") <= bool(entry.values)
    assert (entry.state == "refused") <= bool(entry.reason)
    assert all(0.0 <= value <= 1000.0 for value in entry.values)


@given(st.lists(st.decimals(0, 999, places=3), min_size=1, max_size=6))
def test_what_is_written_is_what_is_read(numbers):
    text = " ".join(str(n) for n in numbers)
    assert parse_entry(text).values == tuple(float(n) for n in numbers)
    assert parse_entry(text.replace(".", ",")).values == tuple(float(n) for n in numbers)


def test_nothing_heavy_is_loaded():
    code = (
        "import sys, pitwright.metrology.entry, pitwright.metrology.verdict, "
        "pitwright.metrology.slips; "
        "print(sorted({'numpy', 'scipy', 'pint', 'textual'} & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
