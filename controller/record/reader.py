"""Reading a record: beside a live daemon, after a power cut, from an older version."""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import fields
from itertools import islice
from pathlib import Path
from typing import Any, get_args, get_type_hints

from controller.air import saturation_vapour_pressure_pa
from controller.interruption import raise_swallowed
from controller.record.database import IN_DISORDER, RecordError, open_for_reading
from controller.record.guard import LONGEST_TEXT_BYTES
from controller.record.rows import ConfigRow, EventRow, LearningRow, ReadingRow, SensorRow, StateRow

_COLUMNS = tuple(f.name for f in fields(ReadingRow) if f.name != "sensors")
_SELECT_READINGS = f"SELECT {', '.join(_COLUMNS)} FROM readings"
# SQLite's own bounds of an integer: "from ever" and "until ever".
_FIRST_MS, _LAST_MS = -(2**63), 2**63 - 1
# The years 1900 to 8999 as the timetable takes them, a day less at both ends for the zones. What is
# outside was never an instant, but a page that a power cut scrambled, and is left out. With a plus,
# SQLite does not seek by it, which would step over damage unseen.
# The daemon takes configs of 64 KiB; a longer one is cut, and refused by who reads it.
_LONGEST_CONFIG = 65_537
# Of all configs together; one of a tent's has some 3 KiB.
_MOST_OF_CONFIGS = 1 << 24
# More sensors than ever were in a record, through all its configs; a config may have 16.
MOST_SENSORS = 1000
# A sensor's name has 32 characters at most.
_LONGEST_NAME = 65
# So much of what can't be read is shown.
_SHOWN_CHARACTERS = 1000
_RANGE = "at_ms >= ? AND at_ms < ? AND +at_ms BETWEEN -2208902400000 AND 221845305600000"


