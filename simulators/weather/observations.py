"""Build a weather series from the rows of any format: units, missing values, repeats, doubts."""

from __future__ import annotations

import csv
import datetime as dt
import math
from array import array
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple
from zoneinfo import ZoneInfo

from controller import air
from simulators.weather.series import Weather, WeatherError

# Colder or hotter is not weather anybody gardens in; it is a wrong unit or a marker for "missing".
COLDEST_C, HOTTEST_C = -60.0, 60.0
LOWEST_DEW_POINT_C = -80.0
# The highest dew point on record is 35 °C, Dhahran, July 2003 (from memory).
HIGHEST_DEW_POINT_C = 36.0
# The highest temperature on record for the coolest moment of 24 hours is 42.6 °C, Quriyat, June
# 2018 (from memory).
HIGHEST_COOLEST_C = 43.0
_DAY_S = 86_400.0
_WRONG_LINE = "; if only this line is wrong, take it out: short gaps are bridged"

_MISSING_TEXTS = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "m"})
_MISSING_NUMBERS = frozenset({9999.0, 9999.9, 999.0, 999.9})


class Quantity(NamedTuple):
    """What a column holds.

    Attributes
    ----------
    column : str
        As the header names it.
    unit : str
        "°C", "°F" or "K"; for humidity "%" or "" (0 to 1).
    family : str
        First part of the names that a plain CSV may give this column, such as "temperature";
        empty where the format fixes name and unit.
    """

    column: str
    unit: str
    family: str = ""


class Columns(NamedTuple):
    """The columns that a file's rows come from; at least one of dew point and humidity."""

    temperature: Quantity
    dew_point: Quantity | None = None
    humidity: Quantity | None = None


class Row(NamedTuple):
    """A line of a weather file: values in their columns' units, None where missing.

    Attributes
    ----------
    line : int
        Its number, from 1.
    time_s : float
        Seconds since the Unix epoch, UTC [s].
    """

    line: int
    time_s: float
    temperature: float | None
    dew_point: float | None
    humidity: float | None


def split(where: str, line: str, separator: str = ",") -> list[str]:
    """Split one line into its values, without the blanks around them."""
    try:
        if '"' not in line:  # as nearly all lines; a reader for each costs a third of the loading
            return [cell.strip() for cell in line.split(separator)]
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error as error:
        raise WeatherError(f"{where}: {error}") from None


def cells_below(
    name: str, lines: list[str], places: Sequence[int], width: int, first_line: int = 2
) -> Iterator[tuple[int, list[str]]]:
    """Give each line below the header, from `first_line` on: its number, and the values at places.

    Raises
    ------
    WeatherError
        A line has fewer values than that, or can't be split.
    """
    for line_number, line in enumerate(lines[first_line - 1 :], first_line):
        if not line.strip():
            continue
        where = f"{name}:{line_number}"
        cells = split(where, line)
        if len(cells) <= max(places):
            raise WeatherError(f"{where}: {len(cells)} values; expected {width}")
        yield line_number, [cells[place] for place in places]


def number(where: str, column: str, text: str) -> float | None:
    """Read a value; None for any of the usual ways to write that it is missing."""
    if text.lower() in _MISSING_TEXTS:
        return None
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    try:
        value = float(plain)
    except ValueError:
        value = math.inf
    if not math.isfinite(value):
        raise WeatherError(
            f"{where}: {column} {text!r} is not a number; a missing value is written as an empty "
            "one, NA, -9999 or 9999"
        )
    return None if abs(value) in _MISSING_NUMBERS else value


def iso_time(where: str, text: str) -> dt.datetime:
    """Read a date and time of day, with or without its zone."""
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        pass
    for pattern in ("%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M:%S"):
        try:
            return dt.datetime.strptime(text, pattern)
        except ValueError:
            continue
    raise WeatherError(
        f"{where}: {text!r} is not a time; expected one like 2013-07-18T14:00:00Z, or local as "
        "2013-07-18 14:00 or 18.07.2013 14:00"
    )


