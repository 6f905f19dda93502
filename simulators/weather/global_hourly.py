"""NOAA's global-hourly files in CSV: the Integrated Surface Dataset (ISD), times in UTC.

References
----------
NOAA/NCEI, "Integrated Surface Dataset (Global Hourly)", CSV and format documentation (from memory):
TMP and DEW hold tenths of a degree Celsius and a quality code, +9999 where missing.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator

from simulators.weather.observations import (
    Columns,
    Quantity,
    Row,
    build,
    cells_below,
    instant_s,
    iso_time,
    left_out,
    split,
)
from simulators.weather.series import Weather, WeatherError

_COLUMNS = Columns(Quantity("TMP", "°C"), Quantity("DEW", "°C"))
_NEEDED = ("DATE", "TMP", "DEW")
_VALUE = re.compile(r"([+-]?\d{1,4}),(\w)", re.ASCII)
_MISSING = 9999
# 2 and 6: suspect; 3 and 7: erroneous; the others passed the checks or were corrected.
_DOUBTED = frozenset("2367")


def is_global_hourly(header: list[str]) -> bool:
    """Whether the column names are those of a global-hourly file."""
    return all(column in header for column in _NEEDED)


def read_global_hourly(name: str, lines: list[str]) -> Weather:
    """Read a global-hourly file; values that its quality codes doubt are gaps."""
    header = split(f"{name}:1", lines[0])
    places = [header.index(column) for column in _NEEDED]
    doubted: list[int] = []

    def rows() -> Iterator[Row]:
        for line_number, (date, *values) in cells_below(name, lines, places, len(header)):
            where = f"{name}:{line_number}"
            time = iso_time(where, date)
            time = time if time.tzinfo else time.replace(tzinfo=dt.UTC)
            temperature, dew_point = (
                _value(where, column, cell, doubted)
                for column, cell in zip(_NEEDED[1:], values, strict=True)
            )
            yield Row(line_number, instant_s(where, time), temperature, dew_point, None)

    weather = build(name, _COLUMNS, rows())
    if doubted:
        weather.notes += (
            f"{left_out(len(doubted))}: suspect or wrong by the weather file's quality codes",
        )
    return weather


def _value(where: str, column: str, cell: str, doubted: list[int]) -> float | None:
    """Read "+0123,1" as 12.3; None where missing or doubted."""
    if not cell:
        return None
    match = _VALUE.fullmatch(cell)
    if match is None:
        raise WeatherError(
            f"{where}: {column} {cell!r}; expected tenths of a degree Celsius and a quality code, "
            "such as '+0123,1'"
        )
    value, code = int(match[1]), match[2]
    if abs(value) == _MISSING:
        return None
    if code in _DOUBTED:
        doubted.append(value)
        return None
    return value / 10.0
