"""Records made to keep a reader busy, to fill its memory, or to trip it."""

from __future__ import annotations

import hashlib
import itertools
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from record_builders import START_MS

from controller.record import ReadingRow, RecordWriter
from controller.record.rows import SensorRow

ROOT = Path(__file__).parent.parent.parent
CONFIG = ROOT / "config" / "chillies.yaml"
LONG = 24_000_000  # characters: far past every bound, and quick to write

_EMPTY_LEAF = bytes([0x0D, 0, 0, 0, 0, 0, 0, 0])
_ENDLESS = "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"


def plain_record(path: Path, hours: int = 8) -> None:
    """A sound record of some hours of the example's tent."""
    text = CONFIG.read_text("utf-8")
    with RecordWriter(path, durable=False) as writer, writer.together():
        writer.config(START_MS, text, hashlib.sha256(text.encode()).hexdigest())
        for minute in range(1, 60 * hours):
            at_ms = START_MS + 60_000 * minute
            row = ReadingRow(
                at_ms=at_ms, interval_s=60.0, tent_temperature_c=24.0 + minute % 7,
                tent_humidity_pct=55.0, tent_vpd_pa=1300.0, intake_temperature_c=20.0,
                intake_humidity_pct=50.0, fan_speed=0.6, fan_on_s=60.0, lamp_on=True,
                lamp_on_s=60.0, in_fan_hours=True, rule="schedule",
                sensors=(SensorRow("canopy", 24.0, 55.0, 0, None, 24),),
            )  # fmt: skip
            writer.reading(row)
            if minute % 10 == 0:
                writer.event(at_ms, "fan.changed", speed=0.6)


def changed(*statements: str) -> Callable[[Path], None]:
    """Change a record by SQL."""

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            for statement in statements:
                db.execute(statement)

    return change


def endless_view(table: str) -> Callable[[Path], None]:
    """A view without end in place of a table."""
    return changed(
        f"ALTER TABLE {table} RENAME TO old_{table}",
        f"CREATE VIEW {table} AS {_ENDLESS} SELECT o.* FROM old_{table} o, n",
    )


def long_text(statement: str) -> Callable[[Path], None]:
    """Put in a text of `LONG` characters where the statement has a question mark."""

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute(statement, ("[" * LONG,))

    return change


def fanned_pages(table: str) -> Callable[[Path], None]:
    """Pages of a table that refer to one another so often that to walk them takes for ever.

    Interior pages of a table's tree: https://www.sqlite.org/fileformat.html#b_tree_pages.
    """

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA journal_mode = DELETE")
            query = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
            (root,) = db.execute(query, (table,)).fetchone() or (1,)
            (size,) = db.execute("PRAGMA page_size").fetchone()
        data = bytearray(path.read_bytes())
        leaf, pages = data[(root - 1) * size : root * size], len(data) // size
        if root == 1:
            leaf = bytearray(_EMPTY_LEAF.ljust(size, b"\0"))
            leaf[5:7] = size.to_bytes(2, "big")
        chain = [root, *range(pages + 1, pages + 9)]
        data += bytes(8 * size)
        data[28:32] = (pages + 8).to_bytes(4, "big")  # the header's count of pages
        for page, child in itertools.pairwise(chain):
            at = 100 if page == 1 else 0  # the first page begins with the file's header
            page_start = (page - 1) * size
            data[page_start + at : page_start + size] = _interior(size, child, at)
        data[-size:] = leaf
        path.write_bytes(data)

    return change


def _interior(size: int, child: int, at: int) -> bytes:
    """An interior page all of whose cells lead to one child, from its byte `at` on."""
    count = 100
    cells = [child.to_bytes(4, "big") + bytes([key]) for key in range(1, count + 1)]
    content = b"".join(cells)
    start = size - len(content)
    header = bytes([0x05, 0, 0]) + count.to_bytes(2, "big") + start.to_bytes(2, "big") + b"\0"
    header += child.to_bytes(4, "big")
    pointers = b"".join((start + 5 * n).to_bytes(2, "big") for n in range(count))
    return (header + pointers).ljust(start - at, b"\0") + content


def at_latest(sensors: str) -> Callable[[Path], None]:
    """Put sensors at the newest reading: each `name` of a query."""
    return changed(
        "INSERT INTO sensor_readings (at_ms, sensor, temperature_c, humidity_pct, failures, "
        "attempts) SELECT (SELECT max(at_ms) FROM readings), name, 24.0, 55.0, 0, 24 "
        f"FROM {sensors}"
    )


def rebuilt(pragma: str) -> Callable[[Path], None]:
    """The same record in a file of another form."""

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            script = "\n".join(db.iterdump())
            (version,) = db.execute("PRAGMA user_version").fetchone()
            (application,) = db.execute("PRAGMA application_id").fetchone()
        path.unlink()
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA synchronous = OFF")
            db.execute(pragma)
            db.executescript(script)
            db.execute(f"PRAGMA user_version = {version}")
            db.execute(f"PRAGMA application_id = {application}")

    return change


def views(count: int, characters: int) -> Callable[[Path], None]:
    """Other things in the schema: so many, each so long."""

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA writable_schema = ON")
            db.execute("BEGIN")
            for n in range(count):
                sql = f"CREATE VIEW v{n} AS SELECT '{'x' * characters}'"
                row = (f"v{n}", f"v{n}", sql)
                db.execute("INSERT INTO sqlite_schema VALUES ('view', ?, ?, 0, ?)", row)
            db.execute("COMMIT")

    return change


