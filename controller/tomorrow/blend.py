"""The room's hours to come: the learned room and "as today", each by what it was worth so far.

Averaging forecasts whose errors differ beats either (Bates & Granger 1969, Oper. Res. Quart.
20:451, from memory). The share is the least squares one of past evenings, drawn towards 0.6 as long
as they are few. For the outdoor forecast of a past evening stands what the file has of that time
now, which is better than a forecast was; the error that one would have had is put back into the sum
(an error in the regressor draws a slope towards nought: Fuller 1987, Measurement Error Models, from
memory). Without a forecast of outdoors the share is fixed: a room that is drawn towards its mean
day errs about as much as "as today", and a share estimated from twenty evenings then loses more
than it gains (Smith & Wallis 2009, Oxf. Bull. Econ. Stat. 71:331, from memory;
`tests/benches/tomorrow.sh`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.tomorrow.hours import DAY_HOURS, HOUR_S, OutdoorHours, RoomHours
from controller.tomorrow.room import (
    RATIO_PRIOR,
    RoomModel,
    RoomPrior,
    as_today,
    delayed,
    fit_room,
    foreseen,
    temperature_prior,
)

LEARNED_DAYS = 14
"""So many days of the record tell of the room."""

FIRST_SHARE = 0.6
"""How much the learned room counts at first (chosen on simulated rooms)."""

OUTDOOR_ERROR_K = 1.7
"""Root mean square error of a day-ahead forecast of temperature: an assumption, in the range that
weather services report of their own (1.5 to 2 K, from memory) [K]."""

# The first share counts as much as so many evenings on which the two differed by one unit.
_FIRST_COUNTS = 10.0
# By so much water in saturated air grows with a kelvin, and with it what a forecast errs by.
_SHARE_PER_K = 0.065


class AirCourse(NamedTuple):
    """One quantity over the hours to come, from the evening on.

    Attributes
    ----------
    model : RoomModel
        As learned up to the evening.
    learned, today : list of float
        Shape (n,): by the learned room, and as on the day before [°C] or [g/kg].
    outdoor_error : list of float
        Shape (n,): what an outdoor forecast's error, of one standard deviation, comes to in the
        learned room; noughts without an outdoor forecast.
    """

    model: RoomModel
    learned: list[float]
    today: list[float]
    outdoor_error: list[float]

    def blended(self, share: float) -> list[float]:
        """Both together."""
        return [
            share * a + (1.0 - share) * b for a, b in zip(self.learned, self.today, strict=True)
        ]


class RoomForecast(NamedTuple):
    """What is expected of the room on an evening.

    Attributes
    ----------
    start : int
        The first hour to come, on the grid of the hours given.
    temperature, ratio : AirCourse
        Of its temperature [°C] and humidity ratio [g/kg].
    """

    start: int
    temperature: AirCourse
    ratio: AirCourse


class Comparison(NamedTuple):
    """How learned room and "as today" did on one evening, for one quantity; sums over the hours.

    Attributes
    ----------
    product : float
        Of what the two differ by and what "as today" missed.
    square : float
        Of what they differ by, squared; the outdoor forecast's error is in it.
    hours : int
        How many.
    """

    product: float
    square: float
    hours: int


class Shares(NamedTuple):
    """How much the learned room counts, 0–1, for temperature and humidity ratio."""

    temperature: float
    ratio: float


SHARES_ALONE = Shares(0.3, 0.5)
"""Without a forecast of outdoors (chosen on simulated rooms, where it beats "as today" in every
season)."""


def forecast_room(
    hours: RoomHours, outdoors: OutdoorHours | None, now: int, until: int, lamp_w: float
) -> RoomForecast | None:
    """Foresee the room on an evening, from the days before it.

    Parameters
    ----------
    hours : RoomHours
        The record; hours from `now` on are not looked at.
    outdoors : OutdoorHours or None
        The air outdoors on the same grid, to `until` at least; None: not known.
    now, until : int
        The first hour to come and the one after the last.
    lamp_w : float
        The lamp's power [W].

    Returns
    -------
    RoomForecast or None
        None where too little is known of the day before.
    """
    first = max(0, now - LEARNED_DAYS * DAY_HOURS)
    courses = []
    for measured, outside, prior in (
        (hours.temperature_c, None if outdoors is None else outdoors.temperature_c,
         temperature_prior(lamp_w)),
        (hours.ratio_g_kg, None if outdoors is None else outdoors.ratio_g_kg, RATIO_PRIOR),
    ):  # fmt: skip
        tried = _course(
            measured[first:now],
            hours.lit[first:until],
            None if outside is None else outside[first:until],
            round(hours.start_s / HOUR_S) + first,
            prior,
        )
        if tried is None:
            return None
        courses.append(tried)
    temperature, ratio = courses
    if outdoors is not None:
        ratio = ratio._replace(outdoor_error=_moisture_error(ratio, outdoors, now, until))
    return RoomForecast(now, temperature, ratio)


def _course(
    measured: Sequence[float | None],
    lit: Sequence[float],
    outdoors: Sequence[float | None] | None,
    first_hour: int,
    prior: RoomPrior,
) -> AirCourse | None:
    ahead = len(lit) - len(measured)
    today = as_today(measured, ahead)
    if today is None:
        return None
    model = fit_room(measured, lit, outdoors, first_hour, prior)
    error = [OUTDOOR_ERROR_K * model.response(hour + 0.5) for hour in range(ahead)]
    return AirCourse(model, foreseen(model, measured), today, error)


def _moisture_error(ratio: AirCourse, outdoors: OutdoorHours, now: int, until: int) -> list[float]:
    """What an outdoor forecast's error of temperature comes to in moisture [g/kg], hour by hour."""
    known = [value for value in outdoors.ratio_g_kg[now:until] if value is not None]
    per_k = _SHARE_PER_K * sum(known) / max(1, len(known))
    return [per_k * error for error in ratio.outdoor_error]


