"""A weather file as a forecast: its past and its hours to come, or why it can't be one."""

from __future__ import annotations

from bisect import bisect_left
from itertools import pairwise

from controller import air
from controller.tomorrow.hours import DAY_HOURS, HOUR_S, OutdoorHours, RoomHours
from simulators.weather.series import LONGEST_GAP_S, Weather, WeatherError, utc

LEAST_PAST_DAYS = 4
"""So many days of the record must be in the file, for the room's answer to outdoors to be seen."""

# A file that ends so little before tomorrow does is taken to go on as it ends.
_SHORT_BY_S = 3 * HOUR_S
# Tomorrow may be so far outside all that the days before had: more is a wrong unit or place
# (engineering judgement).
_STRANGE_K = 15.0
_WEEK_S = 7 * DAY_HOURS * HOUR_S
_G_PER_KG = 1000.0


def outdoor_hours(weather: Weather, hours: RoomHours, now: int, pressure_pa: float) -> OutdoorHours:
    """The air outdoors on the grid of a record.

    Parameters
    ----------
    weather : Weather
        Of the file.
    hours : RoomHours
        The record and the hours to come.
    now : int
        The first hour to come.
    pressure_pa : float
        Of the air [Pa].

    Raises
    ------
    WeatherError
        The file lacks tomorrow or the days before, has gaps, or is absurd; with its line.
    """
    now_s = hours.start_s + now * HOUR_S
    until_s = hours.start_s + len(hours.lit) * HOUR_S
    _refuse_short(weather, now_s, until_s)
    first_s = max(hours.start_s, weather.times_s[0])
    _refuse_gaps(weather, first_s, until_s)
    _refuse_strange(weather, now_s, until_s)
    temperatures: list[float | None] = []
    ratios: list[float | None] = []
    for i in range(len(hours.lit)):
        middle_s = hours.middle_s(i)
        if middle_s < first_s:
            temperatures.append(None)
            ratios.append(None)
            continue
        temperature_c, vapour_pa = weather.at(middle_s)
        temperatures.append(temperature_c)
        ratio = air.humidity_ratio_of_vapour_pressure(vapour_pa, pressure_pa)
        ratios.append(_G_PER_KG * ratio)
    return OutdoorHours(temperatures, ratios)


def _refuse_short(weather: Weather, now_s: float, until_s: float) -> None:
    first_s, last_s = weather.times_s[0], weather.times_s[-1]
    if last_s < until_s - _SHORT_BY_S:
        raise WeatherError(
            f"{weather.name}:{weather.lines[-1]}: ends at {utc(last_s)}, before tomorrow "
            f"does; expected hours up to {utc(until_s)}"
        )
    if first_s > now_s - LEAST_PAST_DAYS * DAY_HOURS * HOUR_S:
        raise WeatherError(
            f"{weather.name}:{weather.lines[0]}: begins at {utc(first_s)}; how the room "
            f"answers to outdoors is learned from the file's own past, {LEAST_PAST_DAYS} days at "
            "least and better 14: have whatever writes it keep the hours that are over"
        )


def _refuse_gaps(weather: Weather, first_s: float, until_s: float) -> None:
    begin = max(0, bisect_left(weather.times_s, first_s) - 1)
    for i, (before_s, after_s) in enumerate(pairwise(weather.times_s[begin:]), begin):
        if before_s >= until_s:
            return
        if after_s - before_s > LONGEST_GAP_S:
            raise WeatherError(
                f"{weather.name}:{weather.lines[i]}: nothing between {utc(before_s)} and "
                f"{utc(after_s)}; expected a line an hour"
            )


def _refuse_strange(weather: Weather, now_s: float, until_s: float) -> None:
    times = weather.times_s
    now, end = bisect_left(times, now_s), bisect_left(times, until_s)
    week = weather.temperatures_c[bisect_left(times, now_s - _WEEK_S) : now]
    low_c, high_c = min(week) - _STRANGE_K, max(week) + _STRANGE_K
    for i in range(now, end):
        if not low_c <= weather.temperatures_c[i] <= high_c:
            raise WeatherError(
                f"{weather.name}:{weather.lines[i]}: {weather.temperatures_c[i]:.0f} °C to come, "
                f"where the week before had {min(week):.0f} to {max(week):.0f} °C; expected no "
                f"more than {_STRANGE_K:.0f} K beyond it: check units and place"
            )
