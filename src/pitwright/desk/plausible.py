"""What a quantity may plausibly read next, and doubts about what was typed."""

from __future__ import annotations

import re
from typing import Final

from pitwright.desk.bench import Bench
from pitwright.desk.instruments import Tool
from pitwright.desk.judged import SlipQuestion
from pitwright.metrology.slips import Expected, check_slip, expect
from pitwright.weekend.card import ClutchCard

__all__ = ["doubt", "expected_next", "unfinished"]

_MOST_MORE_DIGITS: Final = 3


def _new_size(card: ClutchCard, quantity: str) -> float | None:
    """Return the size of a new part [mm], where the card tells it elsewhere."""
    known = {
        "free_length": card.spring.free_length_new.value,
        "shoe_thickness": card.shoes.thickness_new.value,
        "bell_bore": 2.0 * card.bell.bore_radius.value,
    }
    return known.get(quantity)


def expected_next(bench: Bench, quantity: str, part: str | None, tool: Tool) -> Expected | None:
    """Return what a quantity may plausibly read next.

    A part only wears, so its earlier readings tell; what is adjusted may jump, so there only the
    card's limits do.
    """
    spec = bench.card.quantities[quantity]
    label = spec.label.lower()
    u = 0.0
    if tool.gauge is not None:
        u = max(tool.gauge.u_resolution, tool.scatter.sd if tool.scatter else 0.0)
    if part is not None:
        earlier = [p.value_mm for p in bench.history(quantity, part)]
        if earlier:
            return expect(label, history=earlier, u=u)
    stated = [
        figure.value
        for figure in (
            spec.discard_below,
            spec.low,
            spec.target,
            spec.high,
            spec.discard_above,
        )
        if figure is not None
    ]
    new = _new_size(bench.card, quantity)
    if new is not None:
        stated.append(new)
    if not stated:
        return None
    low, high = min(stated), max(stated)
    return expect(label, low=low, high=high if high > low else None, u=u)


def doubt(
    bench: Bench,
    quantity: str,
    part: str | None,
    values: tuple[float, ...],
    expected: Expected | None,
) -> SlipQuestion | None:
    """Return a doubt about the first implausible value of an entry [mm], None without one."""
    labels = {spec.label.lower(): key for key, spec in bench.card.quantities.items()}
    for index, value in enumerate(values):
        if expected is None or expected.fits(value):
            continue
        others = [
            found
            for key in bench.card.quantities
            if key != quantity
            and (found := expected_next(bench, key, bench.fitted_part(key), bench.tool(key)))
            is not None
        ]
        slip = check_slip(value, expected, others)
        if slip is None:
            continue
        replacement = None
        if slip.suggestion is not None:
            mended = [*values[:index], slip.suggestion, *values[index + 1 :]]
            replacement = " ".join(f"{v:.6g}" for v in mended)
        belongs_to = labels.get(slip.field) if slip.field is not None else None
        return SlipQuestion(slip.question, replacement, belongs_to)
    return None


_LAST_NUMBER = re.compile(r"(?:^|[\s;])([0-9]*(?:[.,][0-9]*)?)$")


def unfinished(typed: str, values: tuple[float, ...], expected: Expected | None) -> bool:
    """Tell whether the last number seems to be still growing.

    So it does when it has fewer decimals than the readings before it, or when it is not plausible
    but can become so with more digits. A blank or a unit behind it finishes it.
    """
    match = _LAST_NUMBER.search(typed)
    if match is None or not match[1]:
        return False
    whole, _, decimals = match[1].replace(",", ".").partition(".")
    if len(values) > 1 and len(decimals) < max(map(_decimals, values[:-1])):
        return True
    value = values[-1]
    if expected is None or expected.fits(value):
        return False
    if decimals or not whole:
        return _meets(value, value + 10.0 ** -len(decimals), expected)
    return any(
        _meets(value * 10.0**more, (value + 1.0) * 10.0**more, expected)
        for more in range(_MOST_MORE_DIGITS)
    )


def _decimals(value: float) -> int:
    return len(f"{value:.10g}".partition(".")[2])


def _meets(low: float, high: float, expected: Expected) -> bool:
    return low <= expected.high and high > expected.low
