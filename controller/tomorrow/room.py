"""The room around a tent: what its air follows, learned from its last days, and where it goes next.

Temperature and humidity ratio each follow outdoors, lamp, time of day and a constant through one
time constant: the simplest grey-box model of a room (one resistance, one capacity; Bacher & Madsen
2011, Energy and Buildings 43:1511, from memory). For a given time constant it is linear in all the
rest, so the fit is linear least squares with normal priors (ridge regression; Hoerl & Kennard 1970,
Technometrics 12:55, from memory), and the time constant is found by search.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from operator import mul
from typing import NamedTuple

from controller.learning.least_squares import solve
from controller.tomorrow.hours import DAY_HOURS

# How long what the model missed last goes on [h] (design figure, tried on simulated rooms).
_ERROR_LASTS_H = 8.0
# Over so many hours the last miss is taken.
_LAST_HOURS = 2
# Hourly misses follow each other: so many say what one says.
_FOLLOWS_H = 8.0

_Column = list[float]


class RoomPrior(NamedTuple):
    """What is believed of any room beforehand. Engineering judgement throughout, no source.

    Attributes
    ----------
    share, share_spread : float
        How far a lasting change outdoors comes through, and its standard deviation.
    lamp, lamp_spread : float
        Warming (moistening) by the lit lamp in the long run [K] or [g/kg].
    daily_spread, half_daily_spread : float
        Standard deviations of the amplitudes of what comes every day and twice a day: sun, people,
        heating [K] or [g/kg].
    noise : float
        What an hour is off by, whatever is known [K] or [g/kg].
    time_constants_h : tuple of float
        Those that are tried [h].
    usual_time_constant_h : float
        The likeliest; a factor of three either side is one standard deviation [h].
    """

    share: float
    share_spread: float
    lamp: float
    lamp_spread: float
    daily_spread: float
    half_daily_spread: float
    noise: float
    time_constants_h: tuple[float, ...]
    usual_time_constant_h: float


def temperature_prior(lamp_w: float) -> RoomPrior:
    """Of a room's temperature, with a lamp of so many watts in it."""
    warming_k = 0.006 * lamp_w
    return RoomPrior(
        share=0.6,
        share_spread=0.3,
        lamp=warming_k,
        lamp_spread=0.7 * warming_k + 0.1,
        daily_spread=1.0,
        half_daily_spread=0.5,
        noise=0.8,
        time_constants_h=(1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 18.0, 27.0, 40.0, 60.0),
        usual_time_constant_h=10.0,
    )


RATIO_PRIOR = RoomPrior(
    share=1.0,
    share_spread=0.2,
    lamp=0.2,
    lamp_spread=0.3,
    daily_spread=0.4,
    half_daily_spread=0.2,
    noise=0.5,
    time_constants_h=(1.0, 2.0, 4.0, 8.0),
    usual_time_constant_h=2.0,
)


class RoomModel(NamedTuple):
    """A room as learned.

    Attributes
    ----------
    time_constant_h : float
        How fast it follows [h].
    share : float or None
        How far outdoors comes through; None where no outdoor air was given.
    lamp : float
        What the lamp adds in the long run [K] or [g/kg].
    course : list of float
        Shape (m,): the model on the whole grid, hours to come included.
    lamp_course : list of float
        Shape (m,): what of it is the lamp's.
    """

    time_constant_h: float
    share: float | None
    lamp: float
    course: list[float]
    lamp_course: list[float]

    def response(self, hours: float) -> float:
        """What comes through of a change outdoors that has lasted so many hours, 0–1."""
        if self.share is None:
            return 0.0
        return max(0.0, self.share) * (1.0 - math.exp(-max(0.0, hours) / self.time_constant_h))


def fit_room(
    measured: Sequence[float | None],
    lit: Sequence[float],
    outdoors: Sequence[float | None] | None,
    first_hour: int,
    prior: RoomPrior,
) -> RoomModel:
    """Fit the model to hours that were measured.

    Parameters
    ----------
    measured : sequence of float or None
        Shape (n,): temperature [°C] or humidity ratio [g/kg] of the room; at least one is known.
    lit : sequence of float
        Shape (m,), m ≥ n: share of each hour with the lamp lit.
    outdoors : sequence of float or None
        Shape (m,): the same quantity outdoors; hours where it is None are not fitted.
    first_hour : int
        The first hour since the epoch, for the time of day.
    prior : RoomPrior
        What is believed beforehand.

    Returns
    -------
    RoomModel
        Of the time constant that explains the hours best.

    Raises
    ------
    ValueError
        Nothing was measured.
    """
    used = [
        i
        for i, value in enumerate(measured)
        if value is not None and (outdoors is None or outdoors[i] is not None)
    ]
    if not used:
        raise ValueError("no hour of the room is known")
    values = [value for i in used if (value := measured[i]) is not None]
    usual = sum(values) / len(values)
    best: tuple[float, RoomModel] | None = None
    daily = _daily_columns(len(lit), first_hour)
    for constant_h in prior.time_constants_h:
        lamp = delayed(lit, constant_h)
        columns = [lamp, [1.0] * len(lit), *daily]
        means = [prior.lamp, usual - prior.lamp * sum(lamp) / len(lamp), 0.0, 0.0, 0.0, 0.0]
        spreads = [prior.lamp_spread, 20.0, *[prior.daily_spread] * 2]
        spreads += [prior.half_daily_spread] * 2
        if outdoors is not None:
            columns.append(delayed(outdoors, constant_h))
            means.append(prior.share)
            spreads.append(prior.share_spread)
            means[1] -= prior.share * sum(columns[-1][i] for i in used) / len(used)
        point, cost = _least_squares(columns, used, values, means, spreads, prior.noise)
        unusual = math.log(constant_h / prior.usual_time_constant_h) / math.log(3.0)
        cost += unusual * unusual
        if best is None or cost < best[0]:
            course = _combined(columns, point)
            lamp_course = [point[0] * value for value in lamp]
            share = point[-1] if outdoors is not None else None
            best = cost, RoomModel(constant_h, share, point[0], course, lamp_course)
    assert best is not None
    return best[1]


