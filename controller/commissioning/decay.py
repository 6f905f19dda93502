"""How fast a difference dies away: an exponential fit that knows when it can't tell. Pure.

A tent's air follows y(t) = y∞ + A exp(−k t) after the fan has started: in log form the straight
line of the tracer-gas decay method (ASTM E741), about a level y∞ that is not known beforehand and
so found along with it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

LEAST_SAMPLES = 10
# The fall must stand out of the scatter this many standard deviations.
LEAST_SIGNAL_TO_NOISE = 8.0
# Upper over lower confidence limit of the rate beyond which it is no answer.
WIDEST_RATIO = 3.0
# A sensor that takes longer than a third of the air's own time hides it.
LAGS_PER_TIME_CONSTANT = 2.5
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
    """Fit y(t) = y∞ + A exp(−k t) by least squares.

    For each k the other two follow from linear regression; k is searched, and its confidence
    limits are where the sum of squares exceeds the least by the F quantile (profile likelihood,
    Bates & Watts, Nonlinear Regression Analysis, 1988, ch. 6, from memory), with the number of
    samples reduced by the autocorrelation of the residuals.

    Parameters
    ----------
    times_s : sequence of float
        Rising times [s].
    values : sequence of float
        What was measured then, in any unit.
    least_fall : float
        Smallest change worth timing, in the unit of the values: what the sensor resolves.
    sensor_lag_s : float
        Time constant of the sensor [s].

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
    log_k = _least(
        lambda x: _regress(times, values, math.exp(x))[2], math.log(slowest), math.log(fastest)
    )
    k = math.exp(log_k)
    settled, amplitude, squares = _regress(times, values, k)
    free = count - 3
    scatter = math.sqrt(squares / free)
    fall = abs(amplitude * (1.0 - math.exp(-k * span_s)))
    if fall < least_fall or fall < LEAST_SIGNAL_TO_NOISE * scatter:
        return NoDecay("the reading hardly changed beyond its scatter; more difference is needed")
    low, high = _limits(times, values, k, settled, amplitude, squares)
    if k * sensor_lag_s * LAGS_PER_TIME_CONSTANT > 1.0:
        return NoDecay(
            "the air changed faster than the sensor follows",
            at_least_per_s=1.0 / (LAGS_PER_TIME_CONSTANT * sensor_lag_s),
        )
    if low <= 2.0 * slowest or high > WIDEST_RATIO * low:
        return NoDecay("the reading did not settle in the time watched, so its rate is open")
    return Decay(k, low, high, settled + amplitude, settled, scatter, count)


def _regress(
    times: Sequence[float], values: Sequence[float], k: float
) -> tuple[float, float, float]:
    """Level, amplitude and sum of squared residuals for a given rate."""
    basis = [math.exp(-k * t) for t in times]
    count = len(times)
    mean_b, mean_y = sum(basis) / count, sum(values) / count
    sbb = sum((b - mean_b) ** 2 for b in basis)
    sby = sum((b - mean_b) * (y - mean_y) for b, y in zip(basis, values, strict=True))
    amplitude = sby / sbb if sbb > 0.0 else 0.0
    level = mean_y - amplitude * mean_b
    squares = sum((y - level - amplitude * b) ** 2 for b, y in zip(basis, values, strict=True))
    return level, amplitude, squares


def _least(function: Callable[[float], float], low: float, high: float) -> float:
    """Where `function` is least: a scan, then golden section between the neighbours."""
    steps = 60
    grid = [low + (high - low) * i / steps for i in range(steps + 1)]
    best = min(range(steps + 1), key=lambda i: function(grid[i]))
    a, b = grid[max(0, best - 1)], grid[min(steps, best + 1)]
    ratio = (math.sqrt(5.0) - 1.0) / 2.0
    c, d = b - ratio * (b - a), a + ratio * (b - a)
    fc, fd = function(c), function(d)
    for _ in range(60):
        if fc < fd:
            b, d, fd = d, c, fc
            c = b - ratio * (b - a)
            fc = function(c)
        else:
            a, c, fc = c, d, fd
            d = a + ratio * (b - a)
            fd = function(d)
    return 0.5 * (a + b)


def _limits(
    times: Sequence[float],
    values: Sequence[float],
    k: float,
    settled: float,
    amplitude: float,
    squares: float,
) -> tuple[float, float]:
    """95 % confidence limits of the rate."""
    residuals = [
        y - settled - amplitude * math.exp(-k * t) for t, y in zip(times, values, strict=True)
    ]
    free = max(3.0, _independent(residuals) - 3.0)
    limit = squares * (1.0 + _t_quantile(free) ** 2 / free)
    if squares <= 1e-18 * max(y * y for y in values):
        return k, k  # a curve without scatter

    def edge(factor: float) -> float:
        inside, outside = k, k * factor
        for _ in range(12):
            if _regress(times, values, outside)[2] > limit:
                break
            inside, outside = outside, outside * factor
        else:
            return outside
        for _ in range(50):
            middle = math.sqrt(inside * outside)
            if _regress(times, values, middle)[2] > limit:
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
