"""Readings in, value and uncertainty out, by the Guide (JCGM 100:2008, the GUM)."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal

from pitwright.metrology.instruments import SQRT3, Instrument, StepReading
from pitwright.metrology.spread import Spread
from pitwright.student import t_quantile

COVERAGE_PROBABILITY = 0.9545  # gives k = 2 when every contribution is well known
PLUS_MINUS = "±"
FEWEST_POOLED = 4


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of an uncertainty budget.

    `u` is the standard uncertainty already multiplied by its sensitivity, so in the unit of the
    result; `dof` its degrees of freedom (inf when it comes from stated limits); `how` how it was
    found, for display; `shared` whether every reading with the same tool carries the same error,
    so that it drops out when readings are compared with one another.
    """

    name: str
    u: float
    dof: float = math.inf
    how: str = "rectangular"
    shared: bool = False


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter of one reading, known beforehand (the card's figure, or earlier days pooled).

    `dof` defaults to 8, which is a standard deviation trusted to about 25 % (GUM G.4.2).
    """

    sd: float
    dof: float = 8.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sd) and self.sd >= 0.0) or not self.dof > 0.0:
            raise ValueError(f"repeatability needs sd >= 0 and dof > 0, got {self}")


@dataclass(frozen=True, slots=True)
class PartTemperature:
    """How warm the part was, to bring its size to 20 C (ISO 1).

    `celsius` and `u_celsius` of the part, `alpha` and `u_alpha` in 1/K of its material.
    """

    celsius: float
    alpha: float
    u_celsius: float = 2.0
    u_alpha: float = 1e-6
    reference: float = 20.0

    def to_reference(self, size: float) -> float:
        """Return what `size` would be at the reference temperature."""
        return size / (1.0 + self.alpha * (self.celsius - self.reference))

    def contributions(self, size: float) -> tuple[Contribution, Contribution]:
        """Return the two budget lines: from the part's temperature, and from its expansion."""
        return (
            Contribution("part temperature", abs(size * self.alpha) * self.u_celsius, how="stated"),
            Contribution(
                "expansion coefficient",
                abs(size * (self.celsius - self.reference)) * self.u_alpha,
                how="stated",
                shared=True,
            ),
        )


@dataclass(frozen=True, slots=True)
class Measurement:
    """A measured value with its uncertainty, all in the unit of the readings.

    `u` standard uncertainty, `dof` effective degrees of freedom, `k` what u is multiplied by to
    cover COVERAGE_PROBABILITY (from `spread`, unless fixed by the caller), `n` number of readings,
    `sd` scatter of one reading (None: not known) and `sd_dof` its degrees of freedom, `budget` the
    contributions, `notes` what the reader must know, in plain words.
    """

    value: float
    u: float
    dof: float
    k: float
    n: int
    sd: float | None
    sd_dof: float
    budget: tuple[Contribution, ...]
    notes: tuple[str, ...] = field(default=())

    @property
    def U(self) -> float:  # noqa: N802 - the Guide's symbol
        """Expanded uncertainty k u."""
        return self.k * self.u

    @property
    def u_varying(self) -> float:
        """Standard uncertainty without what all readings of this tool share.

        This is what scatters from one check to the next, hence what a wear forecast needs.
        """
        return combine(line for line in self.budget if not line.shared)[0]

    @property
    def spread(self) -> Spread:
        """How the error of the value is distributed: what its verdict goes by."""
        return Spread(self.u, self.dof, *_few(self.budget))

    def text(self, unit: str = "mm", *, ascii_only: bool = False) -> str:
        """Return `10.15 ± 0.03 mm`."""
        return format_measurement(self.value, self.U, unit, ascii_only=ascii_only)


def combine(contributions: Iterable[Contribution]) -> tuple[float, float]:
    """Return combined standard uncertainty and its effective degrees of freedom.

    Root sum of squares of uncorrelated contributions (GUM 5.1.2) and the Welch-Satterthwaite
    formula (GUM G.4.1). No contribution above zero gives (0, inf).

    >>> u, dof = combine([Contribution("a", 3.0, 9), Contribution("b", 4.0)])
    >>> u, round(dof, 3)
    (5.0, 69.444)
    """
    lines = [line for line in contributions if line.u > 0.0]
    u = math.hypot(*(line.u for line in lines)) if lines else 0.0
    share = math.fsum((line.u / u) ** 4 / line.dof for line in lines)
    return u, (1.0 / share if share > 0.0 else math.inf)


def _few(lines: Iterable[Contribution]) -> tuple[float, float]:
    """Return standard uncertainty and degrees of freedom of what comes from few readings."""
    return combine(line for line in lines if math.isfinite(line.dof))


def coverage_factor(dof: float, probability: float = COVERAGE_PROBABILITY) -> float:
    """Return the two-sided coverage factor t_p(dof); 2.00 for infinite dof and the default p."""
    return t_quantile(0.5 + 0.5 * probability, max(dof, 1.0))


def _repeatability(
    readings: Sequence[float], mean: float, known: Repeatability | None, notes: list[str]
) -> tuple[float | None, float]:
    """Return the standard deviation of one reading (None: not known) and its dof."""
    n = len(readings)
    if n == 1:
        if known is None:
            notes.append("one reading, scatter not known: it is left out of the uncertainty")
            return None, math.inf
        return known.sd, known.dof
    own = math.sqrt(math.fsum((r - mean) ** 2 for r in readings) / (n - 1))
    if known is None or known.sd == 0.0:
        if n == 2 and own > 0.0:
            notes.append("two readings hardly know their own scatter: a third narrows this a lot")
        return own, n - 1.0
    if own > 3.0 * known.sd:
        notes.append("the readings scatter more than usual: clean, seat the tool again, repeat")
        return own, n - 1.0
    if math.isinf(known.dof):
        return known.sd, known.dof
    dof = known.dof + n - 1.0
    return math.sqrt((known.dof * known.sd**2 + (n - 1.0) * own**2) / dof), dof


def pooled(groups: Iterable[Sequence[float]]) -> Repeatability | None:
    """Return the scatter of one reading that several groups of repeats share (GUM 4.2.4).

    Each group is of one thing, so its own mean is taken out. None below FEWEST_POOLED degrees of
    freedom, which know a scatter to about a third.

    >>> scatter = pooled([(10.15, 10.17), (9.98, 10.00), (1.40, 1.42), (1.31, 1.33)])
    >>> round(scatter.sd, 4), scatter.dof
    (0.0141, 4.0)
    """
    squares, dof = 0.0, 0
    for group in groups:
        mean = math.fsum(group) / len(group)
        squares += math.fsum((r - mean) ** 2 for r in group)
        dof += len(group) - 1
    return Repeatability(math.sqrt(squares / dof), float(dof)) if dof >= FEWEST_POOLED else None


def measure(
    readings: Sequence[float],
    instrument: Instrument,
    *,
    zero_count: int = 0,
    repeatability: Repeatability | None = None,
    temperature: PartTemperature | None = None,
    k: float | None = None,
) -> Measurement:
    """Turn one or more readings of the same thing into a value with its uncertainty.

    `zero_count` how many zeroings or second readings are subtracted to get the value: 0 for a
    caliper length (its permissible error covers its own zero), 1 for a recess, which is one depth
    less another. The permissible error counts once, because over so short a span the two depths
    share it. `repeatability` is what is known of the scatter beforehand: it stands in for a single
    reading and is pooled with few repeats. `temperature` brings a hot part to 20 C. `k` fixes the
    coverage factor; None takes what covers 95.45 %, which is 2.00 unless a few scattered repeats
    dominate (see `Spread`).
    Range: any finite readings. Raises ValueError for none, or one that is not finite.
    Source: GUM 4.2 (repeats), 4.3.7 (limits), F.2.2.1 (resolution), G.4 (effective dof);
    JCGM 101:2008, 6.4.9 (few repeats).
    """
    if not readings or not all(math.isfinite(r) for r in readings):
        raise ValueError("a measurement needs at least one finite reading")
    n = len(readings)
    mean = math.fsum(readings) / n
    notes: list[str] = []
    lines = [
        Contribution("resolution", instrument.u_resolution),
        Contribution("tool error", instrument.u_error(mean), shared=True),
    ]
    if zero_count:
        lines.append(Contribution("zeroing", math.sqrt(zero_count) * instrument.u_zero))
    sd, sd_dof = _repeatability(readings, mean, repeatability, notes)
    if sd is not None:
        how = f"{n} readings" if n > 1 else "known scatter"
        lines.append(Contribution("repeatability", sd / math.sqrt(n), sd_dof, how))
    value = mean
    if temperature is not None:
        value = temperature.to_reference(mean)
        lines.extend(temperature.contributions(mean))
    return _finish(value, lines, k, n, (sd, sd_dof), notes)


def measure_steps(reading: StepReading, *, k: float | None = None) -> Measurement:
    """Turn a closed go/no-go interval into its middle with a rectangular uncertainty (GUM 4.3.7).

    Raises ValueError when one side is open: then there is an interval but no value.
    """
    if reading.low is None or reading.high is None:
        raise ValueError("beyond the tool's last step: only one side is known, not a value")
    half = 0.5 * (reading.high - reading.low)
    lines = [Contribution("between two steps", half / SQRT3)]
    return _finish(0.5 * (reading.low + reading.high), lines, k, 1, (None, math.inf), [])


def _finish(
    value: float,
    lines: list[Contribution],
    k: float | None,
    n: int,
    scatter: tuple[float | None, float],
    notes: list[str],
) -> Measurement:
    lines = [line for line in lines if line.u > 0.0]
    u, dof = combine(lines)
    factor = k
    if factor is None:
        reach = Spread(u, dof, *_few(lines)).quantile(0.5 + 0.5 * COVERAGE_PROBABILITY)
        factor = reach / u if u > 0.0 else coverage_factor(dof)
    return Measurement(value, u, dof, factor, n, *scatter, tuple(lines), tuple(notes))


def round_uncertainty(U: float) -> Decimal:
    """Round an uncertainty for display: one digit, two when the first is a 1.

    Up, unless rounding down takes off less than 5 % (GUM 7.2.6; EA-4/02 6.3, recalled), so the
    figure shown never flatters the tool. Raises ValueError unless U is finite and above zero.
    """
    if not (math.isfinite(U) and U > 0.0):
        raise ValueError(f"uncertainty must be above zero, got {U}")
    # 12 digits first, so that 0.1 + 0.2 does not count as more than 0.3
    exact = Decimal(f"{U:.11e}")
    step = Decimal(1).scaleb(exact.adjusted() - (1 if exact.as_tuple().digits[0] == 1 else 0))
    down = (exact // step) * step
    return down if exact - down < Decimal("0.05") * exact else down + step


def format_measurement(
    value: float, U: float | None, unit: str = "mm", *, ascii_only: bool = False
) -> str:
    """Return value and expanded uncertainty with no more digits than the uncertainty supports.

    `U` None or zero: the value alone, as nothing is known of its uncertainty.

    >>> format_measurement(10.1537, 0.0254)
    '10.15 ± 0.03 mm'
    >>> format_measurement(10.1537, 0.0254, ascii_only=True)
    '10.15 +- 0.03 mm'
    """
    tail = f" {unit}" if unit else ""
    if not U:
        return f"{value:.10g}{tail}"
    shown = round_uncertainty(U)
    exponent = shown.as_tuple().exponent
    step = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
    # the last bits of a float decide no half: 1.3450000000000002 is 1.345
    exact = round(float(value), max(-step.adjusted(), 0) + 6)
    rounded = Decimal(repr(exact)).quantize(step, rounding=ROUND_HALF_EVEN)
    if rounded.is_zero():
        rounded = abs(rounded)
    sign = "+-" if ascii_only else PLUS_MINUS
    return f"{rounded:f} {sign} {shown:f}{tail}"
