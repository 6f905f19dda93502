"""How far off a forecast may be: by its own past errors, once there are enough of them.

Split conformal prediction: of n past absolute errors, the ceil((n + 1) 0.9)-th smallest holds the
next one in nine cases of ten, whatever their distribution, if the days are exchangeable (Vovk,
Gammerman & Shafer 2005; Lei et al. 2018, JASA 113:1094; from memory). Days follow each other, so
that is nearly so at best; a bench counts what it holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

CONFIDENCE = 0.9
"""Of all intervals here."""

LEAST_CHECKED = 10
"""Fewer past forecasts tell no interval."""

NORMAL_90 = 1.645
"""Half a 90 % interval of a normal variable, in standard deviations (tables)."""

FIRST_HALF_K = 2.0
"""Half the interval of a peak before there are enough past forecasts: an assumption [K]."""

FIRST_HALF_MIN = 360.0
"""The same for time out of band [min]."""

# A few errors say little about what is always missed.
_CORRECTION_COUNTS = 4


def half_width(errors: Sequence[float]) -> float | None:
    """Half the 90 % interval by past errors; None where there are too few."""
    if len(errors) < LEAST_CHECKED:
        return None
    rank = math.ceil((len(errors) + 1) * CONFIDENCE)
    return sorted(abs(error) for error in errors)[min(rank, len(errors)) - 1]


def left_out_errors(missed: Sequence[float]) -> list[float]:
    """What each past forecast was off by, corrected by what the others missed.

    Leaving out the one that is judged keeps the interval honest (jackknife+: Barber et al. 2021,
    Ann. Stat. 49:486, from memory).

    Parameters
    ----------
    missed : sequence of float
        Actual less forecast, before any correction.
    """
    return [one - correction([*missed[:i], *missed[i + 1 :]]) for i, one in enumerate(missed)]


def correction(errors: Sequence[float]) -> float:
    """What is to be added for what was always missed: the median of actual less forecast.

    An hourly course is smoother than what is lived through, so that peaks come out low.
    """
    if not errors:
        return 0.0
    return median(errors) * len(errors) / (len(errors) + _CORRECTION_COUNTS)
