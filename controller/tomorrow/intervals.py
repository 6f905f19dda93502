"""How far off a forecast may be: by its own past errors, once there are enough of them.

Split conformal prediction: of n past absolute errors, the k-th smallest holds the next one in
k / (n + 1) of all cases, whatever their distribution, if the days are exchangeable (Vovk, Gammerman
& Shafer 2005; Lei et al. 2018, JASA 113:1094; from memory). Where 0.9 (n + 1) is no whole number,
the rank is taken between two: the next larger one would hold 94 % at seventeen days (definition 6
of Hyndman & Fan 1996, The American Statistician 50:361; fractional order statistics: Hutson 1999;
from memory). Days follow each other, so that is nearly so at best; a bench counts what it holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

CONFIDENCE = 0.9
"""Of all intervals here."""

LEAST_HINDCASTS = 9
"""Fewer past forecasts tell no interval: the largest of nine holds nine in ten."""

NORMAL_90 = 1.645
"""Half a 90 % interval of a normal variable, in standard deviations (tables)."""

FIRST_HALF_K = 2.0
"""Half the interval of a peak before there are enough past forecasts: an assumption, in which the
error of an outdoor forecast is included [K]."""

FIRST_HALF_MIN = 360.0
"""The same for time out of band [min]."""

# A few errors say little about what is always missed.
_CORRECTION_COUNTS = 4


def half_width(errors: Sequence[float]) -> float | None:
    """Half the 90 % interval by past errors; None where there are too few."""
    if len(errors) < LEAST_HINDCASTS:
        return None
    ordered = sorted(abs(error) for error in errors)
    rank = (len(ordered) + 1) * CONFIDENCE
    below = min(math.floor(rank), len(ordered))
    above = min(below + 1, len(ordered))
    return ordered[below - 1] + (rank - below) * (ordered[above - 1] - ordered[below - 1])


def left_out_errors(missed: Sequence[float]) -> list[float]:
    """What each past forecast was off by, corrected by what the others missed.

    Leaving out the one that is judged keeps the interval honest (jackknife+: Barber et al. 2021,
    Ann. Stat. 49:486, from memory).

    Parameters
    ----------
    missed : sequence of float
        Actual less forecast, before any correction.
    """
    return [error - correction([*missed[:i], *missed[i + 1 :]]) for i, error in enumerate(missed)]


def correction(errors: Sequence[float]) -> float:
    """What is to be added for what was always missed: the median of actual less forecast.

    An hourly course is smoother than what is lived through, so that peaks come out low.
    """
    if not errors:
        return 0.0
    return median(errors) * len(errors) / (len(errors) + _CORRECTION_COUNTS)