class RecordReader:
    """A read-only view of one record.

    Ranges are [Unix ms], the start included, the end not. What is streamed is one consistent
    snapshot; separate calls may see what the daemon wrote between them, unless they are made
    inside `snapshot`.

    Parameters
    ----------
    path : pathlib.Path
        The file.

    Raises
    ------
    RecordError
        If there is none, it can't be read, is no record, or was written by a newer version;
        methods raise it too where they come upon a damaged page.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._opened = open_for_reading(path)
        except RecordError as error:
            if str(path) in error.message:
                raise
            raise type(error)(f"{path}: {error.message}", error.status) from error
        self._db = self._opened.connection
        self._budget = self._opened.budget

    def __enter__(self) -> RecordReader:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._opened.close()

    def sql(self, query: str, parameters: Sequence[object] = ()) -> Iterator[tuple[object, ...]]:
        """Rows of a query of your own; the database does the sums."""
        self._budget.renew()
        try:
            # Not `yield from`, which closes the cursor of rows left half read: the file may be
            # closed by then.
            for row in self._db.execute(query, tuple(parameters)):  # noqa: UP028
                yield row
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            raise self._unreadable(error) from error
        except MemoryError as error:  # SQLite's, by `guard`
            raise RecordError(self._too_long()) from error

    def snapshot(self) -> Snapshot:
        """A context in which every call sees the record as it is now."""
        return Snapshot(self._db)

    def latest(self) -> ReadingRow | None:
        """The newest reading with its sensors."""
        query = f"{_SELECT_READINGS} WHERE {_RANGE} ORDER BY at_ms DESC LIMIT 1"
        for row in self.sql(query, _range(None, None)):
            reading = _reading(row)
            sensors = list(islice(self.sensors(reading.at_ms, reading.at_ms + 1), MOST_SENSORS))
            if len(sensors) == MOST_SENSORS:
                raise RecordError(f"cannot read the record {self.path}: {IN_DISORDER}")
            return _reading(row, tuple(sensor for _, sensor in sensors))
        return None

    def readings(
        self, from_ms: int | None = None, until_ms: int | None = None
    ) -> Iterator[ReadingRow]:
        """Readings in order of time, streamed, without their sensors."""
        query = f"{_SELECT_READINGS} WHERE {_RANGE} ORDER BY at_ms"
        return map(_reading, self._ascending(self.sql(query, _range(from_ms, until_ms)), 1))

    def sensors(
        self, from_ms: int | None = None, until_ms: int | None = None, sensor: str | None = None
    ) -> Iterator[tuple[int, SensorRow]]:
        """Each sensor's rows with their instant [Unix ms], streamed; of one sensor if named."""
        query = (
            f"SELECT at_ms, substr(sensor, 1, {_LONGEST_NAME}), temperature_c, humidity_pct, "
            f"failures, fault, attempts, co2_ppm FROM sensor_readings WHERE {_RANGE} "
        )
        parameters: list[object] = list(_range(from_ms, until_ms))
        if sensor is not None:
            query += "AND sensor = ? "
            parameters.append(sensor)
        rows = self.sql(query + "ORDER BY at_ms, sensor", parameters)
        for at_ms, *rest in self._ascending(rows, 2):
            _sound(rest, _SENSOR)
            yield at_ms, SensorRow(*rest)  # type: ignore[arg-type, misc]

    def events(
        self,
        from_ms: int | None = None,
        until_ms: int | None = None,
        names: Collection[str] | None = None,
        *,
        levels: Iterable[str] | None = None,
        after_id: int = 0,
        newest: int | None = None,
    ) -> Iterator[EventRow]:
        """Events in the order in which they were recorded, streamed.

        Parameters
        ----------
        from_ms, until_ms : int, optional
            The range [Unix ms].
        names : collection of str, optional
            Names, or patterns with ``*``, ``?`` and ``[…]``: ``override.*``.
        levels : iterable of str, optional
            Levels.
        after_id : int
            Only events recorded after the one with this id.
        newest : int, optional
            Only so many of those recorded last.
        """
        query = f"SELECT id, at_ms, name, level, data FROM events WHERE {_RANGE}"
        parameters: list[object] = list(_range(from_ms, until_ms))
        if after_id:
            query += " AND id > ?"
            parameters.append(after_id)
        if names is not None:
            # By their index: a name in a thousand is not looked for in all of them.
            patterns = [name for name in names if set(name) & set("*?[")]
            plain = [name for name in names if name not in patterns]
            any_of = [f"name IN ({', '.join('?' * len(plain))})", *["name GLOB ?"] * len(patterns)]
            query += f" AND ({' OR '.join(any_of)})"
            parameters += [*plain, *patterns]
        if levels is not None:
            wanted = list(levels)
            query += f" AND level IN ({', '.join('?' * len(wanted))})"
            parameters += wanted
        if newest is not None:
            query = f"SELECT * FROM ({query} ORDER BY id DESC LIMIT ?)"
            parameters.append(newest)
        rows = self._ascending(self.sql(query + " ORDER BY id", parameters), 1)
        for number, at_ms, name, level, data in rows:
            _sound((at_ms, name, level), _EVENT)
            yield EventRow(number, at_ms, name, level, _object(data))  # type: ignore[arg-type]

    def learnings(self, newest: int | None = None) -> list[LearningRow]:
        """What was learned of the tent, in order of time; only so many of the last if given."""
        query = "SELECT at_ms, config_id, result FROM learnings ORDER BY id DESC"
        if newest is not None:
            query += f" LIMIT {int(newest)}"
        rows = []
        for at_ms, config_id, text in self.sql(query):
            _sound((at_ms, config_id), _LEARNING)
            rows.append(LearningRow(at_ms, config_id, _object(text)))  # type: ignore[arg-type]
        return rows[::-1]

    def hold_sound(self, from_ms: int, until_ms: int) -> None:
        """Raise `RecordError` where a reading has a value that cannot be; for who sums them up."""
        query = f"{_SELECT_READINGS} WHERE {_RANGE} AND NOT ({_SOUND_SQL}) LIMIT 1"
        for row in self.sql(query, _range(from_ms, until_ms)):
            _reading(row)

    def configs(self) -> list[ConfigRow]:
        """Every config in the order in which they came into force."""
        rows = self.sql(
            f"SELECT id, at_ms, sha256, substr(yaml, 1, {_LONGEST_CONFIG}) FROM configs ORDER BY id"
        )
        configs, length = [], 0
        for row in self._ascending(rows, 1):
            configs.append(ConfigRow(*row))  # type: ignore[arg-type]
            length += len(str(configs[-1].yaml))
            if length > _MOST_OF_CONFIGS:
                raise RecordError(self._too_long())
        return configs

    def state(self, key: str) -> StateRow | None:
        """What the daemon last saved under `key`."""
        for at_ms, text in self.sql("SELECT at_ms, value FROM state WHERE key = ?", (key,)):
            try:
                return StateRow(key, at_ms, _decoded(text))  # type: ignore[arg-type]
            except (ValueError, RecursionError):
                return None
        return None

    def span(self) -> tuple[int, int] | None:
        """The ends of the first and the last reading's interval [Unix ms]; None without any."""
        # Two look-ups at the ends of the tree; min and max in one query would walk all of it.
        ends = (
            f"(SELECT at_ms FROM readings WHERE {_RANGE} ORDER BY at_ms {way} LIMIT 1)"
            for way in ("ASC", "DESC")
        )
        query = f"SELECT {', '.join(ends)}"
        for first, last in self.sql(query, 2 * _range(None, None)):
            if first is not None:
                return first, last  # type: ignore[return-value]
        return None

    def _unreadable(self, error: sqlite3.DatabaseError | UnicodeDecodeError) -> Exception:
        if isinstance(error, sqlite3.ProgrammingError):
            return error
        if isinstance(error, sqlite3.OperationalError) and "syntax error" in str(error):
            return error
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_TOOBIG:
            return RecordError(self._too_long())
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_INTERRUPT:
            raise_swallowed()
            return RecordError(f"cannot read the record {self.path}: {IN_DISORDER}")
        return RecordError(f"cannot read the record {self.path}: {error}")

    def _ascending(
        self, rows: Iterable[tuple[object, ...]], columns: int
    ) -> Iterator[tuple[object, ...]]:
        """The same rows; RecordError at one whose first columns, its key, don't come next.

        Pages that refer to one another bring the same rows for ever, in whatever order asked for.
        """
        last: Any = None
        for row in rows:
            key: Any = row[:columns]
            try:
                comes_next = last is None or last < key
            except TypeError:  # a scrambled page: no number, no text
                comes_next = False
            if not comes_next:
                raise RecordError(f"cannot read the record {self.path}: {IN_DISORDER}")
            last = key
            yield row

    def _too_long(self) -> str:
        return (
            f"cannot read the record {self.path}: it holds texts far longer than any that "
            "lungwort writes; put a backup in its place"
        )


