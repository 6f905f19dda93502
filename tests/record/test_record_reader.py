"""Readers never block the writer, and read what power cuts and older versions leave."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from record_builders import MINUTE_MS, START_MS, reading

from controller.record import RecordError, RecordReader, RecordWriter, SensorRow


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "tent #1?.sqlite3"  # what a URI would take for something else


def test_no_record_yet_is_said_plainly(path: Path) -> None:
    with pytest.raises(RecordError, match=r"no record yet at .*made when the daemon first runs"):
        RecordReader(path)
    assert not path.exists()


def test_ranges_include_their_start_and_exclude_their_end(path: Path) -> None:
    with RecordWriter(path, durable=False) as writer:
        for n in range(5):
            writer.reading(reading(n, sensors=(SensorRow("a"), SensorRow("b"))))
            writer.event(START_MS + n * MINUTE_MS, f"test.{n}", "warning" if n % 2 else "info")
    start, end = START_MS + MINUTE_MS, START_MS + 3 * MINUTE_MS
    with RecordReader(path) as reader:
        assert [r.at_ms for r in reader.readings(start, end)] == [start, start + MINUTE_MS]
        assert [e.name for e in reader.events(start, end)] == ["test.1", "test.2"]
        assert [(at, s.sensor) for at, s in reader.sensors(start, end, "b")] == [
            (start, "b"),
            (start + MINUTE_MS, "b"),
        ]
        assert reader.span() == (START_MS, START_MS + 4 * MINUTE_MS)


def test_events_are_chosen_by_pattern_level_age_and_count(path: Path) -> None:
    with RecordWriter(path, durable=False) as writer:
        for name, level in (
            ("fan.changed", "info"),
            ("override.engaged", "info"),
            ("override.released", "warning"),
            ("sensor.failed", "error"),
        ):
            writer.event(START_MS, name, level)
    with RecordReader(path) as reader:

        def chosen(**how: object) -> list[str]:
            return [e.name for e in reader.events(**how)]  # type: ignore[arg-type]

        assert chosen(names=["override.*"]) == ["override.engaged", "override.released"]
        assert chosen(names=["fan.changed", "sensor.*"]) == ["fan.changed", "sensor.failed"]
        assert chosen(names=["fan.change?", "[st]ensor.*"]) == ["fan.changed", "sensor.failed"]
        assert chosen(names=[]) == []
        assert chosen(levels=["warning", "error"]) == ["override.released", "sensor.failed"]
        assert chosen(after_id=3) == ["sensor.failed"]
        assert chosen(newest=2) == ["override.released", "sensor.failed"]
        assert chosen(newest=2, names=["override.*"]) == ["override.engaged", "override.released"]


def test_an_empty_record_has_no_latest_and_no_span(path: Path) -> None:
    RecordWriter(path).close()
    with RecordReader(path) as reader:
        assert reader.latest() is None
        assert reader.span() is None
        assert list(reader.readings()) == []
        assert reader.configs() == []


def test_a_reader_in_the_middle_of_a_query_neither_blocks_the_writer_nor_sees_its_changes(
    path: Path,
) -> None:
    with RecordWriter(path, durable=False) as writer:
        for n in range(100):
            writer.reading(reading(n))
        with RecordReader(path) as reader:
            rows = reader.readings()
            seen = [next(rows)]
            for n in range(100, 200):  # would wait for 5 s and then raise if it were blocked
                writer.reading(reading(n))
            writer.prune(START_MS + 50 * MINUTE_MS)
            seen += rows
            assert len(seen) == 100
            assert len(list(reader.readings())) == 150


def test_a_snapshot_sees_one_moment_across_calls(path: Path) -> None:
    with RecordWriter(path, durable=False) as writer, RecordReader(path) as reader:
        writer.event(START_MS, "test.before")
        with reader.snapshot():
            assert len(list(reader.events())) == 1
            writer.event(START_MS, "test.meanwhile")
            assert len(list(reader.events())) == 1
        assert len(list(reader.events())) == 2


def test_a_reader_cannot_write(path: Path) -> None:
    RecordWriter(path).close()
    with RecordReader(path) as reader, pytest.raises(RecordError, match="readonly"):
        list(reader.sql("DELETE FROM events"))


def test_a_copy_with_a_log_left_over_from_a_power_cut_is_read_whole(
    path: Path, tmp_path: Path
) -> None:
    cut = tmp_path / "cut"
    cut.mkdir()
    with RecordWriter(path) as writer:
        for n in range(20):
            writer.event(START_MS, f"test.{n}")
        for suffix in ("", "-wal"):
            shutil.copy(f"{path}{suffix}", cut / f"tent.sqlite3{suffix}")
    assert (cut / "tent.sqlite3-wal").stat().st_size > 0
    with RecordReader(cut / "tent.sqlite3") as reader:
        assert len(list(reader.events())) == 20


@contextlib.contextmanager
def as_nobody() -> Iterator[None]:
    """The file system sees user 65534 for a while."""
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become another user")
@pytest.mark.parametrize("log", ["left over", "folded in"])
def test_a_user_who_may_only_read_can_read(log: str) -> None:
    # Not under pytest's own directory: no other user may look into that.
    with tempfile.TemporaryDirectory(dir="/tmp") as name:
        folder = Path(name)
        path = folder / "tent.sqlite3"
        writer = RecordWriter(path)
        for n in range(20):
            writer.event(START_MS, f"test.{n}")
        if log == "left over":
            (folder / "cut").mkdir()
            for suffix in ("", "-wal"):
                shutil.copy(f"{path}{suffix}", folder / "cut" / f"tent.sqlite3{suffix}")
            path = folder / "cut" / "tent.sqlite3"
        writer.close()
        for part in (folder, *folder.rglob("*")):  # as for a user of the record's group
            part.chmod(0o755 if part.is_dir() else 0o644)
        with as_nobody():
            with pytest.raises(PermissionError):
                (path.parent / "probe").touch()
            with RecordReader(path) as reader:
                assert len(list(reader.events())) == 20
        assert not list(path.parent.glob("*-shm"))


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become another user")
def test_a_user_who_may_not_read_hears_so() -> None:
    with tempfile.TemporaryDirectory(dir="/tmp") as name:
        path = Path(name) / "tent.sqlite3"
        RecordWriter(path).close()
        path.chmod(0o640)
        for mode in (0o755, 0o700):
            Path(name).chmod(mode)
            with (
                as_nobody(),
                pytest.raises(RecordError, match="Permission denied; read it as root or"),
            ):
                RecordReader(path)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"not a database at all, but long enough to be looked at " * 20, "nor any database"),
        (b"", "still empty"),
    ],
)
def test_what_is_no_database_is_refused_and_left_alone(
    path: Path, content: bytes, message: str
) -> None:
    path.write_bytes(content)
    with pytest.raises(RecordError, match=message):
        RecordReader(path)
    assert path.read_bytes() == content


def test_a_folder_is_called_one(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="is a folder, not a record"):
        RecordReader(tmp_path)


def test_a_pipe_is_no_record_and_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "tent.sqlite3")
    with pytest.raises(RecordError, match="is a pipe or a device, not a record"):
        RecordReader(tmp_path / "tent.sqlite3")


def test_somebody_elses_database_is_refused_by_reader_and_writer_and_left_alone(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.commit()
    other.close()
    before = path.read_bytes()
    with pytest.raises(RecordError, match="not a record"):
        RecordReader(path)
    with pytest.raises(RecordError, match="not a record"):
        RecordWriter(path)
    assert path.read_bytes() == before


def test_data_that_is_not_json_does_not_stop_the_reading_of_the_rest(path: Path) -> None:
    with RecordWriter(path) as writer:
        writer.event(START_MS, "test.one")
        writer._db.execute("UPDATE events SET data = '{\"speed\": 0.'")
        writer.save_state("now", START_MS, 1)
        writer._db.execute("UPDATE state SET value = '{'")
        writer.event(START_MS, "test.two", speed=1.0)
        assert writer.load_state("now") is None
    with RecordReader(path) as reader:
        assert [e.data for e in reader.events()] == [{"unreadable": '{"speed": 0.'}, {"speed": 1.0}]
        assert reader.state("now") is None


def test_a_damaged_page_is_reported_as_an_error_of_the_record(path: Path) -> None:
    with RecordWriter(path) as writer, writer.together():
        for n in range(1000):
            writer.reading(reading(n))
    content = bytearray(path.read_bytes())
    content[20_000:60_000] = b"\xa5" * 40_000
    path.write_bytes(content)
    with RecordReader(path) as reader, pytest.raises(RecordError, match="cannot read the record"):
        list(reader.readings())


def test_rows_left_half_read_may_outlive_their_reader(path: Path) -> None:
    """As when the reader of a pipe has gone: `lungwort events | head`."""
    with RecordWriter(path, durable=False) as writer:
        for n in range(3):
            writer.event(START_MS + n, "test")
    with RecordReader(path) as reader:
        rows = iter(reader.sql("SELECT at_ms FROM events"))
        assert next(rows) == (START_MS,)
    rows.close()  # type: ignore[attr-defined]


def test_instants_that_never_were_are_left_out(path: Path) -> None:
    with RecordWriter(path) as writer:
        for at_ms in (-(2**63), START_MS, 2**63 - 1):
            writer.event(at_ms, "test.one")
        writer.reading(reading())
        writer.reading(reading(at_ms=2**63 - 2))
    with RecordReader(path) as reader:
        assert [event.at_ms for event in reader.events()] == [START_MS]
        assert [row.at_ms for row in reader.readings()] == [START_MS]
        assert reader.span() == (START_MS, START_MS)
        latest = reader.latest()
        assert latest is not None
        assert latest.at_ms == START_MS
