"""What a quantity may plausibly read next, and doubts about what was typed."""

from __future__ import annotations

import math
import re
import statistics
from typing import Final, Literal

from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.instruments import Tool
from pitwright.desk.measure.judged import SlipQuestion
from pitwright.metrology.slips import Expected, check_slip, differ, expect
from pitwright.weekend.card import ClutchCard

__all__ = ["apart", "can_come", "doubt", "expected_next", "growing"]

_MOST_MORE_DIGITS: Final = 3
# Two readings of one part with one tool lie closer than this; common practice, no source.
_AGREE_FRACTION: Final = 0.005
# A gap that the parts leave may be nothing, or several times the widest good one; common practice,
# no source.
_GAP_TIMES: Final = 3.0


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
    label = bench.card.quantities[quantity].label.lower()
    u = _scatter(tool)
    if part is not None:
        earlier = [
            p.value_mm
            for p in bench.history(quantity, part)
            if p.reading is None or p.reading.bound is None
        ]
        if earlier:
            return expect(label, history=earlier, u=u, only=_way_of_wear(bench, quantity))
    return _of_card(bench, quantity, tool)


def _way_of_wear(bench: Bench, quantity: str) -> Literal["falls", "rises"] | None:
    """Tell from the card's discard limit which way a size of a part wears."""
    spec = bench.card.quantities[quantity]
    if spec.discard_below is not None:
        return "falls" if spec.discard_above is None else None
    return "rises" if spec.discard_above is not None else None


def can_come(bench: Bench, quantity: str, tool: Tool, expected: Expected | None) -> Expected | None:
    """Return what a quantity can read at all: what is expected, and all the card speaks of.

    A spring under its limit is nothing strange, even where the last reading was well above it.
    """
    stated = _of_card(bench, quantity, tool)
    if expected is None or stated is None:
        return expected or stated
    low, high = min(expected.low, stated.low), max(expected.high, stated.high)
    return Expected(expected.quantity, low, high, expected.last)


def _scatter(tool: Tool) -> float:
    if tool.gauge is None:
        return 0.0
    return max(tool.gauge.u_resolution, tool.scatter.sd if tool.scatter else 0.0)


def _of_card(bench: Bench, quantity: str, tool: Tool) -> Expected | None:
    """Return the range the card speaks of: widened by half of it for a part, far for a gap."""
    spec = bench.card.quantities[quantity]
    label, u = spec.label.lower(), _scatter(tool)
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
    if spec.of == "clutch" and spec.high is not None:
        most = _GAP_TIMES * high
        if quantity == "recess":
            most = max(high, bench.card.nut.recess_bottomed.value)  # there the spring is solid
        return Expected(label, 0.0, most, usual=0.5 * (low + high))
    return expect(label, low=low, high=high if high > low else None, u=u)


def doubt(
    bench: Bench,
    quantity: str,
    part: str | None,
    values: tuple[float, ...],
    expected: Expected | None,
    possible: Expected | None,
) -> SlipQuestion | None:
    """Return a doubt about the first implausible value of an entry [mm], None without one.

    A large change that the card knows of (``possible``) needs no question once a second reading
    agrees with the first. A part that seems less worn than before is asked about even then: the
    part beside it on the bench reads as steadily.
    """
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
        if slip is not None and slip.kind == "large change" and possible is not None:
            # what was meant may be a large change too: 101.5 for a new spring's 10.15
            slip = check_slip(value, possible, others) or slip
        if slip is None:
            continue
        if slip.kind == "large change" and possible is not None and possible.fits(value):
            unworn = part is not None and _unworn(bench, quantity, value, expected)
            if _agree(values) and not unworn:
                continue
            return SlipQuestion(_changed(value, expected, unworn=unworn), stays=unworn)
        replacement = None
        if slip.suggestion is not None:
            mended = [*values[:index], slip.suggestion, *values[index + 1 :]]
            replacement = " ".join(f"{v:.6g}" for v in mended)
        belongs_to = labels.get(slip.field) if slip.field is not None else None
        return SlipQuestion(slip.question, replacement, belongs_to)
    return None


def apart(tool: Tool, values: tuple[float, ...]) -> SlipQuestion | None:
    """Return a doubt about repeats [mm] of which one is far from the others, None without one.

    Far is what no tool's scatter does: as for a change, six of its spreads or 1.5 % of the size,
    which `differ` tells. Averaged in, one such reading would discard a spring, or pass it.
    """
    gap = differ(values, u=math.hypot(_scatter(tool), _error(tool, max(values))))
    if gap is None:
        return None
    if len(values) == 2:
        question = f"Read it again: these two differ by {gap:.2f} mm"
    else:
        odd = max(values, key=lambda value: abs(value - statistics.median(values)))
        question = f"{odd:.6g} mm does not fit the others: read it again"
    return SlipQuestion(f"{question}. Or keep it", stays=True, apart=True)


def _error(tool: Tool, value: float) -> float:
    return 0.0 if tool.gauge is None else tool.gauge.u_error(value)


def _agree(values: tuple[float, ...]) -> bool:
    return len(values) > 1 and max(values) - min(values) <= _AGREE_FRACTION * max(values)


def _unworn(bench: Bench, quantity: str, value: float, expected: Expected) -> bool:
    """Tell whether a part would have to be less worn than it was read last."""
    way = _way_of_wear(bench, quantity)
    if expected.last is None or way is None:
        return False
    return value > expected.high if way == "falls" else value < expected.low


def _changed(value: float, expected: Expected, *, unworn: bool) -> str:
    if expected.last is None:
        return f"{value:.6g} mm is far from what was expected. Read it again to be sure, or keep it"
    change = value - expected.last
    if unworn:
        return (
            f"{abs(change):.2f} mm {'more' if change > 0 else 'less'} than the last "
            f"{expected.last:.2f} mm, which no wear does: is it another part? Or keep it"
        )
    return (
        f"{abs(change):.2f} mm {'more' if change > 0 else 'less'} than the last "
        f"{expected.last:.2f} mm: read it again to be sure, or keep it"
    )


_LAST_NUMBER = re.compile(r"(?:^|[\s;])([0-9]*(?:[.,][0-9]*)?)$")


def growing(typed: str, values: tuple[float, ...], *ranges: Expected | None) -> bool:
    """Tell whether the last number may still grow into any of the ranges it can come to lie in."""
    return any(_unfinished(typed, values, expected) for expected in ranges)


def _unfinished(typed: str, values: tuple[float, ...], expected: Expected | None) -> bool:
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