def delayed(values: Sequence[float | None], constant_h: float) -> _Column:
    """Hourly values seen through a first-order delay; what is not known yet is as the first day.

    Each hour's mean acts for its whole length: the exact answer to a course of steps, at the hour's
    middle.
    """
    known = [value for value in values if value is not None]
    held = known[:DAY_HOURS]
    state = sum(held) / len(held) if held else 0.0
    keeps, half = math.exp(-1.0 / constant_h), math.exp(-0.5 / constant_h)
    course = []
    for value in values:
        if value is None:
            course.append(state)
            continue
        course.append(value + (state - value) * half)
        state = value + (state - value) * keeps
    return course


def foreseen(model: RoomModel, measured: Sequence[float | None]) -> list[float]:
    """The model's hours to come, with what it missed last dying away.

    Parameters
    ----------
    model : RoomModel
        Fitted to `measured`, on a grid that goes further.
    measured : sequence of float or None
        Shape (n,).

    Returns
    -------
    list of float
        Shape (m - n,).
    """
    now = len(measured)
    last = [
        (i, value - model.course[i])
        for i, value in enumerate(measured)
        if value is not None and i >= now - DAY_HOURS
    ][-_LAST_HOURS:]
    ahead = range(now, len(model.course))
    if not last:
        return [model.course[i] for i in ahead]
    missed = sum(error for _, error in last) / len(last)
    since = last[-1][0]
    return [model.course[i] + missed * math.exp(-(i - since) / _ERROR_LASTS_H) for i in ahead]


def as_today(measured: Sequence[float | None], count: int) -> list[float] | None:
    """Hours to come as they last were at that time of day; None where that is not known.

    An hour that is missing is a straight line between its neighbours.
    """
    last = list(measured[-DAY_HOURS:])
    known = [i for i, value in enumerate(last) if value is not None]
    if len(last) < DAY_HOURS or 2 * len(known) < DAY_HOURS:
        return None
    around = [(i + turn * DAY_HOURS, last[i]) for turn in (-1, 0, 1) for i in known]
    day = [0.0] * DAY_HOURS
    for (before, a), (after, b) in pairwise(around):
        assert a is not None and b is not None
        for hour in range(max(0, before), min(DAY_HOURS, after)):
            day[hour] = a + (b - a) * (hour - before) / (after - before)
    return [day[i % DAY_HOURS] for i in range(count)]


def _daily_columns(count: int, first_hour: int) -> list[_Column]:
    """Cosine and sine of a day, then of half a day."""
    columns = []
    for times in (1, 2):
        turn = 2.0 * math.pi * times / DAY_HOURS
        angles = [turn * ((first_hour + i) % DAY_HOURS + 0.5) for i in range(count)]
        columns.append([math.cos(angle) for angle in angles])
        columns.append([math.sin(angle) for angle in angles])
    return columns


def _combined(columns: Sequence[_Column], point: Sequence[float]) -> list[float]:
    return [sum(map(mul, point, row)) for row in zip(*columns, strict=True)]


def _least_squares(
    columns: Sequence[_Column],
    used: Sequence[int],
    values: Sequence[float],
    means: Sequence[float],
    spreads: Sequence[float],
    noise: float,
) -> tuple[list[float], float]:
    """The point of the least sum of squares, and the sum there."""
    weight = 1.0 / (noise * noise * _FOLLOWS_H)
    short = [[column[i] for i in used] for column in columns]
    size = len(short)
    matrix = [[0.0] * size for _ in range(size)]
    right = [0.0] * size
    for i, column in enumerate(short):
        for j in range(i + 1):
            matrix[i][j] = matrix[j][i] = weight * sum(map(mul, column, short[j]))
        prior = 1.0 / (spreads[i] * spreads[i])
        matrix[i][i] += prior
        right[i] = weight * sum(map(mul, column, values)) + prior * means[i]
    point = solve(matrix, right)
    fitted = _combined(short, point)
    cost = weight * sum((a - b) ** 2 for a, b in zip(fitted, values, strict=True))
    cost += sum(((p - m) / s) ** 2 for p, m, s in zip(point, means, spreads, strict=True))
    return point, cost
