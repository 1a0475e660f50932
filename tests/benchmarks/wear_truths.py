"""Springs that wear by laws of the simulation's own, and rival forecasts to set beside ours.

No law, time constant or spread here is taken from the program: every true curve is written out as
a plain function of the minutes, most of them with a shape the program's family does not hold.
"""

import math
import random
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np
from scipy import stats

STATED = 0.015  # mm, the scatter the card states
DISPLAY = 0.01
STATED_U = math.hypot(STATED, DISPLAY / math.sqrt(12))
EARLIER = "4803ec6"  # the last commit with two laws, one of which was chosen
Curve = Callable[[float], float]


@dataclass(frozen=True)
class Spring:
    """A true spring: its size without the run-in drop at any minute, and that drop."""

    law: str
    start: float
    drop: float
    worn: Curve
    hot_at: float = -1.0

    def length(self, minutes: float) -> float:
        return self.start - self.worn(minutes)

    def minutes_to(self, limit: float) -> float:
        """Running until the limit, inf when it is not met in 2,000 minutes."""
        low, high = 0.0, 2000.0
        if self.length(high) > limit:
            return math.inf
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.length(middle) > limit else (low, middle)
        return high


def _step(rng: random.Random, scale: float) -> tuple[Curve, float]:
    at, size = rng.uniform(5.0, 75.0), rng.uniform(0.3, 1.0)
    rate = scale * (1.0 - 0.4 * size) / 60.0
    return (lambda t: rate * t + size * scale * 0.5 * min(max((t - at) / 8.0, 0.0), 1.0)), at


def _law(name: str, rng: random.Random) -> tuple[Curve, float]:
    """Return a curve that has lost about one after an hour, and when a hot heat was (or -1)."""
    tau = math.exp(rng.uniform(1.0, 4.0))
    part = rng.uniform(0.3, 0.8)
    if name == "linear":
        return (lambda t: t / 60.0), -1.0
    if name == "log-time":
        return (lambda t: math.log(1.0 + t / tau) / math.log(1.0 + 60.0 / tau)), -1.0
    if name == "power 0.3":
        return (lambda t: (t / 60.0) ** 0.3), -1.0
    if name == "power 0.6":
        return (lambda t: (t / 60.0) ** 0.6), -1.0
    if name == "settling then steady":
        own = rng.uniform(4.0, 15.0)
        return (lambda t: part * (1.0 - math.exp(-t / own)) + (1.0 - part) * t / 60.0), -1.0
    if name == "hyperbolic":
        return (lambda t: (t / (t + tau)) * (60.0 + tau) / 60.0), -1.0
    if name == "exponential settling":
        own = rng.uniform(8.0, 40.0)
        return (lambda t: (1.0 - math.exp(-t / own)) / (1.0 - math.exp(-60.0 / own))), -1.0
    if name == "step in a hot heat":
        return _step(rng, 1.0)
    if name == "accelerating":
        return (lambda t: (t / 60.0) ** 1.4), -1.0
    if name == "pace by chance":  # a gamma process: every minute wears by its own luck
        path = np.cumsum(np.random.default_rng(rng.randrange(1 << 30)).gamma(0.15, size=2001))
        path = np.append(0.0, path) / (0.15 * 60.0)
        return (lambda t: float(np.interp(t, np.arange(2002.0), path))), -1.0
    if name == "pace that turns":  # another track or driver: from some minute on another pace
        at, then = rng.uniform(10.0, 60.0), math.exp(rng.gauss(0.0, 0.6))
        return (lambda t: (min(t, at) + then * max(t - at, 0.0)) / 60.0), -1.0
    raise ValueError(name)


LAWS = (
    "linear",
    "log-time",
    "power 0.3",
    "power 0.6",
    "settling then steady",
    "hyperbolic",
    "exponential settling",
    "step in a hot heat",
    "accelerating",
)
BEYOND = ("pace by chance", "pace that turns")


def make_spring(rng: random.Random, law: str, loss: float | None = None) -> Spring:
    """A spring of its own; `loss` what its kind loses in an hour (None: of no kind)."""
    curve, hot = _law(law, rng)
    size = rng.uniform(0.05, 0.45) if loss is None else loss
    return Spring(
        law, rng.uniform(10.05, 10.2), rng.uniform(0.03, 0.1), lambda t: size * curve(t), hot
    )


def make_kin(rng: random.Random, law: str, count: int) -> list[Spring]:
    """Springs of one kind: the same law and constants, each with its own amount of wear."""
    seed, loss = rng.randrange(1 << 30), rng.uniform(0.05, 0.45)
    return [
        make_spring_like(rng, law, random.Random(seed), loss * math.exp(rng.gauss(0.0, 0.25)))
        for _ in range(count)
    ]


