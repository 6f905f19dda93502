"""Writing a record: plain calls, each durable when it returns; the one writer of its file."""

from __future__ import annotations

import contextlib
import json
import math
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import cast

from controller.errors import UserError
from controller.record.database import RecordError, open_for_reading, open_for_writing
from controller.record.rows import ReadingRow, StateRow

# Rows deleted in one transaction: keeps the log short and the next event's wait shorter.
_PRUNE_ROWS = 2000

_COLUMNS = tuple(f.name for f in fields(ReadingRow) if f.name != "sensors")
_INSERT_READING = (
    f"INSERT INTO readings ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))})"
)


def to_json(value: object) -> str:
    """Compact JSON; what JSON has no word for becomes null (NaN) or its text."""
    try:
        return json.dumps(
            value, ensure_ascii=False, separators=(",", ":"), allow_nan=False, default=str
        )
    except ValueError:
        return json.dumps(_finite(value), ensure_ascii=False, separators=(",", ":"), default=str)


def _finite(value: object) -> object:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value


class RecordWriter:
    """The writer of one record. It has no clock: every call gives its time.

    Parameters
    ----------
    path : pathlib.Path
        The file, made if missing and migrated if old.
    durable : bool
        Whether each call waits until the disk has it (never switch that off on a real tent).

    Raises
    ------
    RecordError
        If the file is no record or a newer one.
    sqlite3.Error, OSError
        If it can't be opened; the methods below raise the same when they can't write.
    """

    def __init__(self, path: Path, *, durable: bool = True) -> None:
        self.path = path
        try:
            self._db = open_for_writing(path, durable=durable)
        except RecordError as error:
            raise type(error)(f"{path}: {error.message}", error.status) from error
        try:
            row = self._db.execute(
                "SELECT id, sha256 FROM configs ORDER BY id DESC LIMIT 1"
            ).fetchone()
        except BaseException:  # a damaged page: close the file before anybody opens it again
            self._db.close()
            raise
        self._config_id: int | None = row[0] if row else None
        self._config_sha256: str | None = row[1] if row else None

    def __enter__(self) -> RecordWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Everything written inside is one transaction: all of it is kept, or nothing."""
        if self._db.in_transaction:
            yield
            return
        config = self._config_id, self._config_sha256
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            self._config_id, self._config_sha256 = config
            if self._db.in_transaction:
                with contextlib.suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
            raise

    def event(self, at_ms: int, name: str, level: str = "info", /, **data: object) -> int:
        """Record an event; returns its id.

        Parameters
        ----------
        at_ms : int
            When [Unix ms].
        name : str
            Dotted, past tense: ``fan.changed``.
        level : str
            ``info``, ``warning`` or ``error``.
        **data
            What JSON can hold, with units in the keys.
        """
        cursor = self._db.execute(
            "INSERT INTO events (at_ms, name, level, data) VALUES (?, ?, ?, ?)",
            (at_ms, name, level, to_json(data)),
        )
        return cursor.lastrowid or 0

    def reading(self, row: ReadingRow) -> None:
        """Record one interval with its sensors.

        After a backward clock step an instant can come twice: the later row then moves on by the
        millisecond or so that makes it its own.
        """
        config_id = self._config_id if row.config_id is None else row.config_id
        values = {name: getattr(row, name) for name in _COLUMNS} | {"config_id": config_id}
        with self.together():
            while True:
                try:
                    self._db.execute(_INSERT_READING, tuple(values.values()))
                    break
                except sqlite3.IntegrityError as error:
                    if error.sqlite_errorcode != sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
                        raise
                    values["at_ms"] += 1
            self._db.executemany(
                "INSERT OR REPLACE INTO sensor_readings (at_ms, sensor, temperature_c, "
                "humidity_pct, failures, fault, attempts, co2_ppm) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (
                        values["at_ms"],
                        s.sensor,
                        s.temperature_c,
                        s.humidity_pct,
                        s.failures,
                        s.fault,
                        s.attempts,
                        s.co2_ppm,
                    )
                    for s in row.sensors
                ],
            )

    def save_state(self, key: str, at_ms: int, value: object) -> None:
        """Keep `value`, as JSON, under `key`, instead of what was there."""
        self._db.execute(
            "INSERT INTO state (key, at_ms, value) VALUES (?, ?, ?) ON CONFLICT (key) "
            "DO UPDATE SET at_ms = excluded.at_ms, value = excluded.value",
            (key, at_ms, to_json(value)),
        )

    def load_state(self, key: str) -> object | None:
        """The value last saved under `key`, or None."""
        row = self._db.execute("SELECT value FROM state WHERE key = ?", (key,)).fetchone()
        # A damaged file holds anything.
        with contextlib.suppress(ValueError, TypeError, RecursionError):
            return cast(object, json.loads(row[0])) if row else None
        return None

    def load_states(self) -> list[StateRow]:
        """Every saved value; one that can't be read is left out."""
        rows = []
        for key, at_ms, text in self._db.execute("SELECT key, at_ms, value FROM state"):
            with contextlib.suppress(ValueError, TypeError, RecursionError):
                rows.append(StateRow(key, at_ms, json.loads(text)))
        return rows

    def config(self, at_ms: int, yaml: str, sha256: str) -> int:
        """Say which config is in force from now on; the same one again changes nothing.

        Returns
        -------
        int
            Its id, which later readings carry.
        """
        if self._config_id is None or sha256 != self._config_sha256:
            cursor = self._db.execute(
                "INSERT INTO configs (at_ms, sha256, yaml) VALUES (?, ?, ?)", (at_ms, sha256, yaml)
            )
            self._config_id, self._config_sha256 = cursor.lastrowid or 0, sha256
        return self._config_id

    def learning(self, at_ms: int, result: dict[str, object]) -> None:
        """Record what was learned of the tent, or why nothing could be, under the config in force.

        Parameters
        ----------
        at_ms : int
            When [Unix ms].
        result : dict
            What JSON can hold: `learned`, or `refused`.
        """
        self._db.execute(
            "INSERT INTO learnings (at_ms, config_id, result) VALUES (?, ?, ?)",
            (at_ms, self._config_id, to_json(result)),
        )

    def prune(self, before_ms: int, *, at_most_ms: int | None = None) -> dict[str, int]:
        """Delete readings and events older than `before_ms` [Unix ms].

        Parameters
        ----------
        before_ms : int
            What is older goes [Unix ms].
        at_most_ms : int, optional
            No more than so long a stretch of the record's oldest part [ms].

        Returns
        -------
        dict
            Rows deleted, by table. Their space is used again; the file doesn't shrink.
        """
        if at_most_ms is not None:
            query = "SELECT min(at_ms) FROM readings UNION ALL SELECT min(at_ms) FROM events"
            oldest = [row[0] for row in self._db.execute(query) if row[0] is not None]
            before_ms = min(before_ms, min(oldest, default=before_ms) + at_most_ms)
        gone: dict[str, int] = {}
        for table, key in (
            ("sensor_readings", "at_ms"),
            ("readings", "at_ms"),
            ("events", "id"),
            ("learnings", "id"),
        ):
            gone[table] = 0
            while True:
                cursor = self._db.execute(
                    f"DELETE FROM {table} WHERE {key} IN "
                    f"(SELECT {key} FROM {table} WHERE at_ms < ? ORDER BY at_ms LIMIT ?)",
                    (before_ms, _PRUNE_ROWS),
                )
                gone[table] += cursor.rowcount
                if cursor.rowcount < _PRUNE_ROWS:
                    break
        return gone

    def backup(self, target: Path) -> int:
        """Write a consistent copy to `target`; see `backup_record`."""
        return backup_record(self.path, target)

    def close(self) -> None:
        """Write the write-ahead log back and close the file."""
        # SQLite does so by itself, but only where nobody else has the file open.
        with contextlib.suppress(sqlite3.Error):
            self._db.execute("PRAGMA wal_checkpoint")
        self._db.close()


