"""The adjuster nut: geometry, calibration, advice, and the uncertainty of each."""

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.nut import (
    calibrate,
    recess_at,
    recess_for_same_preload,
    turns_at,
)
from pitwright.mechanics.nut_advice import (
    Direction,
    NutLimits,
    Refusal,
    advise,
)
from pitwright.mechanics.springs import cavity_from_bottomed, preload

PITCH = 0.75e-3
LIMITS = NutLimits(maximum=1.7e-3, at_solid=2.125e-3, travel=0.25e-3)


def test_trade_rule_of_one_and_a_half_turns():
    """Common practice, no source: one and a half turns out from bottomed is about 1 mm."""
    assert recess_at(1.5, 2.125e-3, PITCH) == pytest.approx(1.0e-3, abs=1e-15)


@given(st.floats(0, 3), st.floats(1.5e-3, 3e-3), st.floats(0.3e-3, 1e-3))
def test_turns_and_recess_are_inverse(turns, bottomed, pitch):
    recess = recess_at(turns, bottomed, pitch)
    assert turns_at(recess, bottomed, pitch) == pytest.approx(turns, abs=1e-9)


@given(st.floats(0, 2), st.floats(0.01, 1))
def test_turning_out_lowers_recess_and_preload(turns, more):
    C = cavity_from_bottomed(7.5e-3, 2.125e-3)
    before, after = recess_at(turns, 2.125e-3, PITCH), recess_at(turns + more, 2.125e-3, PITCH)
    assert after < before
    assert preload(10.2e-3, C, after) < preload(10.2e-3, C, before)


class TestSamePreload:
    def test_one_for_one(self):
        """Common practice, no source: (10.2, 1.5) and (10.0, 1.7) lie on one line."""
        value, u = recess_for_same_preload(1.5e-3, 10.2e-3, 10.0e-3)
        assert value == pytest.approx(1.7e-3, abs=1e-15)
        assert u == 0.0

    def test_uncertainty_by_the_uncertainties_package(self):
        ufloat = pytest.importorskip("uncertainties").ufloat
        recess, then, now = ufloat(1.5e-3, 2e-5), ufloat(10.2e-3, 1.2e-5), ufloat(10.0e-3, 1.5e-5)
        C = 9.625e-3
        held = then - (C - recess)
        wanted = C - now + held
        value, u = recess_for_same_preload(
            1.5e-3, 10.2e-3, 10.0e-3, u_recess=2e-5, u_L_free_then=1.2e-5, u_L_free_now=1.5e-5
        )
        assert value == pytest.approx(wanted.nominal_value, rel=1e-12)
        assert u == pytest.approx(wanted.std_dev, rel=1e-9)


