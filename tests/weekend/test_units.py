"""Quantities with units: the table agrees with pint, and nonsense is refused with a reason."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.units import _UNITS, QuantityError, convert, read_quantity, to_si

REGISTRY = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)

PINT = {
    "": "dimensionless", "%": "percent", '"': "inch", "°": "degree", "Nm": "N*m", "N m": "N*m",
    "N cm": "N*cm", "kg m^2": "kg*m^2", "g cm^2": "g*cm^2", "J/(kg K)": "J/kg/K", "°C": "degC",
    "rpm": "rpm",
    "mil": "thou", "mils": "thou",  # at a bench a mil is a length; pint's own is an angle
}  # fmt: skip


@pytest.mark.parametrize("unit", sorted(_UNITS))
def test_the_table_agrees_with_pint(unit: str) -> None:
    expected = REGISTRY.Quantity(2.5, PINT.get(unit, unit)).to_base_units().magnitude
    assert to_si(2.5, unit) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("0.40 in", "mm", 10.16),
        ("10,15", "mm", 10.15),
        ("10.15 mm", "mm", 10.15),
        ("400 thou", "mm", 10.16),
        ("0.5 yard", "mm", 457.2),
        (".5", "mm", 0.5),
        ("20 degC", "degC", 20.0),
        ("293.15 K", "degC", 20.0),
    ],
)
def test_reads(text: str, unit: str, expected: float) -> None:
    assert read_quantity(text, unit) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    "given_value", ["", "mm", "1.2.3", "nan", "inf", "1e999", "10 kg", "10 ; import os", True, None]
)
def test_refuses(given_value: object) -> None:
    with pytest.raises(QuantityError):
        read_quantity(given_value, "mm")


@pytest.mark.parametrize(
    ("text", "unit", "reason"),
    [
        ("abc", "min", "'abc' is no number"),
        ("", "min", "a number is needed"),
        ("8 abc", "min", "'abc' is no unit of time; a plain number is in minutes"),
        ("8:3", "min", "':3' is no unit of time; a plain number is in minutes"),
        ("8 mm", "min", "'mm' is a unit of length, not of time; a plain number is in minutes"),
        ("8 kgf", "mm", "'kgf' is no unit of length; a plain number is in mm"),
        ("9200 rpm", "", "'rpm' does not belong here; a plain number is wanted"),
        ("3 apples", "", "'apples' does not belong here; a plain number is wanted"),
        ("1" * 61, "mm", "too long for a quantity"),
    ],
)
def test_says_in_plain_words_what_is_wrong(text: str, unit: str, reason: str) -> None:
    with pytest.raises(QuantityError) as raised:
        read_quantity(text, unit)
    assert str(raised.value) == reason


def test_only_units_of_the_table_come_to_si() -> None:
    assert to_si(2.5, "°C") == pytest.approx(275.65)
    with pytest.raises(QuantityError, match="'furlong' is not a unit known here"):
        to_si(1.0, "furlong")


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("1 K", "degC", 1.0),
        ("1 degC", "degC", 1.0),
        ("1 degC", "K", 1.0),
        ("1.8 degF", "K", 1.0),
        ("0.001 in", "mm", 0.0254),
        ("0.5", "degC", 0.5),
        (0.5, "degC", 0.5),
    ],
)
def test_reads_a_difference(text: object, unit: str, expected: float) -> None:
    assert read_quantity(text, unit, difference=True) == pytest.approx(expected, rel=1e-9)


def test_refuses_infinity_and_nan_as_numbers() -> None:
    for value in (math.inf, math.nan, 10**400):
        with pytest.raises(QuantityError):
            read_quantity(value, "mm")


@given(st.floats(min_value=-1e6, max_value=1e6, allow_nan=False))
def test_there_and_back(value: float) -> None:
    there = convert(value, "in", "mm")
    assert convert(there, "mm", "in") == pytest.approx(value, rel=1e-9, abs=1e-12)


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        value = read_quantity(text, "mm")
    except QuantityError as error:
        value, reason = 0.0, str(error)
    else:
        reason = "read"
    assert reason
    assert math.isfinite(value)
