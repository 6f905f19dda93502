"""Guards of a reader against a record that was broken, or made to do harm.

A record may come from anybody who asks what went wrong in his tent. SQLite runs what a file's
schema says: a view in place of a table can keep a query busy for ever, one value can fill the
memory, and pages
that refer to each other in a ring or a fan can be walked without end. So before anything is
read from a record, its schema must be ours, and what a query may take is bounded.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

# What SQLite may take of the memory [bytes]: a value is loaded whole where its key is looked for.
_MOST_MEMORY_BYTES = 1 << 27
# The longest text of an event or a state that is read [bytes]. The daemon takes configs of 64 KiB,
# and no event of its comes near that.
LONGEST_TEXT_BYTES = 1 << 20
# The longest value that SQLite hands over [bytes]: a review's list of its hours, some 30 bytes
# each, passes through it as well.
_LONGEST_VALUE_BYTES = 1 << 23
# Steps of SQLite's virtual machine that a query may take: so many, and so many for each byte of the
# file. A review's heaviest query takes two steps a byte
# (a season of noisy minutes), and a second has tens of millions.
_LEAST_STEPS = 20_000_000
_STEPS_PER_BYTE = 16
# From one look at the count to the next; before its first query a record may not take so many. Some
# ten steps an object, and SQLite's time goes with the square of their number: 100,000 take 10 s.
_STEPS_A_LOOK = 100_000


class ForeignSchemaError(sqlite3.DatabaseError):
    """The file's schema is not the one that its number says."""


def hold_schema(connection: sqlite3.Connection, make: Callable[[sqlite3.Connection], None]) -> None:
    """Compare the file's tables and indexes with ours.

    What else somebody has put into the file is left alone: no query asks for it.

    Parameters
    ----------
    connection : sqlite3.Connection
        The record.
    make : callable
        Makes a record of the schema that the file says it has, in an empty database.

    Raises
    ------
    ForeignSchemaError
        If a table or index of ours is missing, or is something else.
    """
    with sqlite3.connect(":memory:", isolation_level=None) as sample:
        make(sample)
        wanted = _objects(sample)
    sample.close()
    objects = _objects(connection)
    for name, (kind, table, sql) in wanted.items():
        there = objects.get(name)
        if there is None:
            raise ForeignSchemaError(f"its {kind} {name} is missing")
        if there[0] != kind:
            raise ForeignSchemaError(f"{name} is a {there[0]} in it, where a {kind} has to be")
        if there != (kind, table, sql):
            raise ForeignSchemaError(f"its {kind} {name} is not as lungwort makes it")


def hold_no_trigger(connection: sqlite3.Connection) -> None:
    """Raise `ForeignSchemaError` where writing would set off what somebody put into the file."""
    query = "SELECT name FROM main.sqlite_schema WHERE type = 'trigger' LIMIT 1"
    for (name,) in connection.execute(query):
        raise ForeignSchemaError(f"it has a trigger, {name}")


def _objects(connection: sqlite3.Connection) -> dict[str, tuple[str, str, str]]:
    rows = connection.execute("SELECT name, type, tbl_name, sql FROM main.sqlite_schema")
    return {
        str(name).lower(): (str(kind), str(table), _plain(sql)) for name, kind, table, sql in rows
    }


def _plain(sql: object) -> str:
    """A statement without comments, whose words have changed, and with single blanks."""
    return " ".join(re.sub(r"--[^\n]*", " ", str(sql or "")).split())


class StepBudget:
    """Ends a query that takes more steps than a file of its size can need.

    Parameters
    ----------
    connection : sqlite3.Connection
        The record.
    path : pathlib.Path
        Its file.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._files = (path, path.with_name(path.name + "-wal"))
        self._taken = 0
        self._is_opening = True
        connection.set_progress_handler(self._count, _STEPS_A_LOOK)

    def renew(self) -> None:
        """Begin a query."""
        self._taken = 0
        self._is_opening = False

    def lift(self) -> None:
        """End the bound, for what reads the whole file page by page."""
        self._connection.set_progress_handler(None, 0)

    def _count(self) -> bool:
        if self._is_opening:  # our schema takes a few hundred
            return True
        self._taken += _STEPS_A_LOOK
        # A review asks 12,000 questions; only of a long one the file's size matters.
        return self._taken > _LEAST_STEPS and (
            self._taken > _LEAST_STEPS + _STEPS_PER_BYTE * sum(map(_size, self._files))
        )


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def guard(connection: sqlite3.Connection, path: Path) -> StepBudget:
    """Bound what a file can make SQLite do; before anything is read from it.

    Parameters
    ----------
    connection : sqlite3.Connection
        The record.
    path : pathlib.Path
        Its file.
    """
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_VALUE_BYTES)
    budget = StepBudget(connection, path)  # at once: a schema can have no end either
    # Functions with side effects don't run from a schema; cells are checked before they are used.
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    connection.execute(f"PRAGMA hard_heap_limit = {_MOST_MEMORY_BYTES}")
    return budget
