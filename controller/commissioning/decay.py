"""How fast a difference dies away: an exponential fit that knows when it can't tell. Pure.

A tent's air follows y(t) = y∞ + A exp(−k t) after the fan has started: in log form the straight
line of the tracer-gas decay method (ASTM E741), about a level y∞ that is not known beforehand and
so found along with it.
"""

from __future__ import annotations

import itertools
import math
import operator
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

LEAST_SAMPLES = 10
# The fall must stand out of the scatter this many standard deviations.
LEAST_SIGNAL_TO_NOISE = 8.0
# Upper over lower confidence limit of the rate beyond which it is no answer.
WIDEST_RATIO = 3.0
# What matching the lags leaves of them, as a share of the rate: a humidity ratio does not follow
# its two readings in a straight line (measured: tests/benches/decay_coverage.py).
MODEL_DOUBT = 0.005
TOO_FAST = "the air changed faster than the sensor follows"
_Z = 1.959964  # 97.5 % quantile of the normal distribution


@dataclass(frozen=True, slots=True)
class Decay:
    """A decay that could be timed.

    Attributes
    ----------
    rate_per_s : float
        k [1/s]; low and high are its 95 % confidence limits.
    low_per_s, high_per_s : float
        See there [1/s].
    start, settled : float
        Fitted value at the first sample and the level it approaches, in the unit of the values.
    scatter : float
        Standard deviation of the values about the fit.
    samples : int
        How many values were used.
    """

    rate_per_s: float
    low_per_s: float
    high_per_s: float
    start: float
    settled: float
    scatter: float
    samples: int

    @property
    def time_constant_s(self) -> float:
        """Time in which the difference falls to 37 % [s]."""
        return 1.0 / self.rate_per_s


@dataclass(frozen=True, slots=True)
class NoDecay:
    """A decay that could not be timed.

    Attributes
    ----------
    reason : str
        Why, in words for the user.
    at_least_per_s : float or None
        What the rate certainly exceeds [1/s], when it was too fast to be timed.
    """

    reason: str
    at_least_per_s: float | None = None


def fit_decay(
    times_s: Sequence[float],
    values: Sequence[float],
    *,
    least_fall: float,
    sensor_lag_s: float,
) -> Decay | NoDecay:
    """Fit y(t) = y∞ + A exp(−k t) + B exp(−t / L) by least squares, L being the sensor's lag.

    A sensor of the first order follows the air's exponential with one of its own. B is left free,
    so that neither the instant at which the air began to change nor how it began matters.

    For each k the other three follow from linear regression; k is searched, and its confidence
    limits are where the sum of squares exceeds the least by the F quantile (profile likelihood,
    Bates & Watts, Nonlinear Regression Analysis, 1988, ch. 6, from memory), with the number of
    samples reduced by the autocorrelation of the residuals (the effective number of Bayley &
    Hammersley, J. R. Stat. Soc. Suppl. 8, 1946, for a first-order process; from memory).

    Parameters
    ----------
    times_s : sequence of float
        Rising times [s].
    values : sequence of float
        What was measured then, in any unit.
    least_fall : float
        Smallest change worth timing, in the unit of the values: what the sensor resolves.
    sensor_lag_s : float
        Time constant of the sensor [s]; 0 for one that follows at once.

    Returns
    -------
    Decay or NoDecay
        The rate with its limits, or why there is none.

    Raises
    ------
    ValueError
        If times and values differ in number, are not finite, or times do not rise.
    """
    count = len(times_s)
    if count != len(values):
        raise ValueError(f"{count} times, but {len(values)} values")
    if not all(map(math.isfinite, (*times_s, *values))):
        raise ValueError("times and values must be finite numbers")
    if any(b <= a for a, b in itertools.pairwise(times_s)):
        raise ValueError("times must rise from one sample to the next")
    if count < LEAST_SAMPLES:
        return NoDecay(f"only {count} readings came; {LEAST_SAMPLES} are needed")
    times = [t - times_s[0] for t in times_s]
    span_s = times[-1]
    slowest, fastest = 0.2 / span_s, 1.0 / (span_s / (count - 1))
    regression = _Regression(times, values, sensor_lag_s)
    k = math.exp(
        _least(lambda x: regression.squares(math.exp(x)), math.log(slowest), math.log(fastest))
    )
    residuals, start, end, settled = regression.at(k)
    squares = sum(r * r for r in residuals)
    scatter = math.sqrt(squares / (count - regression.parameters))
    fall = abs(start - end)
    if fall < least_fall or fall < LEAST_SIGNAL_TO_NOISE * scatter:
        return NoDecay("the reading hardly changed beyond its scatter; more difference is needed")
    low, high = _limits(regression, k, residuals)
    if k * sensor_lag_s > 1.0:
        return NoDecay(TOO_FAST, at_least_per_s=min(low, 1.0 / sensor_lag_s))
    if low <= 2.0 * slowest or (high > WIDEST_RATIO * low and k * sensor_lag_s < 1.0 / 3.0):
        return NoDecay("the reading did not settle in the time watched, so its rate is open")
    return _unless_open(Decay(k, low, high, start, settled, scatter, count))