def log_of_another(path: Path) -> None:
    """Lay the write-ahead log of another database beside a record."""
    other = path.with_name("other.sqlite3")
    with closing(sqlite3.connect(other, isolation_level=None)) as db:
        db.execute("PRAGMA page_size = 1024")
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("CREATE TABLE readings (x)")
        shutil.copyfile(f"{other}-wal", f"{path}-wal")


EVENT = "INSERT INTO events (at_ms, name, level, data) VALUES"
AT_MS = START_MS + 3_600_000

_END = "(SELECT {}(at_ms) FROM readings)"

HOSTILE: dict[str, Callable[[Path], None]] = {
    "endless readings": endless_view("readings"),
    "endless events": endless_view("events"),
    "endless state": endless_view("state"),
    "endless configs": endless_view("configs"),
    "endless sensors": endless_view("sensor_readings"),
    "long event": long_text(f"{EVENT} ({AT_MS}, 'fan.changed', 'info', ?)"),
    "long event name": long_text(f"{EVENT} ({AT_MS}, ?, 'info', '{{}}')"),
    "long config": long_text("UPDATE configs SET yaml = ?"),
    "long state": long_text("INSERT INTO state VALUES ('now', 1, ?)"),
    "long alarms": long_text("INSERT INTO state VALUES ('alarms', 1, ?)"),
    "deep event": changed(f"{EVENT} ({AT_MS}, 'fan.changed', 'info', printf('%.*c', 900000, '['))"),
    "deep state": changed("INSERT INTO state VALUES ('now', 1, printf('%.*c', 900000, '['))"),
    "hot": changed("UPDATE readings SET tent_temperature_c = 1e308"),
    "hot for a minute": changed(
        f"UPDATE readings SET intake_temperature_c = 1e308 WHERE at_ms = {AT_MS}"
    ),
    "infinitely hot": changed("UPDATE readings SET tent_temperature_c = -9e999"),
    "endless interval": changed("UPDATE readings SET interval_s = 1e300"),
    "speed past all": changed("UPDATE readings SET fan_speed = 1e200, fan_rpm = -1e200"),
    "hot sensors": changed("UPDATE sensor_readings SET temperature_c = 1e308, humidity_pct = -9e9"),
    "status out of time": changed(
        "INSERT INTO state VALUES ('now', 1, '{\"at_ms\": 1e400, \"speed\": 1e400, "
        "\"reasons\": [], \"lamp_on\": 1, \"in_fan_hours\": 1, "
        "\"next_change\": {\"at_ms\": 99999999999999999, \"what\": [\"x\"]}}')"
    ),
    "sensors without end": at_latest(
        "(WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 50000) "
        "SELECT 'sensor_' || i AS name FROM n)"
    ),
    "air that can't be": changed(
        "UPDATE readings SET intake_temperature_c = 135.0, intake_humidity_pct = 100.0"
    ),
    "no intervals": changed("UPDATE readings SET interval_s = 0, fan_on_s = 0, lamp_on_s = 0"),
    "ends of time": changed(
        f"UPDATE readings SET at_ms = 253402214399000 WHERE at_ms = {_END.format('max')}",
        f"UPDATE readings SET at_ms = -62135510399000 WHERE at_ms = {_END.format('min')}",
    ),
    "fanned schema": fanned_pages("sqlite_schema"),
    "fanned readings": fanned_pages("readings"),
    "fanned events": fanned_pages("events"),
    "fanned configs": fanned_pages("configs"),
}  # fmt: skip

# What is refused when it is opened, whichever command asks; and words of why.
REFUSED: dict[str, tuple[Callable[[Path], None], str]] = {
    "generated column": (
        changed("ALTER TABLE readings ADD COLUMN more TEXT AS (printf('%.*c', 1000000000, 'x'))"),
        "its table readings is not as lungwort makes it",
    ),
    "full-text table": (
        changed("DROP TABLE readings", "CREATE VIRTUAL TABLE readings USING fts5 (at_ms)"),
        "its table readings is not as lungwort makes it",
    ),
    "view of itself": (
        changed("DROP TABLE readings", "CREATE VIEW readings AS SELECT * FROM readings"),
        "readings is a view in it",
    ),
    "one long schema": (views(1, 9_000_000), "string or blob too big"),
    "schema of thousands": (views(20_000, 1), "reading them would not end"),
    "another program's": (changed("PRAGMA application_id = 1"), "is not a record"),
    "log of another": (log_of_another, "is not a record"),
    "folder": (lambda path: path.mkdir(), "is a folder"),
    "pipe": (os.mkfifo, "is a pipe or a device"),
    "device": (lambda path: path.symlink_to("/dev/zero"), "is a pipe or a device"),
    "circle": (lambda path: path.symlink_to(path), "Too many levels of symbolic links$"),
    "pipe for its journal": (
        lambda path: os.mkfifo(f"{path}-journal"), "tent.sqlite3-journal is no file"
    ),
    "device for its log": (
        lambda path: Path(f"{path}-wal").symlink_to("/dev/zero"), "tent.sqlite3-wal is no file"
    ),
}  # fmt: skip
IN_ITS_PLACE = {"folder", "pipe", "device", "circle"}

# What is a record all the same.
SOUND: dict[str, Callable[[Path], None]] = {
    "large pages": rebuilt("PRAGMA page_size = 65536"),
    "other encoding": rebuilt("PRAGMA encoding = 'UTF-16'"),
    "trigger": changed(
        "CREATE TRIGGER more AFTER INSERT ON events BEGIN DELETE FROM readings; END"
    ),
    "nested events": changed(
        *(
            f"{EVENT} ({AT_MS}, 'fan.changed', 'info', '{'[' * depth + ']' * depth}')"
            for depth in (900, 980, 100_000)
        )
    ),
}
