"""Uncertainties of bite and nut advice against a Monte Carlo, JCGM 101:2008.

Each trial draws every input once from a normal distribution and computes all afresh, calibration
included, by the mechanics alone. Agreement to 5 % is asked; 4000 trials know a standard deviation
to 1.1 %.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from factory import WeekendMaker

from pitwright.desk.bite.bite import Tries, bite_desk, prepare
from pitwright.desk.clutch.model import clutch_model, engine_curve, input_u
from pitwright.desk.clutch.observed import fit_scales, observation_record, sightings
from pitwright.desk.nut.nut import nut_advice
from pitwright.mechanics.bite import recess_for_bite
from pitwright.mechanics.clutch import bite_speed, let_go_speed
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.weekend.figures import Figure

RPM = 30 / math.pi
TRIALS = 4000


@pytest.fixture(scope="module")
def weekend(tmp_path_factory):
    maker = WeekendMaker(tmp_path_factory.mktemp("mc") / "w")
    maker.fit("spring", "S1")
    maker.fit("shoes", "H1")
    maker.check(free_length=10.2, shoe_thickness=4.85)
    maker.set_recess(1.35, u_mm=0.02)
    maker.later(10).heat("P1", "practice")
    maker.later(10).check(free_length=10.1, shoe_thickness=4.75)
    maker.set_recess(1.40, u_mm=0.02)
    maker.add(observation_record("creep", 12300, now=maker.at, clutch="A", heat="P1", u_rpm=90))
    maker.add(observation_record("plateau", 18800, now=maker.at, clutch="A", u_rpm=120))
    with maker.session() as session:
        return well_measured(session.weekend)


def well_measured(weekend):
    """Give every figure of the card a small u of its own: first order is what is checked here.

    Shoes worn by less than their doubt, or wires a tenth off, are beyond any first order.
    """
    card = weekend.card()
    parts = {}
    for table in ("spring", "shoes", "wedge", "bell", "nut"):
        part = getattr(card, table)
        parts[table] = part.model_copy(
            update={
                name: figure.model_copy(update={"u": 0.004 * abs(figure.value)})
                for name in type(part).model_fields
                if isinstance(figure := getattr(part, name), Figure) and figure.u is None
            }
        )
    return replace(weekend, clutches={card.id: card.model_copy(update=parts)})


@pytest.fixture(scope="module")
def drawn(weekend):
    """Draw shifts of every input by key: those of the card, of each reading, of each speed."""
    rng = np.random.default_rng(20260515)
    seen = sightings(weekend, weekend.card())
    now, like = (
        clutch_model(weekend, weekend.state()),
        clutch_model(weekend, weekend.heat("P1").state),
    )
    u = input_u([now, like, *(s.model for s in seen)])
    u |= {f"{s.record}/rpm": s.u_rpm for s in seen}
    keys = list(u)
    table = rng.normal(0.0, [u[k] for k in keys], size=(TRIALS, len(keys)))
    return [dict(zip(keys, row, strict=True)) for row in table.tolist()], seen, now, like


def calibrated(clutch, fit):
    return replace(clutch, s_scale=fit.s.value, t_scale=fit.t.value)


def test_the_bite_desk(weekend, drawn):
    shifts, seen, now, like = drawn
    curve = engine_curve(weekend.card())
    rows = []
    for moved in shifts:
        fit = fit_scales(seen, curve, moved)
        here = calibrated(now.moved(moved), fit)
        there = calibrated(like.moved(moved), fit)
        rows.append(
            (
                bite_speed(here) * RPM,
                let_go_speed(here) * RPM,
                lock_up_speed(here, curve) * RPM,
                (bite_speed(here) - bite_speed(there)) * RPM,
            )
        )
    bite, let_go, lock_up, change = np.std(rows, axis=0, ddof=1)
    found = bite_desk(prepare(weekend, like="P1"), Tries())
    assert found.scatter == 1.0  # nothing to widen: two scales from two speeds
    assert found.now.u_bite_rpm == pytest.approx(bite, rel=0.05)
    assert found.now.u_let_go_rpm == pytest.approx(let_go, rel=0.05)
    assert found.now.u_lock_up_rpm == pytest.approx(lock_up, rel=0.05)
    assert found.since_like.u_bite_rpm == pytest.approx(change, rel=0.05)
    assert found.now.bite_rpm == pytest.approx(np.mean([r[0] for r in rows]), abs=8)


def test_nut_advice_to_hold_the_bite(weekend, drawn):
    shifts, _seen, now, like = drawn
    wanted, turns = [], []
    for moved in shifts:
        here = now.moved(moved)
        recess = recess_for_bite(here, bite_speed(like.moved(moved)))
        wanted.append(recess * 1000)
        turns.append((recess - here.recess) * 1000 / 0.75)
    found = nut_advice(weekend, hold="bite", like="P1")
    assert found.u_wanted_mm == pytest.approx(np.std(wanted, ddof=1), rel=0.05)
    assert found.u_turns == pytest.approx(np.std(turns, ddof=1), rel=0.05)


def test_nut_advice_to_hold_the_preload(weekend, drawn):
    shifts, _seen, now, like = drawn
    wanted, turns = [], []
    for moved in shifts:
        here, there = now.moved(moved), like.moved(moved)
        recess = there.recess + there.free_length - here.free_length
        wanted.append(recess * 1000)
        turns.append((recess - here.recess) * 1000 / 0.75)
    found = nut_advice(weekend, hold="preload", like="P1")
    assert found.u_wanted_mm == pytest.approx(np.std(wanted, ddof=1), rel=0.05)
    assert found.u_turns == pytest.approx(np.std(turns, ddof=1), rel=0.05)


def test_nut_advice_for_a_speed(weekend, drawn):
    shifts, seen, now, _like = drawn
    curve = engine_curve(weekend.card())
    wanted, turns = [], []
    for moved in shifts:
        here = calibrated(now.moved(moved), fit_scales(seen, curve, moved))
        recess = recess_for_bite(here, 12350 / RPM)
        wanted.append(recess * 1000)
        turns.append((recess - here.recess) * 1000 / 0.75)
    found = nut_advice(weekend, target_rpm=12350.0)
    assert found.u_wanted_mm == pytest.approx(np.std(wanted, ddof=1), rel=0.05)
    # The plateau was seen on the setting of now, so its recess reading enters both.
    assert found.u_turns == pytest.approx(np.std(turns, ddof=1), rel=0.05)
