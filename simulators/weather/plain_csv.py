"""Weather in a plain CSV: a user's own station or logger, or what a weather service hands out."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import TypeVar
from zoneinfo import ZoneInfo

from simulators.weather.observations import (
    Columns,
    Quantity,
    Row,
    build,
    instant_s,
    iso_time,
    number,
    split,
    standard_time,
)
from simulators.weather.series import Weather, WeatherError

COLUMNS = """A weather CSV has a line of column names, then one line per time, in order of time:
  time            with its zone, as in 2013-07-18T14:00:00-04:00 or ...Z, or the
                  local clock's, as in 2013-07-18 14:00, read by place.timezone; or
  time_utc        the same in UTC, zone not needed; or
  time_standard   standard time of place.timezone, in summer too
  temperature_c   or temperature_f, temperature_k
  dew_point_c     or dew_point_f, dew_point_k, humidity_pct, or
                  humidity_fraction (0 to 1)
Dew point and humidity are over water in frost too, as weather stations give
them. Other columns are ignored, lines starting with # and lines before the names
too. A value that is empty, NA, -9999 or 9999 is missing. Numbers may have decimal
commas where semicolons stand between values.
JSON has the same names: a list of objects, or an object of lists.
Read as they come: EPW, TMY3, and NOAA's global-hourly (ISD) and LCD files (CSV)."""

_SEPARATORS = ",;\t"
_PREAMBLE_LINES = 60

_TIMES = {"time": "local", "time_utc": "utc", "time_standard": "standard"}
_UNITS = {"c": "°C", "f": "°F", "k": "K"}
_TEMPERATURES = {
    f"temperature_{letter}": Quantity(f"temperature_{letter}", unit, "temperature")
    for letter, unit in _UNITS.items()
}
_DEW_POINTS = {
    f"dew_point_{letter}": Quantity(f"dew_point_{letter}", unit, "dew_point")
    for letter, unit in _UNITS.items()
}
_HUMIDITIES = {
    "humidity_pct": Quantity("humidity_pct", "%", "humidity"),
    "humidity_fraction": Quantity("humidity_fraction", "", "humidity"),
}

# As weather services write names: "temperature_2m (°C)", "Relative humidity [%]".
_WITH_UNIT = re.compile(r"(.+?)\s*[(\[]\s*(°?[cf]|k|%|1)\s*[)\]]")
_SUFFIXES = {"c": "c", "°c": "c", "f": "f", "°f": "f", "k": "k", "%": "pct", "1": "fraction"}
_FAMILIES = {
    "temperature": "temperature",
    "air_temperature": "temperature",
    "dew_point": "dew_point",
    "dewpoint": "dew_point",
    "dew_point_temperature": "dew_point",
    "humidity": "humidity",
    "relative_humidity": "humidity",
}