def combined(fits: Sequence[Decay | NoDecay]) -> Decay | NoDecay:
    """One answer from fits under several assumptions about the sensor, any of which may hold.

    The limits are the outermost ones, since what is not known of a sensor does not average out
    over its readings; the rate is the middle of the fitted ones.

    Parameters
    ----------
    fits : sequence of Decay or NoDecay
        At least one.

    Returns
    -------
    Decay or NoDecay
        The first without a rate where there is one; where the air was too fast, with the least
        bound of all.
    """
    decays = [fit for fit in fits if isinstance(fit, Decay)]
    failed = [fit for fit in fits if isinstance(fit, NoDecay)]
    if failed:
        worst = min(failed, key=lambda fit: fit.at_least_per_s or 0.0)
        bound = worst.at_least_per_s
        if bound is None:
            return worst
        return replace(worst, at_least_per_s=min([bound, *(fit.low_per_s for fit in decays)]))
    rates = [fit.rate_per_s for fit in decays]
    return _unless_open(
        replace(
            decays[0],
            rate_per_s=math.sqrt(min(rates) * max(rates)),
            low_per_s=min(fit.low_per_s for fit in decays) * (1.0 - MODEL_DOUBT),
            high_per_s=max(fit.high_per_s for fit in decays) * (1.0 + MODEL_DOUBT),
        )
    )


def _unless_open(decay: Decay) -> Decay | NoDecay:
    """The decay, or its lower limit only where the sensor leaves the upper one open."""
    if decay.high_per_s > WIDEST_RATIO * decay.low_per_s:
        return NoDecay(TOO_FAST, at_least_per_s=decay.low_per_s)
    return decay


