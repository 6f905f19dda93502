"""Faults of a record's file, by what helps against them."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path

from controller.record.database import RecordError, open_for_reading
from controller.record.guard import ForeignSchemaError
from controller.record.in_use import is_unread

# SQLite's primary result codes, https://www.sqlite.org/rescode.html.
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}

# Damage that has no code of its own: Python's finding, a header from no version of SQLite, and a
# schema that is not what its number says.
_DAMAGE_WORDS = (
    "decode to UTF-8",
    "unsupported file format",
    "no such table",
    "no such column",
    "has no column named",
)


class DamageFoundError(sqlite3.DatabaseError):
    """An integrity check found the file damaged."""


def is_damage(error: BaseException | None) -> bool:
    """Whether the file itself is broken: then only a new one helps."""
    # Python's sqlite3 can't even say what is wrong if the message quotes a scrambled page.
    if isinstance(error, DamageFoundError | ForeignSchemaError | UnicodeDecodeError):
        return True
    if isinstance(error, sqlite3.OperationalError) and any(w in str(error) for w in _DAMAGE_WORDS):
        return True
    # The low byte is the primary code, the rest is detail.
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return isinstance(error, sqlite3.DatabaseError) and code in _DAMAGED


def is_of_the_disk(error: Exception) -> bool:
    """Whether trying again later can help, rather than leaving out what was to be written."""
    if isinstance(error, sqlite3.Error):
        return not isinstance(error, sqlite3.IntegrityError | sqlite3.ProgrammingError)
    return isinstance(error, OSError | RecordError | MemoryError | UnicodeDecodeError)


def words_of(error: Exception) -> str:
    """The error in words, without its class."""
    if isinstance(error, OSError):
        return error.strerror or str(error)
    if isinstance(error, UnicodeDecodeError):
        return "database disk image is malformed"
    return str(error) or type(error).__name__


def damage_in(path: Path) -> str | None:
    """Read the whole file beside its writer; what is wrong with it, or None.

    Takes seconds for years of readings on a memory card. A file that can't be opened for another
    reason is not called damaged.
    """
    try:
        opened = open_for_reading(path)
        opened.budget.lift()
        try:
            verdict = str(opened.connection.execute("PRAGMA quick_check(1)").fetchone()[0])
        finally:
            opened.close()
    except RecordError as error:
        return error.message if is_damage(error.__cause__) else None
    except (sqlite3.Error, UnicodeDecodeError) as error:
        return words_of(error) if is_damage(error) else None
    return None if verdict == "ok" else verdict


def ended_unclean(path: Path) -> bool:
    """Whether a write-ahead log was left over, as by a power cut or a kill."""
    try:
        return path.with_name(path.name + "-wal").stat().st_size > 0
    except OSError:
        return False


def inodes_of(path: Path) -> tuple[object, ...]:
    """Which files the names of a record, its log and the log's index stand for; None for none."""
    inodes: list[object] = []
    for suffix in ("", "-wal", "-shm"):
        try:
            status = path.with_name(path.name + suffix).stat()
        except OSError:
            inodes.append(None)
        else:
            inodes.append((status.st_dev, status.st_ino))
    return tuple(inodes)


def set_aside(path: Path, now_ms: int, why: str = "corrupt") -> Path | None:
    """Move a record out of the way, its log with it, so that a new one can begin.

    Returns
    -------
    pathlib.Path or None
        Where it is now, ``NAME.WHY-TIME``; None if it can't be moved, or not yet, since this
        process reads it. A damaged one is for `sqlite3 FILE .recover`.
    """
    now = dt.datetime.fromtimestamp(now_ms / 1000, dt.UTC)
    aside = path.with_name(f"{path.name}.{why}-{now:%Y%m%dT%H%M%SZ}")
    try:
        with is_unread(path) as may_move:
            if not may_move:
                return None
            # The log first: left behind, it would be replayed into the new file.
            for suffix in ("-wal", "-shm", ""):
                old = path.with_name(path.name + suffix)
                if old.exists():
                    old.replace(aside.with_name(aside.name + suffix))
    except OSError:
        return None
    return aside
