"""The fit of the model to a course: parameters with intervals, and how well the model follows.

Prediction errors of the open loop (output errors) are least in the sense of `least_squares`; see
Ljung, System Identification, ch. 7 (from memory). Residual standard errors would be too narrow by
far: the residuals follow each other and what is left is mostly structure that the model lacks. So
intervals come from leaving out one day at a time (the jackknife: Efron & Tibshirani 1993, ch. 11,
from memory) together with what data and prior leave open, and are never narrower than 5 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

from controller.learning.course import BLOCK_S, Course
from controller.learning.least_squares import (
    FitProblem,
    Fitted,
    Information,
    added,
    covariance,
    fit,
    without_group,
)
from controller.learning.model import Fixed, simulate
from controller.learning.parameters import (
    NAMES,
    NORMAL_90,
    SCALES,
    TentParameters,
    configured,
    moved,
)

FLOOR_SHARE = 0.05
"""No interval of a factor is narrower to either side: the model's structure is not known better;
and the worse it follows the readings, the less."""

_FLOORS = {"difference_k": 0.1, "difference_pct": 0.5, "evaporation_lit": 0.05, "walls_k": 0.1}

# By so many floors an interval is wider for each time that the misfit exceeds a sensor's: with one,
# a humidistat's machine looked like leakage (engineering judgement, `learning_unmodelled.sh`).
_WORSE_COUNTS = 3.0

# How long residuals follow each other [s]: rooms, doors and leaves change within hours. Where they
# are as small as a sensor's, the integral of their autocorrelation was two hours at most in 26
# simulated weeks of `tests/benches/learning.sh`.
_FOLLOWS_S = 7200.0
# Larger ones are there because the model is not the tent, and can follow each other as long [s]:
# half a day says it but once.
_STRUCTURE_FOLLOWS_S = 43_200.0
# What one block's misfit is taken to be at first [K], [%], and at least.
_FIRST_K, _FIRST_PCT = 0.2, 1.5
_LEAST_K, _LEAST_PCT = 0.05, 0.4
# Median of the absolute value of a standard normal variable.
_MEDIAN_OF_ABSOLUTE = 0.6745
# 95 % quantiles of Student's t by degrees of freedom (tables); beyond, the normal's.
_STUDENT_95 = (6.31, 2.92, 2.35, 2.13, 2.02, 1.94, 1.89, 1.86, 1.83, 1.81, 1.80, 1.78, 1.77, 1.76)


class Estimate(NamedTuple):
    """One parameter, as learned.

    Attributes
    ----------
    value, low, high : float
        Best estimate and 90 % interval.
    configured : float
        What the config stands for.
    prior_share : float
        Width of the interval over that of what was believed beforehand, on the parameter's scale.
    """

    value: float
    low: float
    high: float
    configured: float
    prior_share: float


class Misfit(NamedTuple):
    """How far the model is from the readings over the blocks that count.

    Attributes
    ----------
    rms_k, rms_pct : float
        Root mean square differences [K], [%].
    """

    rms_k: float
    rms_pct: float


class Identified(NamedTuple):
    """What came of a fit.

    Attributes
    ----------
    parameters : TentParameters
        Best estimates.
    estimates : dict of str to Estimate
        By name.
    learned, as_configured : Misfit
        Of the model with either.
    strain : float
        How far the parameters are from what was believed of them: sum of squares, in spreads.
    days : int
        Days that had readings to be held against.
    iterations : int
        Of the last fit.
    """

    parameters: TentParameters
    estimates: dict[str, Estimate]
    learned: Misfit
    as_configured: Misfit
    strain: float
    days: int
    iterations: int


def identify(fixed: Fixed, course: Course) -> Identified:
    """Fit the model to a course.

    Parameters
    ----------
    fixed : Fixed
        What is not learned.
    course : Course
        With blocks that count on two days at least.

    Raises
    ------
    ValueError
        Too little counts.
    """
    days = _days(course)
    if len(set(days)) < 2:
        raise ValueError("a fit needs readings on two days at least")
    centre = configured(fixed.physics)
    # A rough fit tells how far the model is off, the second one weights the readings by that.
    rough = fit(_problem(fixed, course, centre, days, _FIRST_K, _FIRST_PCT), close=0.1)
    half = len(rough.residuals) // 2
    errors_k = max(_LEAST_K, _FIRST_K * _spread(rough.residuals[:half]))
    errors_pct = max(_LEAST_PCT, _FIRST_PCT * _spread(rough.residuals[half:]))
    problem = _problem(fixed, course, centre, days, errors_k, errors_pct)
    fitted = fit(problem, rough.point, close=0.01)
    parameters = moved(centre, fitted.point)
    misfit = _misfit(fixed, course, parameters)
    over_weights = max(1.0, misfit.rms_k / errors_k, misfit.rms_pct / errors_pct)
    over_sensor = max(1.0, misfit.rms_k / _LEAST_K, misfit.rms_pct / _LEAST_PCT)
    return Identified(
        parameters,
        estimates_of(fitted, problem, centre, parameters, over_weights, over_sensor),
        misfit,
        _misfit(fixed, course, centre),
        _strain(fitted.point),
        len(set(days)),
        fitted.iterations,
    )


def _strain(point: Sequence[float]) -> float:
    # A tent without plants is no strange one.
    return sum(
        (step / SCALES[name].spread) ** 2
        for name, step in zip(NAMES, point, strict=True)
        if step > 0.0 or not name.startswith("transpiration")
    )


def _days(course: Course) -> list[int]:
    """The day of each block that counts, as stretches of 24 h from the last one backwards."""
    ends = [block.at_s for block in course.blocks() if block.counts]
    return [int((ends[-1] - at_s) // 86_400.0) for at_s in ends] if ends else []


def _problem(
    fixed: Fixed,
    course: Course,
    centre: TentParameters,
    days: Sequence[int],
    errors_k: float,
    errors_pct: float,
) -> FitProblem:
    numbers = {day: number for number, day in enumerate(sorted(set(days)))}
    groups = [numbers[day] for day in days]

    def residuals(point: Sequence[float]) -> list[float]:
        pairs = _differences(fixed, course, moved(centre, point))
        return [k / errors_k for k, _ in pairs] + [pct / errors_pct for _, pct in pairs]

    scales = [SCALES[name] for name in NAMES]
    return FitProblem(
        residuals,
        groups + groups,
        [scale.spread for scale in scales],
        [scale.step for scale in scales],
        BLOCK_S / _FOLLOWS_S,
    )


def _differences(
    fixed: Fixed, course: Course, parameters: TentParameters
) -> list[tuple[float, float]]:
    pairs = zip(course.blocks(), simulate(fixed, course, parameters), strict=True)
    return [
        (modelled.tent_c - block.tent_c, modelled.tent_pct - block.tent_pct)
        for block, modelled in pairs
        if block.counts
    ]


def _misfit(fixed: Fixed, course: Course, parameters: TentParameters) -> Misfit:
    pairs = _differences(fixed, course, parameters)
    return Misfit(
        math.sqrt(sum(k * k for k, _ in pairs) / len(pairs)),
        math.sqrt(sum(pct * pct for _, pct in pairs) / len(pairs)),
    )


def _spread(residuals: Sequence[float]) -> float:
    return median(abs(residual) for residual in residuals) / _MEDIAN_OF_ABSOLUTE


def estimates_of(
    fitted: Fitted,
    problem: FitProblem,
    centre: TentParameters,
    parameters: TentParameters,
    over_weights: float,
    over_sensor: float,
) -> dict[str, Estimate]:
    """Each parameter with its interval.

    Parameters
    ----------
    fitted, problem : Fitted, FitProblem
        The fit, on the scales of `SCALES`.
    centre, parameters : TentParameters
        What was believed beforehand, and what was found.
    over_weights : float
        By how much the misfit exceeds the errors that the fit was weighted by, at least 1.
    over_sensor : float
        By how much it exceeds a sensor's, at least 1.
    """
    count = len(fitted.groups)
    left_out = [without_group(fitted, problem, number) for number in range(count)]
    information = added(fitted.groups, problem)
    # What a sensor could err by is noise, and the rest of the misfit is structure.
    noise = 1.0 / over_sensor**2
    follows_s = noise * _FOLLOWS_S + (1.0 - noise) * _STRUCTURE_FOLLOWS_S
    less = _FOLLOWS_S / follows_s / over_weights**2
    weakened = Information(
        [[less * value for value in row] for row in information.matrix], information.gradient
    )
    known = covariance(weakened, problem)
    # A warmer wall than any is likely to be is rather heat that nobody told of, at hours of its
    # own: what leans on it may be off by as much as the wall is odd.
    wall = NAMES.index("walls_k")
    odd_k = max(0.0, abs(fitted.point[wall]) - NORMAL_90 * SCALES["walls_k"].spread)
    student = _STUDENT_95[min(count - 2, len(_STUDENT_95) - 1)]
    estimates = {}
    for i, name in enumerate(NAMES):
        scale = SCALES[name]
        mean = sum(point[i] for point in left_out) / count
        squares = sum((point[i] - mean) ** 2 for point in left_out)
        jackknife = math.sqrt((count - 1) / count * squares)
        floor = FLOOR_SHARE
        if not scale.is_logarithmic:
            floor = _FLOORS[name]
        half = math.hypot(
            student * jackknife,
            NORMAL_90 * math.sqrt(known[i][i]),
            _WORSE_COUNTS * floor * (over_sensor - 1.0),
            odd_k * known[i][wall] / known[wall][wall],
        )
        half = max(floor, half)
        by = [0.0] * len(NAMES)
        ends = []
        for sign in (-1.0, 1.0):
            by[i] = fitted.point[i] + sign * half
            ends.append(moved(centre, by)[i])
        estimates[name] = Estimate(
            parameters[i], ends[0], ends[1], centre[i], half / (NORMAL_90 * scale.spread)
        )
    return estimates
