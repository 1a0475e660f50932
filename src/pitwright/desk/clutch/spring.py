"""The spring by itself: its rate by the card and by a squeeze test, and its stress when solid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.desk.clutch.spring_law import spring_rate
from pitwright.desk.wording import mm
from pitwright.mechanics import springs
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.squeeze import rate_from_squeeze
from pitwright.student import t_quantile
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.weekend import Weekend

__all__ = ["SpringDesk", "Squeezed", "spring_desk", "spring_lines"]

_MM = 1e-3
_MPA = 1e6
_N_PER_MM = 1e3
_ALLOWED = 0.45
"""Torsional yield over tensile strength of music wire as coiled (Shigley table 10-6)."""
_STIFFENS = 0.2
"""The share of the travel before solid in which a rate rises: coils begin to touch (EN 13906-1,
recalled)."""


_EASY = 0.8
"""Share of the stress that wire bears without setting below which it hardly sags. Judgement."""
_SAGS_MM = 0.1
"""A sag that no caliper misreads. Judgement."""
_BELOW = " " * 18


@dataclass(frozen=True)
class Squeezed:
    """What a squeeze test gave: rate [N/mm], its expanded uncertainty U, free length by it [mm].

    U covers 95 % by Student's t, for so few squeezes know their own scatter badly; it is None for
    two, which do not show it. ``stiffened`` tells that a squeeze came so near solid that the coils
    had begun to touch.
    """

    rate_n_mm: float
    expanded_rate_n_mm: float | None
    free_length_mm: float
    squeezes: int
    stiffened: bool


@dataclass(frozen=True)
class SpringDesk:
    """A spring: lengths [mm], rates [N/mm], stresses [MPa].

    ``solid_by_coils_mm`` is what wire, coils and ends make, beside the card's solid length.
    ``allowed_mpa`` is what the wire bears without setting, None when the card names no wire.
    ``sag_mm`` is what it has lost since new, by the card. ``refused`` says why the squeezes make
    no rate.
    """

    free_length_mm: float
    measured: bool
    rate_n_mm: float
    u_rate_n_mm: float
    solid_mm: float
    solid_by_coils_mm: float
    index: float
    solid_stress_mpa: float
    allowed_mpa: float | None
    sag_mm: float = 0.0
    squeezed: Squeezed | None = None
    refused: str = ""
    card_lines: tuple[str, ...] = ()


def spring_desk(
    weekend: Weekend,
    *,
    clutch: str | None = None,
    squeezes: Sequence[tuple[float, float]] = (),
) -> SpringDesk:
    """Return what is known of the spring; ``squeezes`` are lengths [mm] under forces [N]."""
    card = weekend.card(clutch)
    spring = card.spring
    known = weekend.state(None, card.id).figure("free_length")
    free = spring.free_length_new.value if known is None else known.value_mm
    rate, u_rate = spring_rate(card.spring)
    d, mean, solid = spring.wire_diameter.si, spring.mean_diameter.si, spring.solid_length.si
    index = springs.index(d, mean)
    stress = springs.stress_at_solid(
        rate, free * _MM, solid, d, mean, springs.bergstraesser_factor(index)
    )
    squeezed, refused = _squeezed(squeezes, free, spring.solid_length.value)
    return SpringDesk(
        free,
        known is not None,
        rate / _N_PER_MM,
        u_rate / _N_PER_MM,
        spring.solid_length.value,
        springs.solid_length(d, spring.total_coils.value, springs.EndType(spring.ends)) / _MM,
        index,
        stress / _MPA,
        _allowed_mpa(card),
        max(spring.free_length_new.value - free, 0.0) if known is not None else 0.0,
        squeezed,
        refused,
        _card_lines(squeezes),
    )


def _card_lines(squeezes: Sequence[tuple[float, float]]) -> tuple[str, ...]:
    """Return squeezes as the card holds them; the file is the user's, who pastes them there."""
    points = (
        f'    {{ length = {{ value = "{length:.6g} mm", from = "measured" }}, '
        f'force = {{ value = "{force:.6g} N", from = "measured" }} }},'
        for length, force in squeezes
    )
    return ("  curve = [", *points, "  ]") if squeezes else ()