def make_spring_like(rng: random.Random, law: str, same: random.Random, loss: float) -> Spring:
    curve, hot = _law(law, same)
    return Spring(
        law, rng.uniform(10.05, 10.2), rng.uniform(0.03, 0.1), lambda t: loss * curve(t), hot
    )


def read(rng: random.Random, true: float, sd: float) -> float:
    return round(round((true + rng.gauss(0.0, sd)) / DISPLAY) * DISPLAY, 2)


def check_times(rng: random.Random, n: int) -> list[float]:
    times = [0.0]
    for _ in range(n - 1):
        times.append(times[-1] + rng.uniform(6.0, 14.0))
    return times


@dataclass(frozen=True)
class Range:
    """A forecast as every method gives it: 90 % range of the reading then, chance by limit."""

    low: float
    high: float
    above: Callable[[float], float]


def straight_line(t: Sequence[float], y: Sequence[float], then: float) -> Range:
    """Least squares with the t range of a reading to come."""
    x, v = np.array(t), np.array(y)
    n = len(x)
    fit = stats.linregress(x, v)
    at = fit.intercept + fit.slope * then
    rest = v - fit.intercept - fit.slope * x
    s = max(math.sqrt(float(rest @ rest) / max(n - 2, 1)), DISPLAY / math.sqrt(12))
    sxx = float(((x - x.mean()) ** 2).sum())
    size = s * math.sqrt(1.0 / n + (then - x.mean()) ** 2 / sxx)
    reading = math.hypot(size, s)
    k = float(stats.t.ppf(0.95, n - 2))
    return Range(
        at - k * reading,
        at + k * reading,
        lambda limit: float(stats.t.cdf((at - limit) / size, n - 2)),
    )


def last_value(t: Sequence[float], y: Sequence[float], then: float) -> Range:
    """It stays as it was read last, give or take a random walk of the size seen so far."""
    gaps, steps = np.diff(t), np.diff(y)
    per_minute = float((steps**2).sum() / gaps.sum())
    sd = max(math.sqrt(per_minute * (then - t[-1])), STATED_U)
    return Range(
        y[-1] - 1.645 * sd,
        y[-1] + 1.645 * sd,
        lambda limit: float(stats.norm.cdf((y[-1] - limit) / sd)),
    )


def gaussian_process(t: Sequence[float], y: Sequence[float], then: float) -> Range:
    """scikit-learn's Gaussian process: straight and smooth parts and noise, all fitted."""
    import warnings

    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, DotProduct, WhiteKernel

    kernel = (
        ConstantKernel(1.0, (1e-3, 1e3)) * DotProduct(1.0, (1e-2, 1e2))
        + ConstantKernel(1.0, (1e-3, 1e3)) * RBF(0.5, (0.1, 20.0))
        + WhiteKernel(0.05, (1e-3, 1.0))
    )
    x = np.array(t)[:, None] / 30.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = GaussianProcessRegressor(kernel, normalize_y=True).fit(x, np.array(y))
        at, sd = (float(a[0]) for a in model.predict(np.array([[then / 30.0]]), return_std=True))
    noise = math.exp(model.kernel_.theta[-1]) * float(np.std(y)) ** 2
    size = math.sqrt(max(sd * sd - noise, 1e-10))
    return Range(
        at - 1.645 * sd, at + 1.645 * sd, lambda limit: float(stats.norm.cdf((at - limit) / size))
    )


def earlier_model() -> ModuleType:
    """The forecast as it was at EARLIER, from the project's history, under a name of its own."""
    if "earlier.inference.forecast" in sys.modules:
        return sys.modules["earlier.inference.forecast"]
    root = Path(__file__).parents[2]
    folder = Path(tempfile.mkdtemp(prefix="earlier-"))
    names = [f"inference/{n}.py" for n in ("forecast", "kinds", "outlook", "wear_laws")]
    for name in ["student.py", *names]:
        shown = subprocess.run(
            ["git", "show", f"{EARLIER}:src/pitwright/{name}"],
            cwd=root, check=True, capture_output=True, text=True,
        )  # fmt: skip
        path = folder / "earlier" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(shown.stdout.replace("pitwright.", "earlier."))
    for package in (folder / "earlier", folder / "earlier" / "inference"):
        (package / "__init__.py").touch()
    sys.path.insert(0, str(folder))
    import importlib

    return importlib.import_module("earlier.inference.forecast")
