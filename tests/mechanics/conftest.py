"""The generic card: an invented clutch of this class, as its maker might describe it."""

import math

import pytest
from hypothesis import settings

from pitwright.mechanics import springs
from pitwright.mechanics.clutch import Clutch

settings.register_profile("no deadline", deadline=None)  # a busy machine is no failure
settings.load_profile("no deadline")


def generic_clutch(**changes):
    wire, mean_diameter = 1.6e-3, 9.0e-3
    shear_modulus = changes.pop("shear_modulus", 81.7e9)
    fields = {
        "shoes": 4,
        "shoe_mass": 0.9e-3,
        "mass_radius": 11e-3,
        "clearance": 0.25e-3,
        "bell_radius": 15e-3,
        "wedge_angle": math.radians(45),
        "wedge_friction": 0.1,
        "face_friction": 0.1,
        "bell_friction": 0.3,
        "spring_rate": springs.rate(shear_modulus, wire, mean_diameter, 3.0),
        "free_length": 10.2e-3,
        "solid_length": springs.solid_length(wire, 5.0, springs.EndType.SQUARED_GROUND),
        "recess_bottomed": 2.125e-3,
        "recess": 1.35e-3,
        "mass_lost_per_wear": 0.21,
    }
    return Clutch(**(fields | changes))


@pytest.fixture(scope="session")
def make_clutch():
    return generic_clutch


@pytest.fixture(scope="session")
def generic():
    return generic_clutch()


@pytest.fixture(scope="session")
def rpm():
    """One revolution per minute in rad/s."""
    return math.pi / 30