class TestCalibrate:
    pairs = ((0.0, 2.14e-3), (0.5, 1.73e-3), (1.0, 1.38e-3), (1.5, 1.02e-3), (2.0, 0.61e-3))

    @given(st.floats(1.5e-3, 3e-3), st.floats(0.3e-3, 1e-3), st.floats(0, 1), st.floats(0.1, 2))
    def test_two_pairs_are_exact(self, bottomed, pitch, first, more):
        pairs = [(t, bottomed - t * pitch) for t in (first, first + more)]
        nut = calibrate(pairs, u_recess=1e-5)
        assert nut.pitch == pytest.approx(pitch, rel=1e-9)
        assert nut.recess_bottomed == pytest.approx(bottomed, rel=1e-9)
        assert nut.residual_sd is None

    def test_two_pairs_by_the_uncertainties_package(self):
        uncertainties = pytest.importorskip("uncertainties")
        a, b = uncertainties.ufloat(1.73e-3, 1e-5), uncertainties.ufloat(1.02e-3, 2e-5)
        pitch = (a - b) / 1.0
        bottomed = a + 0.5 * pitch
        covariance = uncertainties.covariance_matrix([bottomed, pitch])
        nut = calibrate([(0.5, 1.73e-3), (1.5, 1.02e-3)], u_recess=[1e-5, 2e-5])
        assert nut.u_recess_bottomed == pytest.approx(bottomed.std_dev, rel=1e-9)
        assert nut.u_pitch == pytest.approx(pitch.std_dev, rel=1e-9)
        assert nut.covariance == pytest.approx(covariance[0][1], rel=1e-9)
        recess = bottomed - 0.8 * pitch
        value, u = nut.recess(0.8)
        assert value == pytest.approx(recess.nominal_value, rel=1e-12)
        assert u == pytest.approx(recess.std_dev, rel=1e-9)
        turns = (bottomed - uncertainties.ufloat(1.3e-3, 1.5e-5)) / pitch
        value, u = nut.turns(1.3e-3, 1.5e-5)
        assert value == pytest.approx(turns.nominal_value, rel=1e-12)
        assert u == pytest.approx(turns.std_dev, rel=1e-9)

    def test_more_pairs_by_numpy(self):
        np = pytest.importorskip("numpy")
        turns, recesses = zip(*self.pairs, strict=True)
        (slope, intercept), covariance = np.polyfit(turns, recesses, 1, cov=True)
        nut = calibrate(self.pairs)
        assert nut.pitch == pytest.approx(-slope, rel=1e-10)
        assert nut.recess_bottomed == pytest.approx(intercept, rel=1e-12)
        assert nut.u_pitch == pytest.approx(math.sqrt(covariance[0][0]), rel=1e-9)
        assert nut.u_recess_bottomed == pytest.approx(math.sqrt(covariance[1][1]), rel=1e-9)
        assert nut.covariance == pytest.approx(-covariance[0][1], rel=1e-9)

    def test_weights_pull_toward_the_surer_reading(self):
        bent = [(0.0, 2.2e-3), (1.0, 1.38e-3), (2.0, 0.62e-3)]
        plain = calibrate(bent)
        weighted = calibrate(bent, u_recess=[1e-4, 1e-5, 1e-5])
        assert abs(weighted.pitch - 0.76e-3) < abs(plain.pitch - 0.76e-3)

    def test_readings_that_disagree_do_not_look_better_than_they_are(self):
        honest = calibrate(self.pairs, u_recess=1e-4)
        proud = calibrate(self.pairs, u_recess=1e-7)
        by_scatter = calibrate(self.pairs)
        assert proud.u_pitch == pytest.approx(by_scatter.u_pitch, rel=1e-9)
        assert honest.u_pitch > by_scatter.u_pitch

    def test_known_pitch_with_one_pair(self):
        nut = calibrate([(1.5, 1.0e-3)], known_pitch=PITCH, u_known_pitch=1e-6, u_recess=1e-5)
        assert nut.recess_bottomed == pytest.approx(2.125e-3, abs=1e-15)
        assert nut.u_recess_bottomed == pytest.approx(math.hypot(1e-5, 1.5e-6), rel=1e-12)
        # Back at the reading's own turns the pitch's doubt cancels.
        assert nut.recess(1.5)[1] == pytest.approx(1e-5, rel=1e-9)

    def test_known_pitch_with_more_pairs_by_the_uncertainties_package(self):
        uncertainties = pytest.importorskip("uncertainties")
        pitch = uncertainties.ufloat(PITCH, 2e-6)
        readings = [(0.5, 1.75e-3, 1e-5), (1.0, 1.375e-3, 2e-5), (2.0, 0.62e-3, 1e-5)]
        weights = [1 / u**2 for _, _, u in readings]
        offsets = [uncertainties.ufloat(r, u) + pitch * t for t, r, u in readings]
        offset = sum(w * o for w, o in zip(weights, offsets, strict=True)) / sum(weights)
        nut = calibrate(
            [(t, r) for t, r, _ in readings],
            known_pitch=PITCH,
            u_known_pitch=2e-6,
            u_recess=[u for _, _, u in readings],
        )
        assert nut.recess_bottomed == pytest.approx(offset.nominal_value, rel=1e-12)
        assert nut.u_recess_bottomed == pytest.approx(offset.std_dev, rel=1e-9)
        assert nut.recess(0.2)[1] == pytest.approx((offset - 0.2 * pitch).std_dev, rel=1e-9)

    @pytest.mark.parametrize(
        ("pairs", "options", "argument"),
        [
            ([], {}, "pairs"),
            ([(1.0, 1e-3)], {}, "pairs"),
            ([(1.0, 1e-3)], {"known_pitch": PITCH}, "u_recess"),
            ([(0.0, 2e-3), (1.0, 1e-3)], {}, "u_recess"),
            ([(1.0, 1e-3), (1.0, 1.1e-3)], {"u_recess": 1e-5}, "pairs"),
            ([(0.0, 1e-3), (1.0, 2e-3)], {"u_recess": 1e-5}, "pairs"),
            ([(-1.0, 1e-3), (1.0, 2e-3)], {"u_recess": 1e-5}, "pairs"),
            ([(0.0, 2e-3), (1.0, 1e-3)], {"u_recess": [1e-5]}, "u_recess"),
            ([(0.0, 2e-3), (1.0, 1e-3)], {"u_recess": 0.0}, "u_recess"),
            ([(0.0, 2e-3)], {"known_pitch": -PITCH, "u_recess": 1e-5}, "known_pitch"),
        ],
    )
    def test_what_cannot_be_calibrated_is_refused(self, pairs, options, argument):
        with pytest.raises(RangeError) as caught:
            calibrate(pairs, **options)
        assert caught.value.argument == argument