class Snapshot:
    """One read transaction, as a context."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection

    def __enter__(self) -> None:
        self._db.execute("BEGIN")

    def __exit__(self, *_: object) -> None:
        if self._db.in_transaction:  # SQLite ends it by itself where memory ran out
            self._db.execute("ROLLBACK")


def _range(from_ms: int | None, until_ms: int | None) -> tuple[int, int]:
    return (
        _FIRST_MS if from_ms is None else min(max(from_ms, _FIRST_MS), _LAST_MS),
        _LAST_MS if until_ms is None else min(max(until_ms, _FIRST_MS), _LAST_MS),
    )


def _kinds(row: type, names: Sequence[str]) -> tuple[tuple[type, ...], ...]:
    """The types that SQLite gives for a row's columns while its page is sound."""
    hints = get_type_hints(row)
    kinds = (get_args(hints[name]) or (hints[name],) for name in names)
    return tuple(tuple(int if kind is bool else kind for kind in types) for types in kinds)


# From and to, by the ends of the columns' names: wider than any sensor, fan or interval of the
# daemon's, and narrow enough for all that is worked out from them: a tent is modelled from -60 to
# 140 °C, an interval lasts an hour, or half as long again.
_RANGES = (
    ("_ms", -(2.0**63), 2.0**63),
    ("dew_point_c", -100.0, 140.0),
    ("_c", -55.0, 140.0),
    ("humidity_pct", 0.0, 100.0),
    ("humidity_min_pct", 0.0, 100.0),
    ("humidity_max_pct", 0.0, 100.0),
    ("_ppm", 0.0, 1e6),
    ("_pa", -1e6, 1e6),
    ("fan_speed", 0.0, 1.0),
    ("interval_s", 1e-6, 20_000.0),
    ("_s", 0.0, 20_000.0),
    ("_rpm", 0.0, 1e6),
)
# Of an infrared thermometer, which may look at a lamp.
_SENSOR_RANGES = (("_c", -100.0, 400.0), *_RANGES)
# More vapour than that no tent holds, and at 3000 m no air [Pa]; 100 % at 81 °C. A sensor that a
# fire or a fault drives to its ends says more.
_MOST_VAPOUR_PA = 50_000.0
_ANY = (-math.inf, math.inf)

