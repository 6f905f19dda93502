"""Opening a record's SQLite file: what it must be, and how it is brought up to date."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sqlite3
import stat
from collections.abc import Callable, Sequence
from pathlib import Path
from urllib.parse import quote

from controller.errors import UserError
from controller.interruption import raise_swallowed
from controller.record.guard import (
    ForeignSchemaError,
    StepBudget,
    guard,
    hold_no_trigger,
    hold_schema,
)
from controller.record.in_use import being_read

# "Lwrt": marks a record among other SQLite files.
APPLICATION_ID = 0x4C777274
BUSY_TIMEOUT_S = 5.0
# A commit writes whole pages, and a minute touches the last page of three tables: small pages
# write a third of what SQLite's usual 4096 bytes would, which a memory card feels.
PAGE_SIZE = 1024

IN_DISORDER = (
    "its pages are in such disorder that reading them would not end; put a backup in its place"
)

# A step takes a record from the schema of its index to the next one.
Step = Callable[[sqlite3.Connection], None]


class RecordError(UserError):
    """The record cannot be used as it is; the message says what to do."""


class NotARecordError(RecordError):
    """The file is some other database, or none."""


class NewerRecordError(RecordError):
    """The record was written by a newer version."""


def run_sql(connection: sqlite3.Connection, name: str) -> None:
    """Run a packaged SQL file inside the transaction that is open.

    `executescript` would commit first, and half a migration must never be kept.
    """
    from importlib import resources

    text = resources.files("controller.record").joinpath(name).read_text("utf-8")
    statement = ""
    for line in text.splitlines(keepends=True):  # comments stay: `.schema` then explains itself
        statement += line
        if sqlite3.complete_statement(statement):
            connection.execute(statement)
            statement = ""
    if statement.strip():
        raise ValueError(f"{name} ends in the middle of a statement")


def _first(connection: sqlite3.Connection) -> None:
    run_sql(connection, "schema_1.sql")


def _second(connection: sqlite3.Connection) -> None:
    # How many measurements were tried, beside how many failed; NULL in older rows.
    connection.execute("ALTER TABLE sensor_readings ADD COLUMN attempts INTEGER")


def _third(connection: sqlite3.Connection) -> None:
    # What was learned of the tent, one row a fit; `result` is JSON, units in the keys: `learned`,
    # or `refused` with why.
    connection.execute(
        "CREATE TABLE learnings (id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, "
        "config_id INTEGER REFERENCES configs (id), result TEXT NOT NULL) STRICT"
    )


def _fourth(connection: sqlite3.Connection) -> None:
    # Carbon dioxide by volume, of the sensors that measure it.
    connection.execute("ALTER TABLE sensor_readings ADD COLUMN co2_ppm REAL")


def _sensors_with(connection: sqlite3.Connection, missing: str) -> None:
    connection.execute(
        f"CREATE TEMP VIEW sensor_readings AS SELECT *, {missing} FROM main.sensor_readings"
    )


def _no_learnings(connection: sqlite3.Connection) -> None:
    connection.execute(
        "CREATE TEMP VIEW learnings AS SELECT NULL AS id, NULL AS at_ms, NULL AS config_id, "
        "NULL AS result WHERE 0"
    )


def _first_as_fourth(connection: sqlite3.Connection) -> None:
    _sensors_with(connection, "NULL AS attempts, NULL AS co2_ppm")
    _no_learnings(connection)


def _second_as_fourth(connection: sqlite3.Connection) -> None:
    _third_as_fourth(connection)
    _no_learnings(connection)


def _third_as_fourth(connection: sqlite3.Connection) -> None:
    _sensors_with(connection, "NULL AS co2_ppm")


# STEPS[n] takes schema n to n + 1; 0 is the empty file. Steps are never changed once released.
STEPS: tuple[Step, ...] = (_first, _second, _third, _fourth)

# Readers don't migrate. VIEWS[n] makes a record of the older schema n look like the current one:
# temporary views, which SQLite prefers to the file's own tables of the same name.
VIEWS: dict[int, Step] = {1: _first_as_fourth, 2: _second_as_fourth, 3: _third_as_fourth}


def schema_version(connection: sqlite3.Connection) -> int:
    """The schema's number; 0 for an empty file.

    Raises
    ------
    NotARecordError
        If the database was made by something else.
    """
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if application == APPLICATION_ID:
        if version < 1:
            damage = sqlite3.DatabaseError("database disk image is malformed")
            damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
            raise damage
        return version
    tables: int = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if application == 0 and version == 0 and tables == 0:
        return 0
    raise NotARecordError(
        "this SQLite file is not a record; name another path in the config's record"
    )


def migrate(connection: sqlite3.Connection, steps: Sequence[Step] = STEPS) -> tuple[int, int]:
    """Bring a record up to the newest schema, all in one transaction.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open for writing, with `isolation_level` None.
    steps : sequence of Step
        The steps, from the empty file on.

    Returns
    -------
    tuple of int
        The schema before and after.

    Raises
    ------
    NewerRecordError
        If the record's schema is newer than the last step's.
    NotARecordError
        If the file is some other database.
    ForeignSchemaError
        If an older record is not what its number says.
    """
    target = len(steps)
    connection.execute("BEGIN IMMEDIATE")
    try:
        before = schema_version(connection)
        refuse_newer(before, target)
        if 0 < before < target:  # a broken number would have steps taken twice
            hold_schema(connection, lambda empty: _make(empty, steps[:before]))
        for step in steps[before:]:
            step(connection)
        if before != target:
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {target}")
        connection.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise
    return before, target


def _make(connection: sqlite3.Connection, steps: Sequence[Step]) -> None:
    for step in steps:
        step(connection)


def refuse_newer(version: int, newest: int) -> None:
    """Raise `NewerRecordError` if `version` is past the `newest` known schema."""
    if version > newest:
        raise NewerRecordError(
            f"the record has schema {version}, newer than the {newest} this version knows; "
            "install the version that wrote it, or name another record path in the config"
        )


def open_for_writing(path: Path, *, durable: bool = True) -> sqlite3.Connection:
    """Open or make the record at `path`, migrated.

    Parameters
    ----------
    path : pathlib.Path
        The file; its directory is made if missing.
    durable : bool
        Whether a commit waits for the disk. Only a simulation may do without.

    Raises
    ------
    sqlite3.Error, OSError
        As they come: the caller decides whether to try again.
    RecordError
        If the file must not be written by this version.
    ForeignSchemaError
        If it is not as its number says, or has triggers.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    # A record tells when people are at home: not for everyone's eyes. SQLite gives the files
    # beside it the same mode.
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o640))
    connection = sqlite3.connect(
        path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
    )
    try:
        schema_version(connection)  # before anything is changed in a database that is no record
        connection.execute(f"PRAGMA page_size = {PAGE_SIZE}")  # no effect on a file with content
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'OFF'}")
        connection.execute("PRAGMA foreign_keys = ON")
        # The newest pages stay warm; the rest of memory is the Pi's.
        connection.execute("PRAGMA cache_size = -512")
        # After a checkpoint the log is cut back to this, so that a long-held reader's effect ends.
        connection.execute("PRAGMA journal_size_limit = 4194304")
        migrate(connection)
        hold_schema(connection, lambda empty: _make(empty, STEPS))
        hold_no_trigger(connection)
    except BaseException:
        connection.close()
        raise
    return connection


