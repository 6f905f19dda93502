"""Reading weather files: the ones that ship, a CSV the user brings, typical-year files."""

from __future__ import annotations

import csv
import datetime as dt
import math
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import TypeVar

from controller import air
from simulators.weather.series import Weather, WeatherError
from simulators.weather.typical_year import TypicalYear, is_typical_year, read_typical_year

_HERE = Path(__file__).parent
SHIPPED = ("airfield-2013", "coastal-city-2013-07", "invented-heat-wave")

# Colder or hotter is not weather anybody gardens in; it is a wrong unit or a marker for "missing".
_COLDEST_C, _HOTTEST_C = -60.0, 60.0
_LARGEST_FILE = 200_000_000

COLUMNS = """A weather CSV has a line of column names, then one line per time, in order of time:
  time            with its zone, as in 2013-07-18T14:00:00-04:00 or ...Z; or
  time_utc        the same in UTC, zone not needed
  temperature_c   or temperature_f
  dew_point_c     or dew_point_f, or humidity_pct
Dew point and humidity are over water in frost too, as weather stations give them.
Other columns are ignored, lines starting with # too; an empty value is a gap."""


def load_weather(source: str | Path) -> Weather | TypicalYear:
    """Read a weather file.

    Parameters
    ----------
    source : str or Path
        A file (CSV as `COLUMNS` says, or a typical year in the TMY3 format), or the name of one
        that ships: see `SHIPPED`.

    Raises
    ------
    WeatherError
        Naming file, line, what is wrong and what was expected.
    """
    path = Path(source)
    if not path.is_file() and str(source) in SHIPPED:
        path = _HERE / f"{source}.csv"
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise WeatherError(f"{path}: larger than 200 MB; cut it down to the days you need")
        text = path.read_text("utf-8-sig")
    except OSError as error:
        raise WeatherError(
            f"{path}: {error.strerror or error}; give a weather file or one of the names "
            f"{', '.join(SHIPPED)}"
        ) from None
    except UnicodeDecodeError as error:
        raise WeatherError(f"{path}: not a text file in UTF-8 (byte {error.start})") from None
    lines = text.splitlines()
    if is_typical_year(lines):
        return read_typical_year(path.name, lines)
    return _read_csv(path.name, lines)


def _read_csv(name: str, lines: list[str]) -> Weather:
    rows = _rows(name, lines)
    first = next(rows, None)
    if first is None:
        raise WeatherError(f"{name}: empty.\n{COLUMNS}")
    number, header = first
    columns = _Columns(name, number, [cell.strip().lower() for cell in header])
    times, temperatures, vapour, numbers = array("d"), array("d"), array("d"), array("l")
    for number, row in rows:
        value = columns.read(number, row)
        if value is None:
            continue
        time_s, temperature_c, vapour_pa = value
        if times and time_s <= times[-1]:
            raise WeatherError(
                f"{name}:{number}: this time is not after that of line {numbers[-1]}; "
                "expected rising times, each once"
            )
        times.append(time_s)
        temperatures.append(temperature_c)
        vapour.append(vapour_pa)
        numbers.append(number)
    if len(times) < 2:
        raise WeatherError(f"{name}: {len(times)} usable lines; expected two or more.\n{COLUMNS}")
    notes = tuple(
        line.lstrip("# ").strip()
        for line in lines[:20]
        if line.startswith("#") and "invented" in line.lower()
    )
    return Weather(name, times, temperatures, vapour, numbers, notes)


def _rows(name: str, lines: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Number the lines that count and split them at whichever separator the header uses."""
    data = [(i, line) for i, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    if not data:
        return
    separator = max(",;\t", key=data[0][1].count)
    reader = csv.reader((line for _, line in data), delimiter=separator)
    for number, _ in data:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise WeatherError(f"{name}:{number}: {error}") from None
        yield number, row


class _Columns:
    """Where to find what in a row."""

    def __init__(self, name: str, number: int, header: list[str]) -> None:
        self.name = name
        where = f"{name}:{number}"
        self.time, self.is_utc = _one_of(where, header, "a time", {"time": False, "time_utc": True})
        self.temperature, self.temperature_is_f = _one_of(
            where, header, "a temperature", {"temperature_c": False, "temperature_f": True}
        )
        self.moisture, self.kind = _one_of(
            where,
            header,
            "a humidity",
            {"dew_point_c": "dew_c", "dew_point_f": "dew_f", "humidity_pct": "rh"},
        )
        self.width = len(header)

    def read(self, number: int, row: list[str]) -> tuple[float, float, float] | None:
        """Give time [s], temperature [°C] and vapour pressure [Pa]; None for a gap."""
        where = f"{self.name}:{number}"
        if len(row) < self.width:
            raise WeatherError(
                f"{where}: {len(row)} values; expected {self.width}, as in the header"
            )
        time_s = self._time_s(where, row[self.time].strip())
        cells = row[self.temperature].strip(), row[self.moisture].strip()
        if not cells[0] or not cells[1]:
            return None
        temperature_c = _number(where, "temperature", cells[0])
        moisture = _number(where, "humidity or dew point", cells[1])
        if self.temperature_is_f:
            temperature_c = (temperature_c - 32.0) / 1.8
        _check(where, "temperature", temperature_c, _COLDEST_C, _HOTTEST_C, "°C")
        if self.kind == "rh":
            _check(where, "humidity", moisture, 0.0, 105.0, "%")
            return (
                time_s,
                temperature_c,
                0.01 * min(moisture, 100.0) * air.saturation_over_water_pa(temperature_c),
            )
        dew_c = (moisture - 32.0) / 1.8 if self.kind == "dew_f" else moisture
        _check(where, "dew point", dew_c, -80.0, temperature_c + 1.0, "°C")
        return time_s, temperature_c, air.saturation_over_water_pa(min(dew_c, temperature_c))

    def _time_s(self, where: str, text: str) -> float:
        try:
            time = dt.datetime.fromisoformat(text)
        except ValueError:
            raise WeatherError(
                f"{where}: {text!r} is not a time; expected one like 2013-07-18T14:00:00Z"
            ) from None
        if time.tzinfo is None:
            if not self.is_utc:
                raise WeatherError(
                    f"{where}: the time {text!r} lacks its zone; expected Z or an offset such as "
                    "-04:00 behind it, or the column name time_utc"
                )
            time = time.replace(tzinfo=dt.UTC)
        return time.timestamp()


_Kind = TypeVar("_Kind")


def _one_of(where: str, header: list[str], what: str, names: dict[str, _Kind]) -> tuple[int, _Kind]:
    present = [name for name in names if name in header]
    if len(present) == 1 and header.count(present[0]) == 1:
        return header.index(present[0]), names[present[0]]
    # A dew point is what was measured; humidity is often worked out from it.
    if "dew_point_c" in present and header.count("dew_point_c") == 1:
        return header.index("dew_point_c"), names["dew_point_c"]
    problem = f"several columns for {what}" if present else f"no column for {what}"
    raise WeatherError(f"{where}: {problem}; expected {' or '.join(names)}.\n{COLUMNS}")


def _number(where: str, what: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        hint = "; write it with a point" if "," in text else ""
        raise WeatherError(f"{where}: {what} {text!r} is not a number{hint}")
    return value


def _check(where: str, what: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise WeatherError(
            f"{where}: {what} {value:g} {unit} is out of range; expected {low:g} to {high:g} {unit}"
        )
