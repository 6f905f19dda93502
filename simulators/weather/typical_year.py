"""Typical-year files (TMY3): months out of different years, put on whichever year is asked."""

from __future__ import annotations

import csv
import datetime as dt
from array import array
from typing import NamedTuple

from controller import air
from simulators.weather.series import Weather, WeatherError

_DATE, _TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"
_TEMPERATURE, _DEW = "Dry-bulb (C)", "Dew-point (C)"
_HOURS = 8760
_HOUR = dt.timedelta(hours=1)


def is_typical_year(lines: list[str]) -> bool:
    """Whether a file has the two header lines of the TMY3 format."""
    return len(lines) > 1 and lines[1].startswith(_DATE)


class TypicalYear(NamedTuple):
    """A year without a date.

    Attributes
    ----------
    name : str
        What to call it in messages.
    utc_offset_s : float
        Of its local standard time [s].
    temperatures_c, vapour_pa : array of float
        At the end of each hour of a year of 365 days, shape (8760,) [°C, Pa].
    """

    name: str
    utc_offset_s: float
    temperatures_c: array[float]
    vapour_pa: array[float]

    def covering(self, from_s: float, until_s: float) -> Weather:
        """Give these hours on the calendar of [from_s, until_s]; 29 February repeats the 28th."""
        zone = dt.timezone(dt.timedelta(seconds=self.utc_offset_s))
        time = dt.datetime.fromtimestamp(from_s, zone).replace(minute=0, second=0, microsecond=0)
        times, temperatures, vapour = array("d"), array("d"), array("d")
        while True:
            times.append(time.timestamp())
            i = _hour_of_year(time)
            temperatures.append(self.temperatures_c[i])
            vapour.append(self.vapour_pa[i])
            if times[-1] >= until_s and len(times) > 1:
                break
            time += _HOUR
        note = "the weather is a typical year, put together from months of several years"
        return Weather(
            self.name, times, temperatures, vapour, array("l", range(len(times))), (note,)
        )


def _hour_of_year(time: dt.datetime) -> int:
    """Index of the value that holds at a full hour: that of the hour ending then."""
    day = 28 if (time.month, time.day) == (2, 29) else time.day
    days = (dt.date(2001, time.month, day) - dt.date(2001, 1, 1)).days
    return (days * 24 + time.hour - 1) % _HOURS


def read_typical_year(name: str, lines: list[str]) -> TypicalYear:
    """Read a TMY3 file.

    References
    ----------
    Wilcox & Marion, "Users Manual for TMY3 Data Sets", NREL/TP-581-43156, 2008, tables 1-1 to 1-3:
    local standard time, hours counted by their end, 01:00 to 24:00.
    """
    station = next(csv.reader(lines[:1]))
    try:
        offset_s = float(station[3]) * 3600.0
    except (IndexError, ValueError):
        raise WeatherError(
            f"{name}:1: expected the station's line, with hours from UTC as the fourth value"
        ) from None
    header = next(csv.reader(lines[1:2]))
    try:
        where = header.index(_TEMPERATURE), header.index(_DEW)
    except ValueError:
        raise WeatherError(f"{name}:2: expected columns {_TEMPERATURE!r} and {_DEW!r}") from None
    temperatures, vapour = array("d"), array("d")
    for number, row in enumerate(csv.reader(lines[2:]), 3):
        try:
            temperature_c, dew_c = float(row[where[0]]), float(row[where[1]])
        except (IndexError, ValueError):
            raise WeatherError(
                f"{name}:{number}: temperature or dew point is not a number"
            ) from None
        if not (-60.0 <= temperature_c <= 60.0 and -80.0 <= dew_c <= 60.0):
            raise WeatherError(
                f"{name}:{number}: temperature {temperature_c:g} °C or dew point {dew_c:g} °C is "
                "out of range"
            )
        temperatures.append(temperature_c)
        vapour.append(air.saturation_over_water_pa(min(dew_c, temperature_c)))
    if len(temperatures) != _HOURS:
        raise WeatherError(f"{name}: {len(temperatures)} hours; expected a year of {_HOURS}")
    return TypicalYear(name, offset_s, temperatures, vapour)