class ReadOnly:
    """A read-only connection and what has to be tidied up after it."""

    def __init__(
        self, connection: sqlite3.Connection, budget: StepBudget, tidying: contextlib.ExitStack
    ) -> None:
        self.connection = connection
        self.budget = budget
        self._tidying = tidying

    def close(self) -> None:
        """Close, and remove the private copy if one was needed."""
        self._tidying.close()


def _begins_as_database(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(16) == b"SQLite format 3\0"
    except OSError:
        return True  # who knows


def open_for_reading(path: Path) -> ReadOnly:
    """Open the record at `path` without ever writing to it.

    Beside a live writer this is an ordinary WAL reader. In a directory where the reader may not
    create the shared-memory file, a record without a write-ahead log is opened as immutable, and
    one with a log left over from a power cut is read from a private copy of both.

    Raises
    ------
    RecordError
        If there is no record, it is no record, or it is newer than this version.
    """
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):  # opening a pipe would wait for ever
            what = "a folder" if stat.S_ISDIR(mode) else "a pipe or a device"
            raise RecordError(f"{path} is {what}, not a record; name a file")
        for beside in ("-journal", "-wal", "-shm"):  # SQLite opens them as well
            name = path.with_name(path.name + beside)
            if name.exists() and not name.is_file():
                raise RecordError(f"{name} is no file, as SQLite's beside a record are: remove it")
        if not os.access(path, os.R_OK, effective_ids=True):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except FileNotFoundError:
        raise RecordError(
            f"no record yet at {path}: is the path right? The config's own record is made when the "
            "daemon first runs"
        ) from None
    except PermissionError as error:
        raise RecordError(
            f"cannot read the record {path}: {error.strerror}; "
            "read it as root or as a user of the record's group"
        ) from error
    except OSError as error:
        raise RecordError(f"cannot read the record {path}: {error.strerror}") from error
    try:
        with contextlib.ExitStack() as tidying:
            tidying.enter_context(being_read(path))
            try:
                connection, budget = _checked(_connect(path, "mode=ro"), path)
            except sqlite3.OperationalError:
                connection, budget = _checked_alone(path, tidying)
            tidying.callback(connection.close)
            return ReadOnly(connection, budget, tidying.pop_all())
    except ForeignSchemaError as error:
        raise RecordError(
            f"cannot read the record {path}: {error}; it was changed by another program, or made "
            "by one: put a backup in its place"
        ) from error
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_INTERRUPT:
            raise_swallowed()
            raise RecordError(f"cannot read the record {path}: {IN_DISORDER}") from error
        if not _begins_as_database(path):
            raise RecordError(
                f"{path} is no record, nor any database; name another file (should it be the "
                "daemon's own, damaged: it sets it aside at its next start and begins a new one)"
            ) from error
        raise RecordError(
            f"cannot read the record {path}: {error}; if it is damaged, the daemon sets it aside "
            "at its next start and begins a new one, and a backup can be put in its place"
        ) from error
    except MemoryError as error:  # SQLite's, by `guard`
        raise RecordError(
            f"cannot read the record {path}: its schema is far longer than lungwort's; "
            "put a backup in its place"
        ) from error
    except OSError as error:
        raise RecordError(f"cannot read the record {path}: {error.strerror}") from error


