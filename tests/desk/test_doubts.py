"""What is not known shows: widths by source, and more ignorance is never a smaller +-."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import get_args

import pytest
from factory import WeekendMaker
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from pitwright.desk.bite.bite import bite_desk, prepare
from pitwright.desk.bite.launch import launch_desk
from pitwright.desk.clutch.card_figures import card_figures, card_lines
from pitwright.desk.clutch.observed import observation_record
from pitwright.desk.clutch.spread import propagate
from pitwright.desk.nut.nut import nut_advice
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure, Provenance
from pitwright.weekend.priors import PRIORS, figure_u, prior_u

SOURCES = get_args(Provenance)

FIGURES = [
    ("spring", "wire_diameter", "wire"),
    ("spring", "mean_diameter", "length"),
    ("spring", "active_coils", "coils"),
    ("spring", "solid_length", "length"),
    ("spring", "shear_modulus", "modulus"),
    ("shoes", "mass", "mass"),
    ("shoes", "mass_radius", "centre of mass"),
    ("shoes", "clearance", "length"),
    ("shoes", "thickness_new", "length"),
    ("shoes", "bell_friction", "friction"),
    ("shoes", "face_friction", "friction"),
    ("shoes", "mass_lost_per_wear", "share of mass"),
    ("wedge", "angle", "angle"),
    ("wedge", "friction", "friction"),
    ("bell", "bore_radius", "length"),
    ("nut", "recess_bottomed", "length"),
    ("engine", "torque", "torque"),
    ("engine", "idle", "speed"),
]


def made(folder, *, seen):
    maker = WeekendMaker(folder)
    maker.fit("spring", "S1")
    maker.fit("shoes", "H1")
    maker.fit("bell", "B1")
    maker.check(free_length=10.2, shoe_thickness=4.95)
    maker.set_recess(1.4, u_mm=0.02)
    if seen:
        maker.add(observation_record("creep", 12200, now=maker.at, clutch="A", u_rpm=90))
        maker.add(observation_record("plateau", 18800, now=maker.at, clutch="A", u_rpm=120))
    maker.later(10).heat("P1", "practice")
    maker.later(10).check(free_length=10.15, shoe_thickness=4.9)
    with maker.session() as session:
        return session.weekend


@pytest.fixture(scope="module")
def weekends(tmp_path_factory):
    folder = tmp_path_factory.mktemp("doubts")
    return {seen: made(folder / str(seen), seen=seen) for seen in (False, True)}


def with_figure(weekend, table, name, **change):
    card = weekend.card()
    part = getattr(card, table)
    figure = getattr(part, name).model_copy(update=change)
    changed = card.model_copy(update={table: part.model_copy(update={name: figure})})
    return replace(weekend, clutches={card.id: changed})


def widths(weekend):
    now = bite_desk(prepare(weekend, like="P1"))
    since = now.since_like
    return (
        now.now.u_bite_rpm,
        now.now.u_let_go_rpm,
        now.now.u_lock_up_rpm,
        now.now.u_free_travel_mm,
        since.u_bite_rpm,
        since.u_let_go_rpm,
        since.u_lock_up_rpm,
        *nut_widths(weekend),
    )


def nut_widths(weekend):
    """The recess for a heat's bite, the turns to it, and the recess for a speed."""
    like, speed = nut_advice(weekend, like="P1"), nut_advice(weekend, target_rpm=12600)
    assert like.hold == "bite"
    return like.u_wanted_mm, like.u_turns, speed.u_wanted_mm


def launch_widths(weekend):
    found = launch_desk(prepare(weekend))
    return [
        u
        for one in (found.full, found.held)
        for u in (one.u_time_s, one.u_plateau_rpm, one.u_slip_energy_j)
    ]


def test_no_weaker_source_is_ever_taken_as_surer():
    for kind, row in PRIORS.items():
        assert row.because
        for value in (0.0, 0.01, 0.3, 5.0, 12000.0):
            us = [prior_u(kind, value, source) for source in SOURCES]
            assert us == sorted(us), kind
    assert prior_u("friction", 0.0, "from memory") > 0


def test_a_stated_u_is_the_cards_and_a_missing_one_is_not_nothing():
    stated = Figure.model_validate({"value": 0.1, "unit": "", "from": "from memory", "u": 0.01})
    assert figure_u(stated, "friction").own == 0.01
    bare = stated.model_copy(update={"u": None})
    assert figure_u(bare, "friction").own == pytest.approx(0.03)
    assert not figure_u(bare, "friction").stated


@pytest.mark.parametrize("seen", [False, True])
def test_a_wedge_friction_from_memory_reaches_the_let_go(weekends, seen):
    """0.05 to 0.15 move the let-go from 9,950 to 8,070 rpm: the range must hold both."""
    weekend = weekends[seen]
    now = bite_desk(prepare(weekend)).now
    low, high = (
        bite_desk(prepare(with_figure(weekend, "wedge", "friction", value=mu))).now.let_go_rpm
        for mu in (0.15, 0.05)
    )
    assert high - low > (1500 if seen else 1000)
    assert now.let_go_rpm - 2 * now.u_let_go_rpm < low
    assert now.let_go_rpm + 2 * now.u_let_go_rpm > high


def test_what_was_seen_narrows_what_it_bears_on(weekends):
    free, held = widths(weekends[False]), widths(weekends[True])
    assert held[0] < free[0] / 4
    assert held[2] < free[2] / 4