def read_plain_csv(name: str, lines: list[str], timezone: str | None) -> Weather:
    """Read a CSV as `COLUMNS` says.

    Parameters
    ----------
    timezone : str or None
        IANA name of the zone of times without one; None refuses them.
    """
    kept = [(i, line) for i, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    if not kept:
        raise WeatherError(f"{name}: empty.\n{COLUMNS}")
    start = _header_at(name, kept)
    header_line, header = kept[start]
    separator = _separator(header)
    where = f"{name}:{header_line}"
    cells = split(where, header, separator)
    table = (
        (line_number, split(f"{name}:{line_number}", line, separator))
        for line_number, line in kept[start + 1 :]
    )
    weather = read_table(
        name, where, cells, table, timezone, lines[: header_line - 1], separator == ","
    )
    invented = (
        line.lstrip("# ").strip()
        for line in lines[:20]
        if line.startswith("#") and "invented" in line.lower()
    )
    weather.notes = (*invented, *weather.notes)
    return weather


def read_table(
    name: str,
    where: str,
    header: list[str],
    table: Iterable[tuple[int, list[str]]],
    timezone: str | None,
    preamble: list[str],
    has_commas: bool = False,
) -> Weather:
    """Make a series of lines that are split into values.

    Parameters
    ----------
    name, where : str
        The file, and the place of its column names, for messages.
    header : list of str
        The column names.
    table : iterable of (int, list of str)
        Number of each line, and its values.
    timezone : str or None
        As for `read_plain_csv`.
    preamble : list of str
        Lines that may say the times' zone.
    has_commas : bool
        Whether commas stand between values.
    """
    reader = _Reader(name, where, header, has_commas)
    zone_given = _stated_zone(name, preamble) if reader.time_kind == "local" else None
    clock = _Clock(name, reader.time_kind, timezone, zone_given)
    weather = build(name, reader.columns, reader.rows(table, clock))
    weather.notes = (*clock.notes(), *weather.notes)
    return weather


def _separator(line: str) -> str:
    return max(_SEPARATORS, key=line.count)


def _header_at(name: str, kept: list[tuple[int, str]]) -> int:
    """Find the line of column names behind whatever a service writes before it."""
    for i, (line_number, line) in enumerate(kept[:_PREAMBLE_LINES]):
        cells = split(f"{name}:{line_number}", line, _separator(line))
        names = {_plain_name(cell) for cell in cells}
        if names & _TIMES.keys() and names & _TEMPERATURES.keys():
            return i
    return 0


def _plain_name(cell: str) -> str:
    """Put "Relative_humidity_2m (%)" as humidity_pct; other names stay as they are."""
    lower = cell.lower()
    match = _WITH_UNIT.fullmatch(lower)
    if match is None:
        return lower
    family = re.sub(r"_(2m|2_m)$", "", match[1].replace(" ", "_"))
    if family not in _FAMILIES:
        return lower
    return f"{_FAMILIES[family]}_{_SUFFIXES[match[2]]}"


def _stated_zone(name: str, preamble: list[str]) -> dt.tzinfo | None:
    """Find the zone of the times where the lines before the column names say it.

    Either as ``utc_offset_seconds`` (what was added to UTC) or as ``timezone`` (an IANA name), each
    with its value beside it or below it.
    """
    rows = [
        split(name, line.lstrip("# ").replace(": ", ","), _separator(line)) for line in preamble
    ]
    stated: dict[str, str] = {}
    for row, below in pairwise([*rows, []]):
        for i, cell in enumerate(row):
            key = cell.lower()
            if key in ("utc_offset_seconds", "timezone"):
                beside = row[i + 1] if len(row) == 2 and i == 0 else None
                value = beside or (below[i] if i < len(below) else "")
                stated.setdefault(key, value)
    if "utc_offset_seconds" in stated:
        try:
            return dt.timezone(dt.timedelta(seconds=float(stated["utc_offset_seconds"])))
        except (ValueError, OverflowError):
            pass
    if "timezone" in stated:
        try:
            return ZoneInfo(stated["timezone"])
        except (ValueError, OSError, KeyError):
            pass
    if stated:
        raise WeatherError(
            f"{name}: the lines before the column names give the times' zone as "
            f"{', '.join(f'{key} {value!r}' for key, value in stated.items())}; expected seconds "
            "or a name such as Europe/Rome"
        )
    return None


_Kind = TypeVar("_Kind")


def _pick(where: str, names: list[str], what: str, known: dict[str, _Kind]) -> tuple[int, _Kind]:
    columns = [i for i, name in enumerate(names) if name in known]
    if len(columns) == 1:
        return columns[0], known[names[columns[0]]]
    seen = ", ".join(names[:12]) + (", …" if len(names) > 12 else "")
    problem = f"several columns for {what}" if columns else f"no column for {what}"
    raise WeatherError(
        f"{where}: {problem}; expected {' or '.join(known)}, seen {seen[:300]!r}.\n{COLUMNS}"
    )


class _Reader:
    """Where to find what in a row."""

    def __init__(self, name: str, where: str, header: list[str], has_commas: bool) -> None:
        self.name = name
        self.header = header
        self.has_commas = has_commas
        names = [_plain_name(cell) for cell in header]
        self.time, self.time_kind = _pick(where, names, "a time", _TIMES)
        self.temperature, temperature = _pick(where, names, "a temperature", _TEMPERATURES)
        # A dew point is what was measured; humidity is often worked out from it.
        self.is_dew_point = any(cell in _DEW_POINTS for cell in names)
        known = _DEW_POINTS if self.is_dew_point else _HUMIDITIES
        self.moisture, moisture = _pick(where, names, "a humidity or dew point", known)
        moisture = moisture._replace(column=header[self.moisture])
        self.columns = Columns(
            temperature._replace(column=header[self.temperature]),
            moisture if self.is_dew_point else None,
            None if self.is_dew_point else moisture,
        )

    def rows(self, table: Iterable[tuple[int, list[str]]], clock: _Clock) -> Iterator[Row]:
        """Read the lines below the column names."""
        width = len(self.header)
        for line_number, cells in table:
            where = f"{self.name}:{line_number}"
            if len(cells) < width or any(cells[width:]):
                hint = ""
                if len(cells) > width and self.has_commas:
                    hint = "; decimal commas need semicolons between the values"
                raise WeatherError(
                    f"{where}: {len(cells)} values; expected {width}, as in the header{hint}"
                )
            time_s = clock.instant_s(where, cells[self.time])
            temperature = number(where, self.header[self.temperature], cells[self.temperature])
            moisture = number(where, self.header[self.moisture], cells[self.moisture])
            dew, humidity = (moisture, None) if self.is_dew_point else (None, moisture)
            yield Row(line_number, time_s, temperature, dew, humidity)


class _Clock:
    """Reads the times of a file, line by line; remembers the line before."""

    def __init__(
        self, name: str, kind: str, timezone: str | None, stated: dt.tzinfo | None
    ) -> None:
        self._name = name
        self._kind = kind
        self._timezone = timezone
        self._stated = stated
        self._last_s: float | None = None
        self._by_place = False

    def notes(self) -> tuple[str, ...]:
        """Say what was assumed."""
        if not self._by_place:
            return ()
        which = "standard time" if self._kind == "standard" else "local time"
        return (f"the weather file's times are read as {which} of {self._timezone}",)

    def instant_s(self, where: str, text: str) -> float:
        """Give the instant of a line [s]."""
        time = iso_time(where, text)
        if time.tzinfo is not None:
            time_s = instant_s(where, time)
        elif self._kind == "utc":
            time_s = instant_s(where, time.replace(tzinfo=dt.UTC))
        else:
            time_s = self._local_s(where, text, time)
        self._last_s = time_s
        return time_s

    def _local_s(self, where: str, text: str, time: dt.datetime) -> float:
        if self._stated is not None:
            return _on_clock_s(where, text, time, self._stated, self._last_s)
        if self._timezone is None:
            raise WeatherError(
                f"{where}: the time {text!r} lacks its zone; expected Z or an offset such as "
                "-04:00 behind it, or the column name time_utc"
            )
        self._by_place = True
        if self._kind == "standard":
            return instant_s(where, time.replace(tzinfo=standard_time(self._timezone, time.year)))
        return _on_clock_s(where, text, time, ZoneInfo(self._timezone), self._last_s)


def _on_clock_s(
    where: str, text: str, time: dt.datetime, zone: dt.tzinfo, last_s: float | None
) -> float:
    """Give the instant of a time on a clock that is put forward and back [s].

    Of the hour that comes twice in autumn, a time that is not after the line before it belongs to
    the second.
    """
    local = time.replace(tzinfo=zone, fold=0)
    first_s = instant_s(where, local)
    try:
        exists = dt.datetime.fromtimestamp(first_s, zone).replace(tzinfo=None) == time
    except (OverflowError, ValueError, OSError):
        raise WeatherError(f"{where}: the year {time.year} is out of range") from None
    if not exists:
        raise WeatherError(
            f"{where}: the time {text!r} is skipped in {zone}, where the clocks are put forward "
            "then; if the file keeps standard time in summer too, say time_standard as the column "
            "name, or time_utc if it keeps UTC"
        )
    second_s = instant_s(where, local.replace(fold=1))
    is_second = second_s > first_s and last_s is not None and first_s <= last_s
    return second_s if is_second else first_s
