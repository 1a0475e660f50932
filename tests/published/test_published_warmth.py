"""Warmth, corner heat, wear by heat, shift and shared centres against printed examples.

"Seen": the numbers were read from a copy and recomputed. "Recalled": from memory.
Tolerances are half a unit in the last printed digit unless a remark says otherwise.
"""

import math

import pytest

from pitwright.mechanics import gears, warmth
from pitwright.mechanics.corner_heat import reduced_inertia, slip_energy
from pitwright.mechanics.shoe_wear import wear_per_energy, worn_volume
from pitwright.mechanics.thermal import temperature_rise

FOOT_POUND, POUND, INCH = 1.355818, 0.45359237, 0.0254
BEAD = math.pi / 6, math.pi  # volume and surface of a sphere, of its diameter cubed and squared


def bead(diameter, density, specific_heat, h):
    """Heat capacity [J/K] and conductance [W/K] of a thermocouple's bead."""
    volume, surface = BEAD[0] * diameter**3, BEAD[1] * diameter**2
    return density * volume * specific_heat, h * surface


def test_cengel_4_1_thermocouple():
    """Cengel, Heat Transfer, ex. 4-1, seen: 1 mm bead, 8500, 320, h 210: 10 s to within 1 %."""
    capacity, conductance = bead(1e-3, 8500.0, 320.0, 210.0)
    assert 1 / warmth.time_constant(capacity, conductance) == pytest.approx(0.463, abs=5e-4)
    time = warmth.minutes_to_cool(100.0, 1.0, 0.0, warmth.time_constant(capacity, conductance))
    assert time == pytest.approx(10.0, abs=0.5)
    reached = warmth.temperature_after(time, 0.0, 100.0, 0.0, capacity, conductance)
    assert reached == pytest.approx(99.0, abs=1e-9)


def test_incropera_5_1_thermocouple():
    """Incropera and DeWitt, ex. 5.1, recalled: h 400, c 400, 8500; 1 s at 0.706 mm, 199 C in 5.2 s.

    The bead starts at 25 C in a gas of 200 C; with the printed properties 199 C takes 5.16 s.
    """
    capacity, conductance = bead(0.706e-3, 8500.0, 400.0, 400.0)
    assert warmth.time_constant(capacity, conductance) == pytest.approx(1.0, abs=5e-3)
    assert warmth.temperature_after(5.16, 25.0, 200.0, 0.0, capacity, conductance) == pytest.approx(
        199.0, abs=0.05
    )


def test_lienhard_thermocouple():
    """Lienhard, A Heat Transfer Textbook, ex. 1.4: time constant of a 1 mm bead, 1.116 s.

    The answer seen; the inputs (h 250, 9300 kg/m3, 180 J/(kg K)) recalled.
    """
    found = warmth.time_constant(*bead(1e-3, 9300.0, 180.0, 250.0))
    assert found == pytest.approx(1.116, abs=5e-4)


def test_faires_881_brake_drum():
    """Faires, Design of Machine Elements, problem 881, as solved in a circulated set, seen.

    4000 lb lowered 200 ft into a drum of 208.7 in3, 0.253 lb/in3, 101 ft lb/(lb F): 150 F.
    """
    per_pound_fahrenheit = 101 * FOOT_POUND / POUND * 1.8
    rise = temperature_rise(4000 * 200 * FOOT_POUND, 208.7 * 0.253 * POUND, per_pound_fahrenheit)
    assert rise * 1.8 == pytest.approx(150.0, abs=0.05)


def test_shigley_16_60_repeated_stops():
    """Shigley, 9th ed., section 16-9, recalled: a brake used again and again.

    Only the method is from the book (eq. 16-60, recalled): the temperature just after and just
    before a stop differ by E / (W C), and the later follows from the former by exp(-beta t1).
    """
    energy, interval, capacity, conductance = 45.0, 4.5, 10.7, 0.2
    highest = warmth.stroke_peak(25.0, energy, interval, capacity, conductance)
    lowest = warmth.temperature_after(interval, highest, 25.0, 0.0, capacity, conductance)
    assert highest - lowest == pytest.approx(energy / capacity, rel=1e-12)


