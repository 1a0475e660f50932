"""One length looks the same wherever it stands, and so do its changes."""

from __future__ import annotations

import pytest

from pitwright.desk.wording import change_words, fixed, mm
from pitwright.metrology.uncertainty import format_measurement


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (1.3450000000000002, "1.34"),
        (1.345, "1.34"),
        (1.355, "1.36"),
        (1.3650000000000002, "1.36"),
        (-0.004, "0.00"),
    ],
)
def test_one_length_has_one_look_alone_or_beside_its_uncertainty(value, shown):
    assert fixed(value) == shown
    assert mm(value) == f"{shown} mm"
    assert format_measurement(value, 0.03) == f"{shown} ± 0.03 mm"


def test_a_change_is_the_difference_of_the_numbers_shown():
    assert (fixed(1.345), fixed(1.354)) == ("1.34", "1.35")
    assert change_words(1.345, 1.354) == "+0.01 mm"
    assert change_words(1.351, 1.345) == "-0.01 mm"
    assert change_words(1.346, 1.354) == "0.00 mm"