def _allowed_mpa(card: ClutchCard) -> float | None:
    spring = card.spring
    if spring.tensile_a_mpa is None or spring.tensile_m is None:
        return None
    exponent = spring.tensile_m.value
    intercept = springs.strength_coefficient(spring.tensile_a_mpa.value, exponent)
    strength = springs.tensile_strength(intercept, exponent, spring.wire_diameter.si)
    return _ALLOWED * strength / _MPA


def _squeezed(
    squeezes: Sequence[tuple[float, float]], free_mm: float, solid_mm: float
) -> tuple[Squeezed | None, str]:
    if not squeezes:
        return None, ""
    shortest = min(length for length, _ in squeezes)
    if shortest <= solid_mm:
        return None, f"{mm(shortest)} is solid: squeeze it to a longer length"
    try:
        fit = rate_from_squeeze([(length * _MM, force) for length, force in squeezes])
    except RangeError as error:
        return None, error.reason
    stiffened = shortest < solid_mm + _STIFFENS * (free_mm - solid_mm)
    expanded = None
    if fit.standard_error is not None:
        expanded = t_quantile(0.975, len(squeezes) - 2) * fit.standard_error / _N_PER_MM
    found = Squeezed(
        fit.rate / _N_PER_MM, expanded, fit.free_length / _MM, len(squeezes), stiffened
    )
    return found, ""


def spring_lines(found: SpringDesk) -> list[str]:
    """Return the spring as lines of text."""
    length = "as last measured" if found.measured else "new, by the card"
    lines = [
        "Spring",
        f"  Free length     {mm(found.free_length_mm)}, {length}",
        f"  By the card     {_rate(found.rate_n_mm, 2 * found.u_rate_n_mm)}, from wire and coils",
    ]
    if found.squeezed is not None:
        lines += _squeeze_lines(found, found.squeezed)
        lines += ["  To go by these squeezes, paste under [spring] of the card:", *found.card_lines]
    if found.refused:
        lines.append(f"  Squeezed        no rate: {found.refused}")
    stress = f"  When solid      {found.solid_stress_mpa:.0f} MPa in the wire"
    if found.allowed_mpa is not None:
        share = 100 * found.solid_stress_mpa / found.allowed_mpa
        stress += f", {share:.0f} % of what it bears before it sets at once"
    odd = _odd_sag(found)
    return [
        *lines,
        f"  Solid length    {mm(found.solid_mm)}; wire, coils and ends make "
        f"{mm(found.solid_by_coils_mm)}",
        stress,
        *odd,
        "  Slow sag shows at any stress: the forecast goes by your readings, not by this.",
    ]


def _odd_sag(found: SpringDesk) -> list[str]:
    """Point out a sag that the stress does not explain: then a figure or the wire is not right."""
    if found.allowed_mpa is None or found.sag_mm < _SAGS_MM:
        return []
    share = found.solid_stress_mpa / found.allowed_mpa
    if share > _EASY:
        return []
    return [
        f"  Sag             {mm(found.sag_mm)} since new, though the wire bears "
        f"{1 / share:.1f} times that stress:",
        _BELOW + "either a figure of wire or coils is wrong, or the wire is not what the card",
        _BELOW + "says, or it ran hot; measure the wire, and squeeze it on a scale",
    ]


def _squeeze_lines(found: SpringDesk, squeezed: Squeezed) -> list[str]:
    lines = [
        f"  Squeezed        {_rate(squeezed.rate_n_mm, squeezed.expanded_rate_n_mm)}, "
        f"from {squeezed.squeezes} squeezes; free length by it {mm(squeezed.free_length_mm)}"
    ]
    if squeezed.stiffened:
        lines.append(_BELOW + "The shortest is so near solid that coils touch: it reads too stiff")
    elif squeezed.expanded_rate_n_mm is None:
        lines.append(_BELOW + "Two squeezes cannot show their scatter; take a third")
    elif abs(squeezed.rate_n_mm - found.rate_n_mm) > math.hypot(
        squeezed.expanded_rate_n_mm, 2 * found.u_rate_n_mm
    ):
        lines.append(_BELOW + "That is not the card's rate: look at wire and coils there")
    return lines


def _rate(rate_n_mm: float, expanded_n_mm: float | None) -> str:
    return f"{rate_n_mm:.1f}" + (f" ± {expanded_n_mm:.1f}" if expanded_n_mm else "") + " N/mm"
