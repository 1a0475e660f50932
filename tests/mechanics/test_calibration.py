import math
from dataclasses import replace

import numpy as np
import pytest

from pitwright.mechanics.calibration import UNCALIBRATED, Creep, Plateau, calibrate
from pitwright.mechanics.clutch import bite_speed, inertia_term, opening_force, take_up_speed
from pitwright.mechanics.errors import RangeError


def _observed(generic, s, t, recesses, noise=None):
    true = [replace(generic, recess=r, s_scale=s, t_scale=t) for r in recesses]
    shown = [replace(generic, recess=r) for r in recesses]
    off = iter(noise if noise is not None else [0.0] * (2 * len(recesses)))
    creeps = [
        Creep(bare, bite_speed(real) + next(off), 15.0)
        for bare, real in zip(shown, true, strict=True)
    ]
    plateaus = [
        Plateau(bare, take_up_speed(real, 0.4) + next(off), 20.0, 0.4)
        for bare, real in zip(shown, true, strict=True)
    ]
    return creeps, plateaus


def test_nothing_observed(generic):
    assert calibrate([], []) is UNCALIBRATED
    assert UNCALIBRATED.applied_to(generic) == generic
    assert generic.s_scale is None
    assert generic.t_scale is None


def test_recovers_the_truth(generic):
    result = calibrate(*_observed(generic, 1.15, 0.8, [1.2e-3, 1.35e-3, 1.5e-3]))
    assert result.s.value == pytest.approx(1.15, rel=1e-9)
    assert result.t.value == pytest.approx(0.8, rel=1e-9)
    assert result.scatter == 1.0
    assert (result.s.observations, result.t.observations) == (6, 3)
    fitted = result.applied_to(generic)
    true = replace(generic, s_scale=1.15, t_scale=0.8)
    assert take_up_speed(fitted, 0.4) == pytest.approx(take_up_speed(true, 0.4), rel=1e-9)


def test_creep_alone_leaves_the_torque_uncalibrated(generic):
    creeps, _ = _observed(generic, 1.15, 0.8, [1.35e-3])
    result = calibrate(creeps, [])
    assert result.t is None
    assert result.s.value == pytest.approx(1.15)
    # one observation: s = omega^2 / omega_model^2, so u(s)/s = 2 u(omega)/omega
    assert result.s.u == pytest.approx(1.15 * 2 * 15.0 / creeps[0].speed)
    assert bite_speed(result.applied_to(generic)) == pytest.approx(creeps[0].speed, rel=1e-12)


def test_plateaus_alone_leave_the_force_uncalibrated(generic):
    _, plateaus = _observed(generic, 1.0, 0.8, [1.2e-3, 1.5e-3])
    result = calibrate([], plateaus)
    assert result.s is None
    assert result.t.value == pytest.approx(0.8)


def test_scales_already_there_are_set_aside(generic):
    creeps, plateaus = _observed(generic, 1.15, 0.8, [1.35e-3])
    marked = [replace(o, clutch=replace(o.clutch, s_scale=3.0, t_scale=2.0)) for o in creeps]
    assert calibrate(marked, plateaus) == calibrate(creeps, plateaus)


def test_uncertainty_against_repeated_experiments(generic):
    rng = np.random.default_rng(11)
    recesses = [1.2e-3, 1.3e-3, 1.4e-3, 1.5e-3]
    fits = []
    for _ in range(1500):
        noise = [*rng.normal(0, 15.0, 4), *rng.normal(0, 20.0, 4)]
        fits.append(calibrate(*_observed(generic, 1.15, 0.8, recesses, map(float, noise))))
    exact = calibrate(*_observed(generic, 1.15, 0.8, recesses))
    s, t = [f.s.value for f in fits], [f.t.value for f in fits]
    assert exact.s.u == pytest.approx(np.std(s), rel=0.06)
    assert exact.t.u == pytest.approx(np.std(t), rel=0.06)
    assert exact.covariance == pytest.approx(np.cov(s, t)[0, 1], rel=0.15)


def test_against_numpy_least_squares(generic):
    noise = [12.0, -20.0, 5.0, -8.0, 30.0, -11.0]
    creeps, plateaus = _observed(generic, 1.15, 0.8, [1.2e-3, 1.35e-3, 1.5e-3], noise)
    rows, seen = [], []
    for o in [*creeps, *plateaus]:
        term = inertia_term(o.clutch)
        u = 2 * term * o.speed * o.u_speed
        torque = getattr(o, "torque", 0.0) / (0.3 * 15e-3)
        rows.append([opening_force(o.clutch) / u, torque / u])
        seen.append(term * o.speed**2 / u)
    (s, t), *_ = np.linalg.lstsq(np.array(rows), np.array(seen), rcond=None)
    result = calibrate(creeps, plateaus)
    assert (result.s.value, result.t.value) == pytest.approx((s, t), rel=1e-9)
    chi2 = float(np.sum((np.array(rows) @ [s, t] - seen) ** 2))
    scatter = max(1.0, math.sqrt(chi2 / 4))
    cov = np.linalg.inv(np.array(rows).T @ np.array(rows)) * scatter**2
    assert result.scatter == pytest.approx(scatter)
    assert result.s.u == pytest.approx(math.sqrt(cov[0, 0]), rel=1e-9)
    assert result.t.u == pytest.approx(math.sqrt(cov[1, 1]), rel=1e-9)
    assert result.covariance == pytest.approx(cov[0, 1], rel=1e-9)


def test_scatter_widens_and_never_narrows(generic):
    wild = [150.0, -150.0, 120.0]
    creeps = [Creep(generic, bite_speed(generic) + d, 10.0) for d in wild]
    result = calibrate(creeps, [])
    assert result.scatter > 5
    calm = calibrate([Creep(generic, bite_speed(generic), 10.0)] * 3, [])
    assert calm.scatter == 1.0
    assert result.s.u > 5 * calm.s.u


def test_contradiction_is_refused(generic):
    with pytest.raises(RangeError, match="contradict"):
        calibrate([], [Plateau(generic, 0.5 * bite_speed(generic), 10.0, 0.4)])


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_nonsense(generic, bad):
    with pytest.raises(RangeError):
        calibrate([Creep(generic, bad, 10.0)], [])
    with pytest.raises(RangeError):
        calibrate([Creep(generic, 1300.0, bad)], [])
    with pytest.raises(RangeError):
        calibrate([], [Plateau(generic, 1900.0, 10.0, bad)])