_Expected = tuple[tuple[type, ...], float, float]


def _expected(
    row: type, names: Sequence[str], of_ends: Sequence[tuple[str, float, float]] = _RANGES
) -> tuple[_Expected, ...]:
    """Types and range of a row's columns."""
    ranges = [
        next(((low, high) for end, low, high in of_ends if name.endswith(end)), _ANY)
        for name in names
    ]
    return tuple((kind, *span) for kind, span in zip(_kinds(row, names), ranges, strict=True))


_READING = _expected(ReadingRow, _COLUMNS)
_SENSOR = _expected(SensorRow, SensorRow._fields, _SENSOR_RANGES)
_EVENT: tuple[_Expected, ...] = (((int,), *_ANY), ((str,), *_ANY), ((str,), *_ANY))
_LEARNING: tuple[_Expected, ...] = (((int,), *_ANY), ((int, type(None)), *_ANY))


# The same in SQL, a hundred times as fast; of a column that may be NULL, NULL is as good as true.
_SOUND_SQL = " AND ".join(
    f"{name} BETWEEN {low!r} AND {high!r}"
    for name, (kinds, low, high) in zip(_COLUMNS, _READING, strict=True)
    if float in kinds
)


def _sound(row: Sequence[object], expected: tuple[_Expected, ...]) -> None:
    """Raise `RecordError` where a value is none that the schema allows, or that can be."""
    for value, (kinds, low, high) in zip(row, expected, strict=True):
        if type(value) not in kinds or (
            type(value) is float and not low <= value <= high  # NaN can't be either
        ):
            raise RecordError(f"the record is damaged: {value!r:.40} stands where none can")


def _reading(row: tuple[object, ...], sensors: tuple[SensorRow, ...] = ()) -> ReadingRow:
    _sound(row, _READING)
    values: dict[str, Any] = dict(zip(_COLUMNS, row, strict=True))
    for name in ("lamp_on", "in_fan_hours", "locked_out"):  # SQLite has no booleans
        values[name] = bool(values[name])
    for place in ("tent", "intake"):
        temperature_c, humidity = values[f"{place}_temperature_c"], f"{place}_humidity_pct"
        if temperature_c is not None and temperature_c > 80.0 and values[humidity] is not None:
            most_pct = 100.0 * _MOST_VAPOUR_PA / saturation_vapour_pressure_pa(temperature_c)
            values[humidity] = min(values[humidity], most_pct)
    return ReadingRow(**values, sensors=sensors)


def _object(text: object) -> dict[str, object]:
    """An event's data; a page that a power cut scrambled must not stop the reading of the rest."""
    try:
        value = _decoded(text)
    except (ValueError, RecursionError):
        value = None
    return value if isinstance(value, dict) else {"unreadable": str(text)[:_SHOWN_CHARACTERS]}


def _decoded(text: object) -> object:
    """A JSON value; ValueError where it is none, or too long to be of the daemon's."""
    if len(str(text)) > LONGEST_TEXT_BYTES:
        raise ValueError("longer than anything that is written")
    value: object = json.loads(str(text))
    return value
