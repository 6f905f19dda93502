"""Records of every earlier schema are brought up to date; those of later ones are refused."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from record_builders import START_MS

from controller.record import NewerRecordError, RecordReader, RecordWriter, database
from controller.record.database import APPLICATION_ID, STEPS, migrate, run_sql, schema_version
from controller.record.rows import ReadingRow, SensorRow


def connect(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, isolation_level=None)


def shape(db: sqlite3.Connection) -> set[tuple[str, str]]:
    return {
        (table, column)
        for (table,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
        for _, column, *_ in db.execute(f"PRAGMA table_info({table})")
    }


# A later version of the program, for the tests of the machinery: two more schemas.
def _add_co2(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE readings ADD COLUMN co2_ppm REAL")


def _rename_rule(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE readings RENAME COLUMN rule TO ruling")
    db.execute("UPDATE readings SET ruling = upper(ruling)")


LATER = (*STEPS, _add_co2, _rename_rule)


@pytest.mark.parametrize("version", range(len(STEPS)))
def test_every_earlier_schema_is_brought_to_the_current_one(tmp_path: Path, version: int) -> None:
    fresh, old = connect(tmp_path / "fresh"), connect(tmp_path / "old")
    migrate(fresh)
    if version:
        migrate(old, STEPS[:version])
    assert migrate(old) == (version, len(STEPS))
    assert shape(old) == shape(fresh)
    assert schema_version(old) == len(STEPS)
    old.close()
    fresh.close()


@pytest.mark.parametrize("version", range(len(LATER)))
def test_a_later_program_takes_every_earlier_record_with_its_rows(
    tmp_path: Path, version: int
) -> None:
    db = connect(tmp_path / "old")
    if version:
        migrate(db, LATER[:version])
        db.execute(
            "INSERT INTO readings (at_ms, interval_s, fan_speed, fan_on_s, lamp_on, lamp_on_s, "
            f"in_fan_hours, {'ruling' if version == len(LATER) else 'rule'}, locked_out) "
            "VALUES (1, 60, 0, 0, 0, 0, 0, 'purge', 0)"
        )
    newest = len(LATER)
    assert migrate(db, LATER) == (version, newest)
    rows = db.execute("SELECT at_ms, ruling, co2_ppm FROM readings").fetchall()
    assert rows == ([(1, "PURGE" if version < newest else "purge", None)] if version else [])
    assert migrate(db, LATER) == (newest, newest)
    db.close()


def test_a_migration_that_fails_half_way_changes_nothing(tmp_path: Path) -> None:
    def breaks(db: sqlite3.Connection) -> None:
        db.execute("ALTER TABLE readings ADD COLUMN half REAL")
        raise OSError("power cut")

    db = connect(tmp_path / "old")
    migrate(db)
    before = shape(db)
    with pytest.raises(OSError, match="power cut"):
        migrate(db, (*STEPS, _add_co2, breaks))
    assert shape(db) == before
    assert schema_version(db) == len(STEPS)
    db.close()


def test_a_newer_record_is_refused_with_what_to_do_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    db = connect(path)
    migrate(db, LATER)
    db.close()
    before = path.read_bytes()
    for opened in (RecordReader, RecordWriter):
        with pytest.raises(NewerRecordError, match=r"tent\.sqlite3.*schema 6, newer than the 4"):
            opened(path)
    with closing(connect(path)) as db:
        assert schema_version(db) == len(LATER)
    assert path.read_bytes()[100:] == before[100:]


def test_a_reader_sees_an_older_record_in_the_current_shape_without_changing_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "tent.sqlite3"
    with RecordWriter(path) as writer:
        writer.event(START_MS, "test.old", speed=0.5)

    def as_current(db: sqlite3.Connection) -> None:
        db.execute("CREATE TEMP VIEW events AS SELECT id, at_ms, upper(name) AS name, level, data "
                   "FROM main.events")  # fmt: skip

    monkeypatch.setattr(database, "STEPS", LATER[: len(STEPS) + 1])
    monkeypatch.setattr(database, "VIEWS", {len(STEPS): as_current})
    with RecordReader(path) as reader:
        assert [(e.name, e.data) for e in reader.events()] == [("TEST.OLD", {"speed": 0.5})]
    with closing(connect(path)) as db:
        assert schema_version(db) == len(STEPS)


def test_a_record_of_before_attempts_were_counted_is_read_and_carried_on(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    db = connect(path)
    migrate(db, STEPS[:1])
    db.execute("INSERT INTO sensor_readings VALUES (?, 'canopy', 24.0, 50.0, 3, NULL)", (START_MS,))
    db.close()
    old = SensorRow("canopy", 24.0, 50.0, 3)
    with RecordReader(path) as reader:
        assert [row for _, row in reader.sensors()] == [old]
    with RecordWriter(path) as writer:
        writer.reading(
            ReadingRow(
                at_ms=START_MS + 60_000, interval_s=60.0, fan_speed=0.0, fan_on_s=0.0,
                lamp_on=False, lamp_on_s=0.0, in_fan_hours=False, rule="schedule",
                sensors=(old._replace(attempts=24),),
            )
        )  # fmt: skip
    with RecordReader(path) as reader:
        assert [row.attempts for _, row in reader.sensors()] == [None, 24]


@pytest.mark.parametrize("version", [2, 3])
def test_a_record_of_before_co2_was_kept_is_read_and_carried_on(
    tmp_path: Path, version: int
) -> None:
    path = tmp_path / "tent.sqlite3"
    db = connect(path)
    migrate(db, STEPS[:version])
    values = (START_MS, "canopy", 24.0, 50.0, 3, None, 24)
    db.execute("INSERT INTO sensor_readings VALUES (?, ?, ?, ?, ?, ?, ?)", values)
    db.close()
    old = SensorRow("canopy", 24.0, 50.0, 3, None, 24)
    with RecordReader(path) as reader:
        assert [row for _, row in reader.sensors()] == [old]
    with RecordWriter(path) as writer:
        writer.reading(
            ReadingRow(
                at_ms=START_MS + 60_000, interval_s=60.0, fan_speed=0.0, fan_on_s=0.0,
                lamp_on=False, lamp_on_s=0.0, in_fan_hours=False, rule="schedule",
                sensors=(old._replace(co2_ppm=640.0),),
            )
        )  # fmt: skip
    with RecordReader(path) as reader:
        assert [row.co2_ppm for _, row in reader.sensors()] == [None, 640.0]


def test_every_schema_but_the_newest_has_its_view() -> None:
    assert set(database.VIEWS) == set(range(1, len(STEPS)))


def test_a_record_says_what_it_is(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    RecordWriter(path).close()
    # Offsets 60 and 68 of the header, https://www.sqlite.org/fileformat.html#the_database_header
    header = path.read_bytes()[:100]
    assert int.from_bytes(header[68:72], "big") == APPLICATION_ID
    assert int.from_bytes(header[60:64], "big") == len(STEPS)


def test_the_schema_explains_itself_in_the_file(tmp_path: Path) -> None:
    db = connect(tmp_path / "tent.sqlite3")
    db.execute("BEGIN")
    run_sql(db, "schema_1.sql")
    db.execute("COMMIT")
    (text,) = db.execute("SELECT sql FROM sqlite_schema WHERE name = 'readings'").fetchone()
    assert "-- seconds of the interval with the lamp lit" in text
    db.close()