def _connect(path: Path, query: str) -> sqlite3.Connection:
    return sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?{query}",
        uri=True,
        timeout=BUSY_TIMEOUT_S,
        isolation_level=None,
        check_same_thread=False,
    )


def _checked_alone(
    path: Path, tidying: contextlib.ExitStack
) -> tuple[sqlite3.Connection, StepBudget]:
    """Open where no shared-memory file can be made beside the record."""
    wal = path.with_name(path.name + "-wal")
    if not (wal.exists() and wal.stat().st_size):
        return _checked(_connect(path, "mode=ro&immutable=1"), path)
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="lungwort-"))
    tidying.callback(shutil.rmtree, folder, ignore_errors=True)
    shutil.copyfile(path, folder / path.name)
    shutil.copyfile(wal, folder / wal.name)
    return _checked(_connect(folder / path.name, "mode=ro"), path, folder / path.name)


def _checked(
    connection: sqlite3.Connection, path: Path, opened: Path | None = None
) -> tuple[sqlite3.Connection, StepBudget]:
    try:
        budget = guard(connection, opened or path)
        version = schema_version(connection)
        if version == 0:
            raise RecordError(f"the record {path} is still empty; the daemon has not written yet")
        refuse_newer(version, len(STEPS))
        hold_schema(connection, lambda empty: _make(empty, STEPS[:version]))
        if version < len(STEPS):
            VIEWS[version](connection)
        connection.execute("SELECT 1 FROM readings LIMIT 1")
    except BaseException:
        connection.close()
        raise
    return connection, budget