def test_effusivity_of_two_metals():
    """Incropera and DeWitt, table A.1 at 300 K, recalled: copper 401, 8933, 385; steel 1010."""
    copper = warmth.effusivity(401.0, 8933.0, 385.0)
    steel = warmth.effusivity(63.9, 7832.0, 434.0)
    # An encyclopaedia's table of effusivities prints 37 000 and 14 700 (recalled, two digits).
    assert copper == pytest.approx(37_000, abs=500)
    assert steel == pytest.approx(14_700, abs=500)


def test_contact_of_skin_and_metal():
    """Baehr and Stephan, Heat and Mass Transfer, section 2.3.3, recalled: who touches feels b.

    Skin at 34 C (b 1100) on copper at 20 C (b 36 000) meets at 20.4 C; on wood (b 400) at 30.3 C.
    """
    assert warmth.contact_temperature(1100.0, 34.0, 36_000.0, 20.0) == pytest.approx(20.4, abs=0.05)
    assert warmth.contact_temperature(1100.0, 34.0, 400.0, 20.0) == pytest.approx(30.3, abs=0.05)


def test_khurmi_10_27_by_formula():
    """Khurmi and Gupta, ex. 10.27, seen: armature 32, rotor 42.12 kg m2, 1250 rpm -> 155 794 J.

    Printed 156 000.
    """
    armature, rotor = 800 * 0.2**2, 1300 * 0.18**2
    energy = slip_energy(armature, rotor, 1250 * math.pi / 30, 0.0, 60.0)
    assert energy == pytest.approx(155_794, abs=50)
    assert energy == pytest.approx(
        0.5 * reduced_inertia(armature, rotor) * (1250 * math.pi / 30) ** 2, rel=1e-12
    )


def test_shigley_12_22_bushing():
    """Shigley, 8th and 9th ed., problem 12-22 (solutions), seen: 0.005 in worn off after 1388 h.

    K / H 1.8 x 0.6e-10 in3 min/(lbf ft h), bore and length 1 in, 52.4 ft/min, 500 lbf: Archard's
    law with its area pi D L / 4.
    """
    rate, speed, load = 1.8 * 0.6e-10, 52.4, 500.0
    area = math.pi * 1.0 * 1.0 / 4
    hours = 1388.0
    # The unit of K takes a speed in ft/min and a time in hours: their product is the distance.
    worn = worn_volume(rate, load, speed * hours, 1.0) / area
    assert worn == pytest.approx(0.005, rel=0.5 / 1388)
    friction = 0.03
    by_heat = wear_per_energy(rate, 1.0, friction, area) * (friction * load * speed * hours)
    assert by_heat == pytest.approx(worn, rel=1e-12)


def test_latch_wears():
    """A homework page's latch after Archard and Ashby, seen: 1e-9 x 30 x 0.015 / 140 = 3.2e-12."""
    assert worn_volume(1e-9, 30.0, 1.5e-2, 140.0) == pytest.approx(3.2e-12, abs=5e-14)


@pytest.mark.parametrize(
    ("rpm", "before", "after", "printed"),
    [
        # A car forum's worked example, seen: final drive 3.35 for fifth, 3.94 below;
        # 1574 turns of the wheel are 5747 rpm in fifth (1.09), 7256 in fourth, 13 891 in second.
        (1574 * 3.35 * 1.09, 3.35 * 1.09, 3.94 * 1.17, 7256),
        (1574 * 3.35 * 1.09, 3.35 * 1.09, 3.94 * 2.24, 13_891),
    ],
)
def test_engine_speed_after_a_shift(rpm, before, after, printed):
    radians = math.pi / 30
    assert rpm == pytest.approx(5747, abs=0.6)  # the page cuts where it should round
    found = gears.speed_after_shift(rpm * radians, before, after)
    assert found / radians == pytest.approx(printed, abs=0.5)
    assert gears.lowest_shift(found, before, after) == pytest.approx(rpm * radians, rel=1e-12)


def test_khurmi_13_4_reverted_train_shares_its_centres():
    """Khurmi and Gupta, ex. 13.4, recalled: shafts 200 mm apart, 28/100 of 3.125, 36/124 of 2.5."""
    first = gears.centre_distance(3.125e-3, 28, 100)
    second = gears.centre_distance(2.5e-3, 36, 124)
    assert first == pytest.approx(0.200, rel=1e-12)
    assert gears.backlash_between(first, second) == pytest.approx(0.0, abs=1e-15)
    assert gears.final_drive(28, 100) * gears.final_drive(36, 124) == pytest.approx(12.3, abs=0.05)