def compared(course: AirCourse, actual: Sequence[float | None], first: int) -> Comparison:
    """Hold an evening's forecast against what came, from an hour after the evening on."""
    product = square = 0.0
    hours = 0
    for learned, today, error, measured in list(
        zip(course.learned, course.today, course.outdoor_error, actual, strict=False)
    )[first:]:
        if measured is None:
            continue
        apart = learned - today
        product += apart * (measured - today)
        square += apart * apart + error * error
        hours += 1
    return Comparison(product, square, hours)


def learned_share(past: Sequence[Comparison]) -> float:
    """How much the learned room counts beside a forecast of outdoors, 0–1, by past evenings."""
    counted = [evening for evening in past if evening.hours]
    product = FIRST_SHARE * _FIRST_COUNTS + sum(e.product / e.hours for e in counted)
    square = _FIRST_COUNTS + sum(e.square / e.hours for e in counted)
    return min(1.0, max(0.0, product / square))


def with_lamp(
    forecast: RoomForecast, lit: Sequence[float], changed: Sequence[float]
) -> tuple[list[float], list[float]]:
    """What other lamp hours add to the room's hours to come.

    Parameters
    ----------
    forecast : RoomForecast
        Of the room.
    lit, changed : sequence of float
        Shape (n,): share of each hour to come with the lamp lit, as planned and otherwise.

    Returns
    -------
    tuple of (list of float, list of float)
        More temperature [K] and humidity ratio [g/kg], hour by hour.
    """
    more = [b - a for a, b in zip(lit, changed, strict=True)]
    added = []
    for course in (forecast.temperature, forecast.ratio):
        model = course.model
        # A day of noughts before, so that nothing is taken to have been so all along.
        answer = delayed([0.0] * DAY_HOURS + more, model.time_constant_h)[DAY_HOURS:]
        added.append([max(0.0, model.lamp) * value for value in answer])
    return added[0], added[1]
