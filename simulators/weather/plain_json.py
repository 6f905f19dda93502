"""Weather as JSON: the same columns as in a plain CSV, as objects or as lists."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator
from typing import Any

from simulators.weather.plain_csv import COLUMNS, read_table
from simulators.weather.series import Weather, WeatherError

_ENTRY = re.compile(r'"(?:[^"\\]|\\.)*"|[^\s,\[\]]+')
_SPACE_OR_COMMA = re.compile(r"[\s,]*")
_SHORTEST_UNIX_S = 1e8

_FORMS = (
    'expected a list of objects, [{"time": …, "temperature_c": …, "dew_point_c": …}, …], or an '
    'object of lists, {"time": […], "temperature_c": […], …}, there or one level down, with '
    "units in the names or in an object of units beside it"
)

# A line of the file, and the entry's values as a CSV would write them.
_Entry = tuple[int, list[str]]


def is_json(text: str) -> bool:
    """Whether a text looks like JSON; no CSV begins with a bracket."""
    return text.lstrip()[:1] in ("[", "{")


def read_plain_json(name: str, text: str, timezone: str | None) -> Weather:
    """Read a JSON file; names and units of its columns are those of `plain_csv.COLUMNS`.

    Parameters
    ----------
    timezone : str or None
        IANA name of the zone of times without one; None refuses them.

    Raises
    ------
    WeatherError
        With the line.
    """
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        raise WeatherError(f"{name}:{error.lineno}: not JSON: {error.msg}") from None
    except (RecursionError, ValueError):  # a number of thousands of digits
        raise WeatherError(f"{name}:1: no weather; {_FORMS}") from None
    if isinstance(data, list):
        header, entries = _of_objects(name, text, data)
        return read_table(name, f"{name}:1", header, entries, timezone, [])
    table = _table(data)
    if table is None:
        raise WeatherError(f"{name}:1: no times found; {_FORMS}.\n{COLUMNS}")
    header, entries = _of_lists(name, text, table, _units(data, table))
    zones = [
        f"{key},{data[key]}"
        for key in ("utc_offset_seconds", "timezone")
        if isinstance(data.get(key), int | float | str)
    ]
    return read_table(name, f"{name}:1", header, entries, timezone, zones)


def _of_objects(name: str, text: str, data: list[Any]) -> tuple[list[str], Iterator[_Entry]]:
    if not data or not all(isinstance(entry, dict) for entry in data):
        raise WeatherError(f"{name}:1: not a list of objects; {_FORMS}")
    header = [str(key) for key in data[0]]

    def entries() -> Iterator[_Entry]:
        decoder, at, line, counted = json.JSONDecoder(), text.index("[") + 1, 1, 0
        for entry in data:
            match = _SPACE_OR_COMMA.match(text, at)
            at = at if match is None else match.end()
            line += text.count("\n", counted, at)
            counted = at
            yield line, [_cell(entry.get(key)) for key in header]
            _, at = decoder.raw_decode(text, at)

    return header, entries()


def _of_lists(
    name: str, text: str, table: dict[str, list[Any]], units: dict[str, str]
) -> tuple[list[str], Iterator[_Entry]]:
    lengths = {key: len(values) for key, values in table.items()}
    if len(set(lengths.values())) != 1:
        shown = ", ".join(f"{key} {length}" for key, length in lengths.items())
        raise WeatherError(f"{name}:1: lists of different lengths: {shown[:200]}")
    first = next(iter(table))
    header = [f"{key} ({units[key]})" if key in units else key for key in table]
    key = json.dumps(first, ensure_ascii=False)
    at = max(0, text.find("[", text.find(key) + len(key)))

    def entries() -> Iterator[_Entry]:
        line, counted = text.count("\n", 0, at) + 1, at
        places = _ENTRY.finditer(text, at)
        for values, place in zip(zip(*table.values(), strict=True), places, strict=False):
            line += text.count("\n", counted, place.start())
            counted = place.start()
            yield line, [_cell(value) for value in values]

    return header, entries()


def _table(data: Any) -> dict[str, list[Any]] | None:
    """The object of lists: the whole, or the first below it that has times."""
    if not isinstance(data, dict):
        return None
    for candidate in (data, *data.values()):
        if isinstance(candidate, dict):
            lists = {str(k): v for k, v in candidate.items() if isinstance(v, list)}
            if any(key.lower().startswith("time") for key in lists):
                return lists
    return None


def _units(data: dict[str, Any], table: dict[str, list[Any]]) -> dict[str, str]:
    """Units given in an object beside the lists, by column; times have none."""
    for candidate in data.values():
        if isinstance(candidate, dict) and set(table) <= set(candidate):
            units = {key: candidate[key] for key in table}
            if all(isinstance(unit, str) for unit in units.values()):
                return {key: unit for key, unit in units.items() if not key.startswith("time")}
    return {}


def _cell(value: Any) -> str:
    """A value as a CSV writes it; a large number where a time stands is seconds of Unix."""
    if value is None:
        return ""
    if isinstance(value, int | float) and not isinstance(value, bool) and value > _SHORTEST_UNIX_S:
        try:
            return dt.datetime.fromtimestamp(value, dt.UTC).isoformat()
        except (OverflowError, ValueError, OSError):
            return str(value)
    return str(value)