def instant_s(where: str, time: dt.datetime) -> float:
    """Give seconds since the epoch of a time with a zone [s]."""
    try:
        return time.timestamp()
    except (OverflowError, ValueError):
        raise WeatherError(f"{where}: the year {time.year} is out of range") from None


def left_out(count: int) -> str:
    """Say that values weren't used."""
    return "1 value left out" if count == 1 else f"{count} values left out"


def standard_time(timezone: str, year: int) -> dt.timezone:
    """Give a place's standard time, which loggers and climate services keep in summer too."""
    zone = ZoneInfo(timezone)
    offsets = (dt.datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7))
    return dt.timezone(min(offset for offset in offsets if offset is not None))


def to_c(value: float, unit: str) -> float:
    """Convert a temperature [°C]."""
    if unit == "°F":
        return (value - 32.0) / 1.8
    return value - 273.15 if unit == "K" else value


def build(name: str, columns: Columns, rows: Iterable[Row], notes: tuple[str, ...] = ()) -> Weather:
    """Check rows and make a series of those that have both temperature and moisture.

    Of several lines for the same instant the last that has both values counts.

    Raises
    ------
    WeatherError
        For values or units that can't be, times that fall, or fewer than two usable lines.
    """
    times, temperatures, vapour, lines = array("d"), array("d"), array("d"), array("l")
    highest_humidity = 0.0
    by_humidity = 0
    repeats = 0
    for row in rows:
        where = f"{name}:{row.line}"
        air_then = checked_air(where, columns, row)
        if air_then is None:
            continue
        if row.dew_point is None:
            highest_humidity = max(highest_humidity, row.humidity or 0.0)
            by_humidity += 1
        if times and row.time_s < times[-1]:
            raise WeatherError(
                f"{where}: this time is before that of line {lines[-1]}; expected rising times"
            )
        if times and row.time_s == times[-1]:
            repeats += 1
            temperatures[-1], vapour[-1] = air_then
            lines[-1] = row.line
            continue
        times.append(row.time_s)
        temperatures.append(air_then[0])
        vapour.append(air_then[1])
        lines.append(row.line)
    if len(times) < 2:
        raise WeatherError(
            f"{name}: {len(times)} usable lines; expected two or more with time, temperature "
            "and dew point or humidity"
        )
    humidity = columns.humidity
    if by_humidity > 1 and highest_humidity <= 1.5 and humidity and humidity.unit == "%":
        raise WeatherError(
            f"{name}:{lines[0]}: {humidity.column} is never above {highest_humidity:g} % in the "
            "whole file; it looks like a share from 0 to 1: "
            + _rename(humidity, "humidity_fraction", "multiply it by 100")
        )
    _check_coolest(name, columns.temperature, times, temperatures, lines)
    if repeats:
        lines_word = "line repeats" if repeats == 1 else "lines repeat"
        notes += (f"{repeats} {lines_word} the time of the line before: the last one counts",)
    return Weather(name, times, temperatures, vapour, lines, notes)


def checked_air(where: str, columns: Columns, row: Row) -> tuple[float, float] | None:
    """Give temperature [°C] and vapour pressure [Pa]; None for a gap.

    Stations give dew point and humidity over water in frost too (WMO-No. 8, chapter 4).

    Raises
    ------
    WeatherError
        For a value that can't be, with the unit it looks like.
    """
    if row.temperature is None or (row.dew_point is None and row.humidity is None):
        return None
    temperature = columns.temperature
    temperature_c = to_c(row.temperature, temperature.unit)
    _check(where, temperature, row.temperature, COLDEST_C, HOTTEST_C)
    if row.dew_point is not None:
        assert columns.dew_point is not None
        dew_c = to_c(row.dew_point, columns.dew_point.unit)
        _check(where, columns.dew_point, row.dew_point, LOWEST_DEW_POINT_C, HOTTEST_C)
        if dew_c > temperature_c + 1.0:
            raise WeatherError(
                f"{where}: {columns.dew_point.column} {row.dew_point:g} {columns.dew_point.unit} "
                f"is above {temperature.column} {row.temperature:g} {temperature.unit}, which "
                "can't be" + _other_unit_hint(columns.dew_point, dew_c, temperature_c)
            )
        vapour_pa = air.saturation_over_water_pa(min(dew_c, temperature_c))
        culprit = columns.dew_point
    else:
        assert row.humidity is not None and columns.humidity is not None
        share = _humidity_share(where, columns.humidity, row.humidity)
        vapour_pa = share * air.saturation_over_water_pa(temperature_c)
        culprit = temperature
    if vapour_pa > air.saturation_over_water_pa(HIGHEST_DEW_POINT_C):
        dew_c = air.dew_point_of_vapour_pressure_c(vapour_pa)
        raise WeatherError(
            f"{where}: a dew point of {dew_c:.0f} °C (from {temperature.column} "
            f"{row.temperature:g} {temperature.unit}) is moister than outdoor air has been "
            "anywhere (35 °C)" + (_fahrenheit_hint(culprit) if culprit.unit == "°C" else "")
        )
    return temperature_c, vapour_pa


