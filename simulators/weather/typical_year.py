"""Typical years, and TMY3 files: months of different years, put on whichever year is asked."""

from __future__ import annotations

import datetime as dt
from array import array
from itertools import pairwise
from typing import NamedTuple

from controller.display import duration
from simulators.weather.observations import (
    Columns,
    Quantity,
    Row,
    cells_below,
    checked_air,
    number,
    split,
)
from simulators.weather.series import LONGEST_GAP_S, Weather, WeatherError

_DATE, _TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"
_TEMPERATURE, _DEW = "Dry-bulb (C)", "Dew-point (C)"
_COLUMNS = Columns(Quantity(_TEMPERATURE, "°C"), Quantity(_DEW, "°C"))
_MISSING = -9900.0
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
    bridged : int
        Gaps of its file that were filled by a straight line.
    """

    name: str
    utc_offset_s: float
    temperatures_c: array[float]
    vapour_pa: array[float]
    bridged: int = 0

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
        notes = ["the weather is a typical year, put together from months of several years"]
        if self.bridged:
            word = "gap" if self.bridged == 1 else "gaps"
            notes.append(f"{self.bridged} {word} in its file bridged by a straight line")
        return Weather(
            self.name, times, temperatures, vapour, array("l", range(len(times))), tuple(notes)
        )


def hour_from(month: int, day: int, hour: int) -> int:
    """Index of an hour, 1 to 24, of a day of a year of 365 days."""
    return (dt.date(2001, month, day) - dt.date(2001, 1, 1)).days * 24 + hour - 1


def _hour_of_year(time: dt.datetime) -> int:
    """Index of the value that holds at a full hour: that of the hour ending then."""
    day = 28 if (time.month, time.day) == (2, 29) else time.day
    return hour_from(time.month, day, time.hour) % _HOURS


def typical_year(name: str, zone: dt.tzinfo, columns: Columns, rows: dict[int, Row]) -> TypicalYear:
    """Put a typical year together; short gaps are bridged by a straight line, also over New Year.

    Parameters
    ----------
    zone : datetime.tzinfo
        Its local standard time; of constant offset.
    rows : dict of int to Row
        By hour of a year of 365 days, counted from 0 by the hour that ends; times aren't used.

    Raises
    ------
    WeatherError
        For values that can't be, and for gaps longer than `LONGEST_GAP_S`.
    """
    known = {}
    for hour, row in sorted(rows.items()):
        value = checked_air(f"{name}:{row.line}", columns, row)
        if value is not None:
            known[hour] = value
    hours = list(known)
    if not hours:
        raise WeatherError(f"{name}: no hour with temperature and dew point")
    temperatures, vapour = array("d", [0.0] * _HOURS), array("d", [0.0] * _HOURS)
    bridged = 0
    for first, then in pairwise([*hours, hours[0] + _HOURS]):
        width = then - first
        if width * 3600.0 > LONGEST_GAP_S:
            raise WeatherError(
                f"{name}:{rows[first].line}: nothing for {width} h after this line; gaps of up to "
                f"{duration(LONGEST_GAP_S)} are bridged, this one is longer: fill it"
            )
        bridged += width > 1
        (from_c, from_pa), (to_c, to_pa) = known[first], known[then % _HOURS]
        for i in range(width):
            share = i / width
            temperatures[(first + i) % _HOURS] = from_c + share * (to_c - from_c)
            vapour[(first + i) % _HOURS] = from_pa + share * (to_pa - from_pa)
    offset = zone.utcoffset(None)
    assert offset is not None
    return TypicalYear(name, offset.total_seconds(), temperatures, vapour, bridged)


def read_typical_year(name: str, lines: list[str]) -> TypicalYear:
    """Read a TMY3 file.

    References
    ----------
    Wilcox & Marion, "Users Manual for TMY3 Data Sets", NREL/TP-581-43156, 2008, tables 1-1 to 1-3:
    local standard time, hours counted by their end, 01:00 to 24:00; -9900 is missing.
    """
    station = split(f"{name}:1", lines[0])
    try:
        zone = dt.timezone(dt.timedelta(hours=float(station[3])))
    except (IndexError, ValueError, OverflowError):
        raise WeatherError(
            f"{name}:1: expected the station's line, with hours from UTC as the fourth value"
        ) from None
    header = split(f"{name}:2", lines[1])
    try:
        places = header.index(_TEMPERATURE), header.index(_DEW)
    except ValueError:
        raise WeatherError(f"{name}:2: expected columns {_TEMPERATURE!r} and {_DEW!r}") from None
    rows: dict[int, Row] = {}
    for line_number, cells in cells_below(name, lines, places, len(header), first_line=3):
        where = f"{name}:{line_number}"
        temperature, dew_point = (
            _present(number(where, column, cell))
            for column, cell in zip((_TEMPERATURE, _DEW), cells, strict=True)
        )
        rows[len(rows)] = Row(line_number, 0.0, temperature, dew_point, None)
    if len(rows) != _HOURS:
        raise WeatherError(f"{name}: {len(rows)} hours; expected a year of {_HOURS}")
    return typical_year(name, zone, _COLUMNS, rows)


def _present(value: float | None) -> float | None:
    return None if value == _MISSING else value