class TestAdvise:
    def test_direction(self):
        deeper = advise(1.5e-3, LIMITS, PITCH, present=1.35e-3)
        shallower = advise(1.2e-3, LIMITS, PITCH, present=1.35e-3)
        same = advise(1.35e-3, LIMITS, PITCH, present=1.35e-3)
        assert (deeper.direction, shallower.direction) == (Direction.IN, Direction.OUT)
        assert deeper.turns == pytest.approx(0.2, abs=1e-12)
        assert shallower.turns == pytest.approx(0.2, abs=1e-12)
        assert (same.direction, same.turns) == (Direction.STAY, 0.0)

    @given(st.floats(0.1e-3, 1.6e-3), st.floats(0.1e-3, 1.6e-3))
    def test_following_the_advice_gets_there(self, wanted, present):
        advice = advise(wanted, LIMITS, PITCH, present=present)
        sign = -1 if advice.direction is Direction.OUT else 1
        assert present + sign * advice.turns * PITCH == pytest.approx(wanted, abs=1e-15)

    def test_without_a_present_recess_there_are_no_turns(self):
        advice = advise(1.5e-3, LIMITS, PITCH)
        assert (advice.turns, advice.direction, advice.u_turns) == (None, None, None)
        assert advice.wanted == 1.5e-3

    def test_margins(self):
        advice = advise(1.5e-3, LIMITS, PITCH)
        assert advice.bind_margin == pytest.approx(0.375e-3, abs=1e-15)
        assert advice.maximum_margin == pytest.approx(0.2e-3, abs=1e-15)

    @pytest.mark.parametrize(
        ("wanted", "refusal"),
        [
            (1.0e-3, None),
            (1.7e-3, None),
            (1.701e-3, Refusal.PAST_MAXIMUM),
            (1.876e-3, Refusal.COIL_BIND),
            (0.0, None),
            (-0.01e-3, Refusal.TOO_SHALLOW),
        ],
    )
    def test_refusals(self, wanted, refusal):
        advice = advise(wanted, LIMITS, PITCH)
        assert advice.refusal is refusal
        assert advice.wanted == wanted

    def test_a_sagged_spring_ends_in_a_refusal_not_an_error(self):
        wanted, _ = recess_for_same_preload(1.5e-3, 10.2e-3, 9.95e-3)
        assert advise(wanted, LIMITS, PITCH).refusal is Refusal.PAST_MAXIMUM

    def test_uncertainty_by_the_uncertainties_package(self):
        uncertainties = pytest.importorskip("uncertainties")
        wanted, present = uncertainties.correlated_values_norm(
            [(1.5e-3, 2e-5), (1.35e-3, 1.5e-5)], [[1.0, 0.6], [0.6, 1.0]]
        )
        turns = (wanted - present) / uncertainties.ufloat(PITCH, 3e-6)
        advice = advise(
            1.5e-3,
            LIMITS,
            PITCH,
            present=1.35e-3,
            u_wanted=2e-5,
            u_present=1.5e-5,
            u_pitch=3e-6,
            correlation=0.6,
        )
        assert advice.u_turns == pytest.approx(turns.std_dev, rel=1e-9)

    def test_a_nut_not_touched_since_cancels_its_own_reading(self):
        """Wanted = present + lost length: the turn depends on the two lengths alone."""
        wanted, u_wanted = recess_for_same_preload(
            1.5e-3, 10.2e-3, 10.1e-3, u_recess=2e-5, u_L_free_then=1e-5, u_L_free_now=1e-5
        )
        advice = advise(
            wanted,
            LIMITS,
            PITCH,
            present=1.5e-3,
            u_wanted=u_wanted,
            u_present=2e-5,
            correlation=2e-5 / u_wanted,
        )
        assert advice.u_turns == pytest.approx(math.hypot(1e-5, 1e-5) / PITCH, rel=1e-9)

    def test_limits_that_leave_no_room_are_refused(self):
        with pytest.raises(RangeError) as caught:
            NutLimits(maximum=1.0e-3, at_solid=2.0e-3, minimum=1.0e-3)
        assert caught.value.argument == "minimum"
        with pytest.raises(RangeError):
            NutLimits(maximum=1.7e-3, at_solid=0.2e-3, travel=0.25e-3)


def test_with_a_known_pitch_the_offsets_scatter_as_any_sample_does():
    # Offsets 2.12, 2.13, 2.15 mm at three turns: mean, s and s / sqrt(3) as in any textbook.
    offsets = [2.12e-3, 2.13e-3, 2.15e-3]
    pairs = [(turns, offset - turns * PITCH) for turns, offset in enumerate(offsets)]
    fit = calibrate([(float(t), r) for t, r in pairs], known_pitch=PITCH)
    assert fit.recess_bottomed == pytest.approx(statistics.fmean(offsets))
    assert fit.residual_sd == pytest.approx(statistics.stdev(offsets))
    assert fit.u_recess_bottomed == pytest.approx(statistics.stdev(offsets) / math.sqrt(3))