class _Regression:
    """Least squares of the level and the two amplitudes, for one rate after the other.

    Level and the sensor's own exponential are the same for every rate: they are taken out of the
    values once (Gram-Schmidt), and out of each rate's exponential when it is tried.
    """

    def __init__(self, times: Sequence[float], values: Sequence[float], lag_s: float) -> None:
        self._times = times
        self._values = values
        self._constant: list[list[float]] = []  # orthonormal
        self._lag_s = lag_s
        for column in [[1.0] * len(times)] + ([self._exponential(1.0 / lag_s)] if lag_s else []):
            rest = self._without_constant(column)
            size = math.sqrt(_dot(rest, rest))
            if size > 1e-6:
                self._constant.append([x / size for x in rest])
        self._rest = self._without_constant(values)
        self._total = _dot(self._rest, self._rest)
        self.parameters = len(self._constant) + 2

    def squares(self, k: float) -> float:
        """Sum of the squared residuals for a rate [1/s]."""
        basis = self._without_constant(self._exponential(k))
        size = _dot(basis, basis)
        if size < 1e-12:  # the rate is that of the sensor: nothing is left to be told from it
            return self._total
        return max(0.0, self._total - _dot(basis, self._rest) ** 2 / size)

    def at(self, k: float) -> tuple[list[float], float, float, float]:
        """Residuals, first and last fitted value, and the level approached, for a rate [1/s]."""
        decay = self._exponential(k)
        basis = self._without_constant(decay)
        amplitude = _dot(basis, self._rest) / max(_dot(basis, basis), 1e-12)
        residuals = [y - amplitude * b for y, b in zip(self._rest, basis, strict=True)]
        fitted = [y - r for y, r in zip(self._values, residuals, strict=True)]
        # What is left without A exp(−k t) is level and B exp(−t / L): two points tell them apart.
        first, last = (fitted[i] - amplitude * decay[i] for i in (0, -1))
        settled = last
        if len(self._constant) > 1:
            left = math.exp(-self._times[-1] / self._lag_s)
            settled = (last - first * left) / (1.0 - left)
        return residuals, fitted[0], fitted[-1], settled

    def _exponential(self, k: float) -> list[float]:
        return [math.exp(-k * t) for t in self._times]

    def _without_constant(self, column: Sequence[float]) -> list[float]:
        rest = list(column)
        for unit in self._constant:
            share = _dot(rest, unit)
            rest = [x - share * u for x, u in zip(rest, unit, strict=True)]
        return rest


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return float(sum(map(operator.mul, a, b)))


def _least(function: Callable[[float], float], low: float, high: float) -> float:
    """Where `function` is least: a scan, then golden section between the neighbours."""
    steps = 60
    grid = [low + (high - low) * i / steps for i in range(steps + 1)]
    best = min(range(steps + 1), key=lambda i: function(grid[i]))
    a, b = grid[max(0, best - 1)], grid[min(steps, best + 1)]
    ratio = (math.sqrt(5.0) - 1.0) / 2.0
    c, d = b - ratio * (b - a), a + ratio * (b - a)
    fc, fd = function(c), function(d)
    for _ in range(30):
        if fc < fd:
            b, d, fd = d, c, fc
            c = b - ratio * (b - a)
            fc = function(c)
        else:
            a, c, fc = c, d, fd
            d = a + ratio * (b - a)
            fd = function(d)
    return 0.5 * (a + b)


def _limits(regression: _Regression, k: float, residuals: Sequence[float]) -> tuple[float, float]:
    """95 % confidence limits of the rate."""
    squares = regression.squares(k)
    free = max(3.0, _independent(residuals) - regression.parameters)
    limit = squares * (1.0 + _t_quantile(free) ** 2 / free)

    def edge(factor: float) -> float:
        inside, outside = k, k * factor
        for _ in range(12):
            if regression.squares(outside) > limit:
                break
            inside, outside = outside, outside * factor
        else:
            return outside
        for _ in range(20):
            middle = math.sqrt(inside * outside)
            if regression.squares(middle) > limit:
                outside = middle
            else:
                inside = middle
        return outside

    return edge(1 / 1.5), edge(1.5)


def _independent(residuals: Sequence[float]) -> float:
    """How many independent values the residuals are worth (lag-one autocorrelation)."""
    count = len(residuals)
    total = sum(r * r for r in residuals)
    if total == 0.0:
        return float(count)
    rho = sum(a * b for a, b in itertools.pairwise(residuals)) / total
    rho = min(0.95, max(0.0, rho))
    return count * (1.0 - rho) / (1.0 + rho)


def _t_quantile(free: float) -> float:
    """97.5 % quantile of Student's t (Abramowitz & Stegun 26.7.5)."""
    z = _Z
    return (
        z
        + (z**3 + z) / (4.0 * free)
        + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * free**2)
        + (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / (384.0 * free**3)
    )