def _humidity_share(where: str, humidity: Quantity, value: float) -> float:
    """Give relative humidity from 0 to 1."""
    full = 100.0 if humidity.unit == "%" else 1.0
    if not 0.0 <= value <= 1.05 * full:
        hint = _WRONG_LINE
        if full == 1.0 and 1.05 < value <= 105.0:
            hint = "; it looks like %: " + _rename(humidity, "humidity_pct", "divide it by 100")
        raise WeatherError(
            f"{where}: {humidity.column} {value:g} {humidity.unit} is out of range; expected 0 to "
            f"{full:g}{hint}"
        )
    return min(value / full, 1.0)


def _check(where: str, quantity: Quantity, value: float, low_c: float, high_c: float) -> None:
    """Refuse a temperature that can't be outdoor air's, with what it looks like."""
    if low_c <= to_c(value, quantity.unit) <= high_c:
        return
    hint = _WRONG_LINE
    if quantity.unit == "°C" and high_c < value <= 140.0:
        hint = _fahrenheit_hint(quantity)
    elif quantity.unit != "K" and 200.0 <= value <= 335.0:
        hint = "; it looks like K: " + _rename(quantity, f"{quantity.family}_k", "convert it")
    elif quantity.unit == "K" and -60.0 <= value <= 60.0:
        hint = "; it looks like °C: " + _rename(quantity, f"{quantity.family}_c", "convert it")
    low, high = (_from_c(bound, quantity.unit) for bound in (low_c, high_c))
    raise WeatherError(
        f"{where}: {quantity.column} {value:g} {quantity.unit} is out of range; expected {low:g} "
        f"to {high:g} {quantity.unit}{hint}"
    )


def _check_coolest(
    name: str, quantity: Quantity, times: array[float], values: array[float], lines: array[int]
) -> None:
    """Refuse a day that never cools down to what every day on record has cooled to."""
    if quantity.unit != "°C" or not quantity.family:
        return
    since: int | None = None
    for i, value_c in enumerate(values):
        if value_c <= HIGHEST_COOLEST_C:
            since = None
            continue
        since = i if since is None else since
        if times[i] - times[since] >= _DAY_S:
            raise WeatherError(
                f"{name}:{lines[since]}: {quantity.column} is above {HIGHEST_COOLEST_C:g} °C for "
                "24 h on end, which outdoor air has been nowhere" + _fahrenheit_hint(quantity)
            )


def _from_c(value_c: float, unit: str) -> float:
    if unit == "°F":
        return value_c * 1.8 + 32.0
    return value_c + 273.15 if unit == "K" else value_c


def _other_unit_hint(quantity: Quantity, dew_c: float, temperature_c: float) -> str:
    if quantity.family and quantity.unit == "°C" and (dew_c - 32.0) / 1.8 <= temperature_c + 1.0:
        return f"; if it is in °F, say {quantity.family}_f as the column name"
    return _WRONG_LINE


def _fahrenheit_hint(quantity: Quantity) -> str:
    return "; it looks like °F: " + _rename(quantity, f"{quantity.family}_f", "convert it")


def _rename(quantity: Quantity, new_name: str, otherwise: str) -> str:
    return f"say {new_name} as the column name" if quantity.family else otherwise
