"""How far a card's figure may be off when the card does not say: by its kind and its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, get_args

from pitwright.weekend.figures import Figure, Provenance

__all__ = ["PRIORS", "FigureKind", "FigureU", "Widths", "figure_u", "prior_u"]

FigureKind = Literal[
    "length", "wire", "centre of mass", "coils", "friction", "angle", "mass", "share of mass",
    "modulus", "softening", "rise", "torque", "inertia", "speed", "grip", "ratio", "force",
    "fade", "temperature", "cooling", "corner speed",
]  # fmt: skip


@dataclass(frozen=True)
class Widths:
    """Standard uncertainties for one kind of figure, in the order of ``Provenance``.

    ``relative`` are shares of the value, ``least`` are in the figure's own unit; the larger of the
    two counts, so that a value near nothing is not taken as exact. ``because`` says what they
    stand on.
    """

    because: str
    relative: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    least: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)


_FROM: Final = get_args(Provenance)
"""The sources, the surest first: measured, maker, common practice, from memory, invented."""

# Judgement, no source: what two careful people would differ by. The surest source comes first and
# no weaker one is ever narrower, so that to know less never shows a smaller +-.
PRIORS: Final[Mapping[FigureKind, Widths]] = {
    "length": Widths(
        "a caliper without its error stated; makers round to a twentieth",
        least=(0.03, 0.05, 0.10, 0.10, 0.20),
    ),
    "wire": Widths(
        "drawn wire is kept to a few hundredths; the rate goes by its fourth power",
        least=(0.01, 0.015, 0.02, 0.03, 0.05),
    ),
    "centre of mass": Widths(
        "nobody measures it: it is balanced on an edge or read off a drawing",
        least=(0.15, 0.20, 0.30, 0.40, 0.60),
    ),
    "coils": Widths(
        "where the end coils begin to work is not sharp: a tenth of a turn",
        least=(0.10, 0.12, 0.20, 0.25, 0.40),
    ),
    "friction": Widths(
        "dust, oil and glaze move it by a fifth from one day to the next",
        relative=(0.10, 0.15, 0.25, 0.30, 0.50),
        least=(0.01, 0.015, 0.025, 0.03, 0.05),
    ),
    "angle": Widths(
        "a shop angle is kept to half a degree, a moulded one to one",
        least=(0.5, 0.5, 1.0, 2.0, 4.0),
    ),
    "mass": Widths(
        "a pocket scale of a hundredth of a gram, sets that differ by as much",
        relative=(0.01, 0.02, 0.05, 0.08, 0.10),
    ),
    "share of mass": Widths(
        "it depends on where along the lining the shoe wears",
        relative=(0.05, 0.10, 0.15, 0.20, 0.30),
    ),
    "modulus": Widths(
        "handbooks differ by two per cent for one and the same wire",
        relative=(0.01, 0.015, 0.02, 0.02, 0.05),
    ),
    "softening": Widths(
        "handbook curves of carbon steel differ by a tenth",
        relative=(0.10, 0.10, 0.15, 0.20, 0.50),
    ),
    "rise": Widths(
        "nobody has a thermometer inside the spring",
        relative=(0.10, 0.15, 0.25, 0.30, 0.50),
    ),
    "torque": Widths(
        "makers state the best engine on the best day",
        relative=(0.05, 0.10, 0.15, 0.20, 0.25),
    ),
    "inertia": Widths(
        "reckoned from simple bodies it is a fifth off",
        relative=(0.05, 0.10, 0.20, 0.20, 0.30),
    ),
    "speed": Widths(
        "an idle wanders with warmth and needle",
        relative=(0.02, 0.04, 0.05, 0.08, 0.10),
    ),
    "grip": Widths(
        "the track makes it, and no maker knows it",
        relative=(0.10, 0.20, 0.20, 0.20, 0.25),
    ),
    "ratio": Widths(
        "teeth are counted, or they are not",
        relative=(0.0, 0.005, 0.01, 0.02, 0.10),
    ),
    "force": Widths(
        "a kitchen scale, read while a hand presses",
        relative=(0.02, 0.03, 0.05, 0.10, 0.20),
        least=(0.2, 0.2, 0.5, 1.0, 2.0),
    ),
    "fade": Widths(
        "linings of one name differ by more than their fade",
        relative=(0.05, 0.10, 0.20, 0.30, 0.50),
        least=(0.001, 0.001, 0.001, 0.001, 0.001),
    ),
    "temperature": Widths(
        "a gun is 4 K off on bare metal, a guess by more",
        least=(4.0, 6.0, 10.0, 15.0, 20.0),
    ),
    "cooling": Widths(
        "the air about the bell is another in every car",
        relative=(0.05, 0.10, 0.20, 0.30, 0.50),
    ),
    "corner speed": Widths(
        "judged by eye from the stand",
        relative=(0.05, 0.10, 0.20, 0.30, 0.50),
    ),
}


@dataclass(frozen=True)
class FigureU:
    """The standard uncertainty of a figure, in SI and in its own unit; ``stated`` by the card."""

    si: float
    own: float
    stated: bool


def prior_u(kind: FigureKind, value: float, provenance: Provenance) -> float:
    """Return the standard uncertainty taken for a figure whose card states none, in its unit.

    >>> prior_u("friction", 0.1, "from memory"), prior_u("friction", 0.0, "from memory")
    (0.03, 0.03)
    """
    widths, at = PRIORS[kind], _FROM.index(provenance)
    return max(widths.relative[at] * abs(value), widths.least[at])


def figure_u(figure: Figure, kind: FigureKind) -> FigureU:
    """Return the doubt of a card's figure: what the card states, else the width by its source."""
    if figure.u is not None:
        return FigureU(figure.u_si or 0.0, figure.u, stated=True)
    own = prior_u(kind, figure.value, figure.provenance)
    as_stated = figure.model_copy(update={"u": own})
    return FigureU(as_stated.u_si or 0.0, own, stated=False)
