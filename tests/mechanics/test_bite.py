import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import bite as b
from pitwright.mechanics.clutch import bite_speed, force_at_bell
from pitwright.mechanics.errors import RangeError


class TestSensitivities:
    def test_generic_card(self, generic, rpm):
        # The card was described as moving by "about" +350 rpm per 0.1 mm of recess, -360 per 0.1 mm
        # of free length lost and +460 per 0.1 mm worn. Its bites at three wedge angles pin the
        # preload, and with it +363 and -374: the description is 4 percent low, so 5 is allowed here
        # and the exact figures are held by a second route below.
        def moved(**changes):
            return (bite_speed(replace(generic, **changes)) - bite_speed(generic)) / rpm

        assert moved(recess=1.45e-3) == pytest.approx(350, rel=0.05)
        assert moved(free_length=10.1e-3) == pytest.approx(-360, rel=0.05)
        assert moved(worn=0.1e-3) == pytest.approx(460, rel=0.01)
        # travel at the bell 1.675 mm; d(omega)/dx = omega / (2 x) from omega^2 proportional to x
        assert moved(recess=1.45e-3) == pytest.approx(
            12_353 * (math.sqrt(1.775 / 1.675) - 1), rel=1e-3
        )
        slopes = b.sensitivities(generic)
        for slope, both_ways in (
            (slopes.recess, moved(recess=1.45e-3) - moved(recess=1.25e-3)),
            (slopes.free_length, moved(free_length=10.3e-3) - moved(free_length=10.1e-3)),
        ):
            assert slope * b.RPM_PER_TENTH_MM == pytest.approx(both_ways / 2, rel=0.001)

    def test_every_slope_against_central_differences(self, generic):
        clutch = replace(
            generic, worn=0.05e-3, softening=3e-4, spring_temperature_rise=80.0, s_scale=1.1
        )
        for name, slope in b.bite_slopes(clutch).items():
            value = getattr(clutch, name)
            h = 1e-5 * value or 1e-9
            up = bite_speed(replace(clutch, **{name: value + h}))
            down = bite_speed(replace(clutch, **{name: value - h}))
            assert slope == pytest.approx((up - down) / (2 * h), rel=1e-6), name

    def test_recess_and_free_length_trade_one_for_one(self, generic):
        slopes = b.sensitivities(generic)
        assert slopes.recess == pytest.approx(slopes.free_length, rel=1e-12)
        # Common practice, no source: 10.2 with 1.5 and 10.0 with 1.7 are the same setting.
        one = replace(generic, free_length=10.2e-3, recess=1.5e-3)
        other = replace(generic, free_length=10.0e-3, recess=1.7e-3)
        assert bite_speed(one) == pytest.approx(bite_speed(other), rel=1e-12)


class TestHoldTheBite:
    @given(
        sag=st.floats(0.0, 0.2e-3),
        worn=st.floats(0.0, 0.15e-3),
        recess=st.floats(1.0e-3, 1.5e-3),
    )
    def test_gives_the_bite_back(self, generic, sag, worn, recess):
        reference = replace(generic, recess=recess)
        today = replace(reference, free_length=generic.free_length - sag, worn=worn)
        wanted = b.recess_for_bite(today, bite_speed(reference))
        held = replace(today, recess=wanted)
        assert bite_speed(held) == pytest.approx(bite_speed(reference), rel=1e-9)

    @given(target=st.floats(1150.0, 1420.0))
    def test_aims(self, generic, target):
        recess = b.recess_for_bite(generic, target)
        assert bite_speed(replace(generic, recess=recess)) == pytest.approx(target, rel=1e-9)

    def test_present_recess_does_not_matter(self, generic):
        one = b.recess_for_bite(generic, 1300.0)
        assert b.recess_for_bite(replace(generic, recess=1.1e-3), 1300.0) == pytest.approx(one)

    def test_limits(self, generic):
        reference = replace(generic, recess=1.6e-3)
        sagged = replace(reference, free_length=10.05e-3)
        with pytest.raises(RangeError, match="fit a new spring") as caught:
            b.recess_for_bite(sagged, bite_speed(reference), recess_limit=1.7e-3)
        assert caught.value.argument == "recess"
        assert caught.value.value == pytest.approx(1.75e-3)
        for bite in (1_507.0, 1_700.0):  # short of bottomed, but bound before the bell; and beyond
            with pytest.raises(RangeError, match="bind the spring"):
                b.recess_for_bite(generic, bite)
        with pytest.raises(RangeError, match=r"proud|loose"):
            b.recess_for_bite(generic, 300.0)
        for bad in (0.0, -1.0, math.nan, math.inf):
            with pytest.raises(RangeError):
                b.recess_for_bite(generic, bad)

    def test_result_has_force_on_it(self, generic):
        held = replace(generic, recess=b.recess_for_bite(generic, 1300.0))
        assert force_at_bell(held) > 0
