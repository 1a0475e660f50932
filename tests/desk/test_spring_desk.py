"""The spring by itself: card against squeeze test, and what is refused or doubted."""

from __future__ import annotations

import numpy as np
import pytest
from factory import WeekendMaker
from scipy import stats

from pitwright.desk.clutch.spring import spring_desk, spring_lines


@pytest.fixture
def weekend(tmp_path):
    with WeekendMaker(tmp_path / "w").session() as session:
        return session.weekend


def test_the_card_alone(weekend):
    found = spring_desk(weekend)
    # By hand: k = 81.7e3 * 1.6^4 / (8 * 9^3 * 3); force at solid 2.2 k; K_B = (4C+2)/(4C-3).
    k = 81.7e3 * 1.6**4 / (8 * 9.0**3 * 3)
    assert found.rate_n_mm == pytest.approx(k, rel=1e-9)
    c = 9.0 / 1.6
    stress = (4 * c + 2) / (4 * c - 3) * 8 * 2.2 * k * 9.0 / (np.pi * 1.6**3)
    assert found.solid_stress_mpa == pytest.approx(stress, rel=1e-9)
    # Shigley tables 10-4 and 10-6: 0.45 of 2211 / d^0.145.
    assert found.allowed_mpa == pytest.approx(0.45 * 2211 / 1.6**0.145, rel=1e-9)
    assert found.solid_by_coils_mm == pytest.approx(found.solid_mm)
    assert not found.measured
    assert found.squeezed is None


def test_the_length_last_read_counts(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.check(free_length=10.05)
    with made.session() as session:
        found = spring_desk(session.weekend)
    assert (found.free_length_mm, found.measured) == (10.05, True)


def test_squeezes_by_a_second_route(weekend):
    squeezes = [(9.8, 12.0), (9.4, 24.5), (9.2, 30.1), (9.0, 36.4)]
    found = spring_desk(weekend, squeezes=squeezes).squeezed
    line = stats.linregress(*zip(*squeezes, strict=True))
    assert found.rate_n_mm == pytest.approx(-line.slope, rel=1e-9)
    assert found.expanded_rate_n_mm == pytest.approx(stats.t.ppf(0.975, 2) * line.stderr, rel=1e-6)
    assert found.free_length_mm == pytest.approx(-line.intercept / line.slope, rel=1e-9)
    assert not found.stiffened


@pytest.mark.parametrize(
    ("squeezes", "said"),
    [
        ([(9.8, 12.0)], "at least two squeezes"),
        ([(9.8, 12.0), (7.9, 60.0)], "7.90 mm is solid"),
        ([(9.8, 12.0), (9.4, 10.0)], "must rise"),
        ([(9.8, 12.0), (9.4, 24.0)], "cannot show their scatter"),
        ([(9.8, 12.0), (9.0, 36.0), (8.3, 60.0)], "coils touch"),
        ([(9.8, 8.0), (9.4, 16.1), (9.0, 24.0), (8.8, 28.0)], "not the card's rate"),
    ],
)
def test_what_is_refused_or_doubted(weekend, squeezes, said):
    found = spring_desk(weekend, squeezes=squeezes)
    assert said in "\n".join(spring_lines(found))
    assert bool(found.refused) == (found.squeezed is None)


def test_a_sag_that_the_stress_does_not_explain_is_pointed_out(tmp_path):
    """Half the stress that music wire bears, and yet a quarter of a millimetre shorter."""
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.check(free_length=10.15)
    with made.session() as session:
        lines = spring_lines(spring_desk(session.weekend))
    assert not any(line.startswith("  Sag") for line in lines)
    made.later(1).check(free_length=9.94)
    with made.session() as session:
        found = spring_desk(session.weekend)
    assert found.sag_mm == pytest.approx(0.26)
    assert found.solid_stress_mpa < 0.5 * found.allowed_mpa
    assert any("Sag             0.26 mm" in line for line in spring_lines(found))