@pytest.mark.parametrize("seen", [False, True])
@given(
    which=st.sampled_from(FIGURES),
    source=st.integers(0, 3),
    share=st.floats(0.05, 1.0),
    weaker=st.integers(0, 4),
)
@settings(max_examples=25, deadline=None, phases=[Phase.explicit, Phase.generate])
def test_to_know_less_never_narrows(weekends, seen, which, source, share, weaker):
    """Drop a figure's u (which its source's width bounds), or its source to a weaker one."""
    table, name, kind = which
    value = getattr(getattr(weekends[seen].card(), table), name).value
    u = share * prior_u(kind, value, SOURCES[source])
    ladder = [
        {"provenance": SOURCES[source], "u": u},
        {"provenance": SOURCES[source], "u": None},
        {"provenance": SOURCES[max(source, weaker)], "u": None},
    ]
    never_narrower([widths(with_figure(weekends[seen], table, name, **step)) for step in ladder])


def never_narrower(found):
    for surer, vaguer in itertools.pairwise(found):
        for a, b in zip(surer, vaguer, strict=True):
            # what curvature does to a finite step is a thousandth, not a smaller doubt
            assert b >= a * (1 - 1e-3)


def test_a_wear_that_cannot_be_less_than_nothing_is_no_surer_for_it(weekends):
    """0.05 mm of wear by a new thickness 0.06 and 0.10 mm in doubt: 150.6 and 150.3 rpm it was."""
    us = (0.04, 0.049, 0.051, 0.06, 0.1, 0.2)
    never_narrower([
        widths(with_figure(weekends[True], "shoes", "thickness_new", u=u)) for u in us
    ])  # fmt: skip


@pytest.mark.parametrize(
    ("table", "name"),
    [("engine", "torque"), ("engine", "inertia"), ("car", "grip")],
)
def test_to_know_less_never_narrows_a_launch(weekends, table, name):
    steps = ({"u": 0.0}, {"provenance": "measured", "u": None}, {"provenance": "invented"})
    found = [
        launch_widths(with_figure(weekends[True], table, name, **{"u": None, **s})) for s in steps
    ]
    never_narrower(found)
    assert found[-1] > found[0]


@pytest.mark.parametrize(
    ("figure", "told"),
    [
        (("engine", "idle"), lambda w: bite_desk(prepare(w)).now.at_idle),
        (("car", "grip"), lambda w: launch_desk(prepare(w)).full.spins),
    ],
)
def test_to_know_less_never_settles_a_verdict(weekends, figure, told):
    """Once 'cannot tell', it stays so whatever else is known less."""
    table, name = figure
    value = getattr(getattr(weekends[True].card(), table), name).value
    far = {"idle": 0.4, "grip": 0.35}[name] * value
    said = [
        told(with_figure(weekends[True], table, name, value=far, u=share * far))
        for share in (0.001, 0.2, 2.0)
    ]
    assert said[0] not in ("", "cannot tell")
    assert said[-1] == "cannot tell"
    sure = [each != "cannot tell" for each in said]
    assert sure == sorted(sure, reverse=True)


def test_a_reading_left_out_never_narrows(tmp_path):
    def width(name, **readings):
        maker = WeekendMaker(tmp_path / name)
        maker.fit("spring", "S1")
        maker.fit("shoes", "H1")
        if readings:
            maker.check(**readings)
        maker.set_recess(1.4)
        with maker.session() as session:
            return bite_desk(prepare(session.weekend)).now.u_bite_rpm

    whole = width("a", free_length=10.2, shoe_thickness=5.0)
    assert width("b", free_length=10.2) >= whole
    assert width("c", shoe_thickness=5.0) >= whole
    assert width("d") >= max(width("e", free_length=10.2), width("f", shoe_thickness=5.0))


def test_a_figure_without_its_source_is_refused(weekends):
    written = weekends[False].card().model_dump(mode="json", by_alias=True, exclude_none=True)
    del written["wedge"]["friction"]["from"]
    with pytest.raises(ValueError, match="from"):
        ClutchCard.model_validate(written)


def test_what_cannot_be_moved_is_not_sure():
    """An input whose every whole step is refused counted for nothing."""

    def narrow(moved):
        if abs(moved.get("a", 0.0)) > 0.3:
            raise RangeError("a", 1, "is too far")
        return (5.0 + 2.0 * moved.get("a", 0.0),)

    (found,) = propagate(narrow, {"a": 1.0})
    assert found.u == pytest.approx(2.0)

    def stuck(moved):
        if moved:
            raise RangeError("a", 1, "cannot be moved")
        return (5.0,)

    assert propagate(stuck, {"a": 1.0})[0].u == math.inf


def test_the_tyres_and_the_idle_may_be_beyond_telling(weekends):
    weekend = weekends[True]
    assert launch_desk(prepare(weekend)).full.spins == "cannot tell"
    card = weekend.card()
    sticky = card.car.grip.model_copy(update={"value": 20.0, "u": 0.1})
    held = replace(
        weekend,
        clutches={card.id: card.model_copy(
            update={"car": card.car.model_copy(update={"grip": sticky})})},
    )  # fmt: skip
    assert launch_desk(prepare(held)).full.spins == "hold"
    assert launch_desk(prepare(held)).full.u_time_s > 0
    let_go = bite_desk(prepare(weekend)).now.let_go_rpm
    for idle, said in ((let_go - 500, "cannot tell"), (2000, "lets go"), (let_go + 4000, "drags")):
        moved = with_figure(weekend, "engine", "idle", value=idle, u=50.0)
        assert bite_desk(prepare(moved)).now.at_idle == said


def test_the_list_says_whose_doubt_it_is(weekends):
    prepared = prepare(weekends[False])
    lines = card_lines(card_figures(prepared.card, prepared.fitted))
    friction = next(line for line in lines if line.split()[:1] == ["friction"])
    assert "0.1 ± 0.06" in friction
    assert "from memory" in friction
    assert "by judgement" in friction
    assert any("mass_radius" in line and "the card's" in line for line in lines)
