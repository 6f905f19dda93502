"""EPW, the building simulators' format: a year of hours in local standard time.

References
----------
US Department of Energy, "EnergyPlus Weather File (EPW) Data Dictionary", in "Auxiliary Programs"
(from memory): eight header lines, the first LOCATION with the hours from UTC as its eighth value;
then year, month, day, hour (1 to 24), minute, flags, dry bulb [°C, missing 99.9], dew point [°C,
missing 99.9], relative humidity [%, missing 999].
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import NamedTuple

from simulators.weather.observations import (
    Columns,
    Quantity,
    Row,
    build,
    instant_s,
    number,
    split,
)
from simulators.weather.series import Weather, WeatherError
from simulators.weather.typical_year import TypicalYear, hour_from, typical_year

_COLUMNS = Columns(
    Quantity("dry bulb", "°C"), Quantity("dew point", "°C"), Quantity("relative humidity", "%")
)
_HEADER_LINES = 8
_MISSING_C = 99.9
_FIRST_VALUES = 9


class _Hour(NamedTuple):
    """A line by its own calendar: the day, the hour of it (1 to 24), and when that ends."""

    day: dt.datetime
    hour: int
    ends: dt.datetime
    row: Row


def is_epw(lines: list[str]) -> bool:
    """Whether a file starts as EPW does."""
    return bool(lines) and lines[0].startswith("LOCATION,")


def read_epw(name: str, lines: list[str]) -> Weather | TypicalYear:
    """Read an EPW file: of one year as it was, or of months of several years as a typical year."""
    where = f"{name}:1"
    location = split(where, lines[0])
    try:
        zone = dt.timezone(dt.timedelta(hours=float(location[8])))
    except (IndexError, ValueError, OverflowError):
        raise WeatherError(
            f"{where}: expected the station's line, with hours from UTC as the eighth value "
            "after LOCATION"
        ) from None
    start = next(
        (i for i, line in enumerate(lines[:60]) if line.upper().startswith("DATA PERIODS")), None
    )
    if start is None:
        raise WeatherError(f"{name}: no line DATA PERIODS; expected it as line {_HEADER_LINES}")
    hours = [
        _hour(f"{name}:{i}", i, line, zone)
        for i, line in enumerate(lines[start + 1 :], start + 2)
        if line.strip()
    ]
    if len({hour.day.year for hour in hours}) <= 1 or _is_continuous(hours):
        return build(name, _COLUMNS, [hour.row for hour in hours])
    by_hour = {
        hour_from(hour.day.month, hour.day.day, hour.hour): hour.row
        for hour in hours
        if hour.ends.minute == 0 and (hour.day.month, hour.day.day) != (2, 29)
    }
    return typical_year(name, zone, _COLUMNS, by_hour)


def _hour(where: str, line_number: int, line: str, zone: dt.timezone) -> _Hour:
    cells = split(where, line)
    try:
        year, month, day, hour, minute = (int(cell) for cell in cells[:5])
        date = dt.datetime(year, month, day, tzinfo=zone)
    except (ValueError, OverflowError):
        date, hour, minute = None, 0, 0
    if date is None or not (1 <= hour <= 24 and 0 <= minute <= 60) or len(cells) < _FIRST_VALUES:
        raise WeatherError(
            f"{where}: expected year, month, day, hour (1 to 24), minute, flags, dry bulb, dew "
            "point, relative humidity"
        )
    # The hour is counted by its end; its minute is 60, or 0 in files of one line per hour.
    try:
        ends = date + dt.timedelta(hours=hour - 1, minutes=minute or 60)
    except OverflowError:
        raise WeatherError(f"{where}: the year {year} is out of range") from None
    temperature, dew_point = (
        None if value == _MISSING_C else value
        for value in (
            number(where, "dry bulb", cells[6]),
            number(where, "dew point", cells[7]),
        )
    )
    humidity = number(where, "relative humidity", cells[8])
    row = Row(line_number, instant_s(where, ends), temperature, dew_point, humidity)
    return _Hour(date, hour, ends, row)


def _is_continuous(hours: list[_Hour]) -> bool:
    """Whether the lines follow one another as in one stretch of time, over New Year perhaps."""
    return all(
        dt.timedelta() <= later.ends - earlier.ends <= dt.timedelta(days=27)
        for earlier, later in pairwise(hours)
    )