def backup_record(source: Path, target: Path) -> int:
    """Copy a record, consistent even while its daemon writes on.

    The copy is made beside `target`, checked, flushed to the disk and only then given its name,
    so `target` is always a whole backup: the old one or the new one.

    Parameters
    ----------
    source, target : pathlib.Path
        The record, and the file to make or replace.

    Returns
    -------
    int
        Size of the copy [bytes].

    Raises
    ------
    UserError
        If the copy can't be written; `RecordError` if the record can't be read, or is damaged.
    """
    if target.is_dir():
        target = target / source.name
    if target.exists() and source.exists() and target.samefile(source):
        raise UserError(f"{target} is the record itself; name another file for the copy")
    if target.exists() and not target.is_file():
        raise UserError(f"{target} is no file that a copy could be; name another one")
    target = Path(os.path.realpath(target))  # what a link points to is replaced, not the link
    part = target.with_name(target.name + ".part")
    opened = open_for_reading(source)
    opened.budget.lift()
    try:
        _copy(opened.connection, part)
        size = part.stat().st_size
        part.replace(target)
        _flush(target.parent)
    except OSError as error:
        raise UserError(f"cannot write the backup {target}: {error.strerror}") from error
    except sqlite3.Error as error:
        raise UserError(f"cannot write the backup {target}: {error}") from error
    finally:
        opened.close()
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return size


def _copy(source: sqlite3.Connection, part: Path) -> None:
    part.unlink(missing_ok=True)
    # As private as the record itself.
    os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o640))
    copy = sqlite3.connect(part, isolation_level=None)
    try:
        source.backup(copy)  # one step: one snapshot, whatever the daemon writes meanwhile
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
        verdict = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
    finally:
        copy.close()
    if verdict != "ok":
        raise RecordError(f"the record is damaged ({verdict}); no backup was made")
    _flush(part)


def _flush(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
