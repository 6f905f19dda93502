"""The daemon's form: the tick goes on whatever the disk does, and nothing kept is lost."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from record_builders import MINUTE_MS, START_MS, StillClock, integrity, names, reading

from controller.record import (
    BackgroundRecord,
    NewerRecordError,
    RecordError,
    RecordReader,
    RecordWriter,
)
from controller.record.background import HANGS_AFTER_S
from controller.record.database import STEPS

NEVER_AGAIN_BY_ITSELF = (3600.0,)  # so that only `purge` makes it try again


class Disk:
    """A disk that can be broken, and the log that was written meanwhile."""

    def __init__(self) -> None:
        self.error: Exception | None = None
        # Called before each attempt to open or to write.
        self.before_write: Callable[[], object] = lambda: None
        self.commits = 0
        self.lines: list[tuple[str, str]] = []

    def open(self, path: Path) -> RecordWriter:
        self.before_write()
        if self.error is not None:
            raise self.error
        writer = RecordWriter(path, durable=False)
        together = writer.together

        def breakable():  # type: ignore[no-untyped-def]
            self.before_write()
            if self.error is not None:
                raise self.error
            if not writer._db.in_transaction:
                self.commits += 1
            return together()

        writer.together = breakable  # type: ignore[method-assign]
        return writer

    def emit(self, at_ms: int, name: str, level: str, data: dict[str, object]) -> None:
        self.lines.append((name, level))

    @property
    def logged(self) -> list[str]:
        return [name for name, _ in self.lines]


@pytest.fixture
def disk() -> Disk:
    return Disk()


@pytest.fixture
def clock() -> StillClock:
    return StillClock()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "tent.sqlite3"


def start(path: Path, disk: Disk, clock: StillClock, **how: object) -> BackgroundRecord:
    return BackgroundRecord(
        path,
        clock=clock,
        emit=disk.emit,
        open_writer=disk.open,
        backoff_s=NEVER_AGAIN_BY_ITSELF,
        **how,  # type: ignore[arg-type]
    )


def wait_until(holds: Callable[[], bool]) -> bool:
    """Whether something another thread does comes to hold."""
    pause = threading.Event()
    return any(holds() or pause.wait(0.005) for _ in range(12_000))


DISK_FULL = sqlite3.OperationalError("database or disk is full")


def test_all_that_was_handed_over_is_in_the_record_after_closing(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    record.config(START_MS, "tent: {}", "aa")
    for n in range(100):
        record.event(START_MS + n, "fan.changed", speed=n / 100)
        record.reading(reading(n))
    record.save_state("now", START_MS, {"speed": 0.5})
    assert record.close()
    with RecordReader(path) as reader:
        assert [e.data["speed"] for e in reader.events()] == [n / 100 for n in range(100)]
        assert {r.config_id for r in reader.readings()} == {1}
        state = reader.state("now")
    assert state is not None
    assert state.value == {"speed": 0.5}


def test_an_event_is_logged_only_once_it_is_durable(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    seen: list[list[str]] = []
    record = start(path, disk, clock)
    disk.emit = lambda *line: seen.append(names(path))  # type: ignore[method-assign]
    record._emit = disk.emit
    record.event(START_MS, "daemon.started")
    assert record.flush()
    record.close()
    assert seen == [["daemon.started"]]


def test_what_is_recorded_together_is_one_commit(path: Path, disk: Disk, clock: StillClock) -> None:
    record = start(path, disk, clock)
    record.flush()
    before = disk.commits
    with record.together():
        for n in range(5):
            record.event(START_MS, f"test.{n}")
        record.reading(reading())
        record.save_state("now", START_MS, 1)
    assert record.flush()
    assert disk.commits == before + 1
    record.close()


def test_a_full_disk_stops_nothing_and_all_is_written_once_there_is_room(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    record.config(START_MS, "tent: {}", "aa")
    record.flush()
    disk.error = DISK_FULL
    for n in range(10):
        record.event(START_MS + n, "fan.changed", n=n)
        record.reading(reading(n))
    record.save_state("now", START_MS, "late")
    assert not record.flush()
    assert not record.flush()
    assert record.trouble == "database or disk is full"
    # The log doesn't wait for the disk, and the trouble is told once.
    assert disk.logged == ["fan.changed"] * 10 + ["record.failed"]

    disk.error = None
    clock.now_s = 60.0
    assert record.flush()
    record.flush()
    assert record.trouble is None
    assert record.close()
    assert names(path) == ["fan.changed"] * 10 + ["record.failed", "record.recovered"]
    assert disk.logged == names(path)
    with RecordReader(path) as reader:
        assert [e.data["n"] for e in reader.events(names=["fan.*"])] == list(range(10))
        assert [e.at_ms - START_MS for e in reader.events(names=["record.*"])] == [0, 60_000]
        assert len(list(reader.readings())) == 10


@pytest.mark.parametrize(
    "error",
    [
        sqlite3.OperationalError("attempt to write a readonly database"),
        sqlite3.OperationalError("database is locked"),
        sqlite3.OperationalError("disk I/O error"),
        OSError(5, "Input/output error"),
        MemoryError(),
    ],
    ids=str,
)
def test_a_disk_that_fails_at_the_start_is_waited_for(
    path: Path, disk: Disk, clock: StillClock, error: Exception
) -> None:
    if isinstance(error, MemoryError):
        disk.before_write = lambda: (_ for _ in ()).throw(error) if disk.error else None
    else:
        disk.error = error
    record = start(path, disk, clock)
    disk.error = error
    record.config(START_MS, "tent: {}", "aa")
    record.event(START_MS, "daemon.started")
    assert not record.flush()
    assert record.trouble is not None
    assert record.load_state("now") is None
    disk.error = None
    assert record.flush()
    record.close()
    assert "daemon.started" in names(path)


def test_it_tries_again_by_itself(path: Path, disk: Disk, clock: StillClock) -> None:
    attempts = threading.Semaphore(0)
    disk.before_write = attempts.release
    record = BackgroundRecord(
        path, clock=clock, emit=disk.emit, open_writer=disk.open, backoff_s=(0.001,)
    )
    record.flush()
    disk.error = DISK_FULL
    record.event(START_MS, "fan.changed")
    for _ in range(2):
        assert attempts.acquire(timeout=250)
    disk.error = None
    assert attempts.acquire(timeout=250)
    assert record.flush()
    record.close()
    assert names(path)[0] == "fan.changed"


def test_only_the_newest_are_held_and_the_lost_are_counted(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock, keep_items=10)
    record.flush()
    disk.error = DISK_FULL
    record.config(START_MS, "tent: {}", "aa")
    record.event(START_MS, "test.first")
    record.flush()
    for n in range(25):
        record.event(START_MS, f"test.{n}")
    disk.error = None
    record.flush()
    record.close()
    with RecordReader(path) as reader:
        events = list(reader.events())
    assert [e.name for e in events[:-1]] == [f"test.{n}" for n in range(15, 25)]
    # 25 + the first + record.failed, of which ten were kept.
    assert (events[-1].name, events[-1].data, events[-1].level) == (
        "record.recovered", {"lost": 17}, "warning",
    )  # fmt: skip


def test_handing_over_never_waits_for_the_disk(path: Path, disk: Disk, clock: StillClock) -> None:
    record = start(path, disk, clock)
    record.flush()
    entered, release = threading.Event(), threading.Event()

    def hang() -> None:
        entered.set()
        assert release.wait(60)

    disk.before_write = hang
    record.event(START_MS, "test.hangs")
    assert entered.wait(60)
    # The writing thread is inside the disk now; were the tick to wait for it, this would hang.
    for n in range(1000):
        record.event(START_MS, f"test.{n}")
        record.reading(reading(n))
        record.save_state("now", START_MS, n)
    assert record.load_state("now") == 999
    assert record.trouble is None
    clock.now_s = HANGS_AFTER_S + 1
    assert record.trouble == "the disk has not answered for 61 s"
    assert not record.close(timeout_s=0.01)  # and stopping doesn't wait for ever
    release.set()
    record._thread.join(60.0)
    assert len(names(path)) == 1001


def test_a_damaged_record_is_set_aside_and_a_new_one_begun(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    record.config(START_MS, "tent: {}", "aa")
    record.save_state("memory", START_MS, {"hold": 1})
    for n in range(500):
        record.reading(reading(n))
    record.close()
    content = bytearray(path.read_bytes())
    content[100:] = b"\xa5" * (len(content) - 100)
    path.write_bytes(content)

    record = start(path, disk, clock)
    record.config(START_MS + 1, "tent: {}", "aa")
    record.save_state("memory", START_MS, {"hold": 2})
    record.event(START_MS, "daemon.started")
    record.reading(reading(1000))
    record.flush()
    assert record.flush()
    assert record.trouble is None
    record.close()
    aside = path.with_name("tent.sqlite3.corrupt-20130718T000000Z")
    assert aside.read_bytes() == bytes(content)
    assert integrity(path) == "ok"
    assert set(names(path)) == {
        "record.failed", "record.set_aside", "daemon.started", "record.recovered",
    }  # fmt: skip
    with RecordReader(path) as reader:
        latest = reader.latest()
    assert latest is not None
    assert latest.config_id == 1


@pytest.mark.parametrize("number", range(1, len(STEPS)))
def test_a_record_whose_schema_is_not_its_numbers_is_set_aside(
    path: Path, disk: Disk, clock: StillClock, number: int
) -> None:
    with RecordWriter(path) as writer:
        writer.event(START_MS, "daemon.started")
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute(f"PRAGMA user_version = {number}")
    record = start(path, disk, clock)
    record.event(START_MS, "daemon.started")
    assert record.flush() or record.flush()
    assert record.trouble is None
    record.close()
    assert len(list(path.parent.glob("*.corrupt-*Z"))) == 1
    assert "record.set_aside" in names(path)


@pytest.mark.parametrize(
    "change",
    [
        "CREATE TRIGGER more AFTER INSERT ON events BEGIN INSERT INTO state WITH RECURSIVE n (i) "
        "AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i, 1, '{}' FROM n; END",
        "ALTER TABLE readings RENAME TO old; CREATE VIEW readings AS SELECT * FROM old",
    ],
    ids=["trigger without end", "view in place of a table"],
)
def test_a_record_made_to_do_harm_is_set_aside_before_it_is_written(
    path: Path, disk: Disk, clock: StillClock, change: str
) -> None:
    with RecordWriter(path) as writer:
        writer.event(START_MS, "daemon.started")
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.executescript(change)
    record = start(path, disk, clock)
    record.event(START_MS, "daemon.started")
    record.reading(reading(1))
    assert record.flush() or record.flush()
    record.close()
    assert len(list(path.parent.glob("*.corrupt-*Z"))) == 1
    assert "record.set_aside" in names(path)


def test_damage_found_while_running_keeps_config_and_state_for_the_new_record(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    record.config(START_MS, "tent: {}", "aa")
    record.save_state("memory", START_MS, {"hold": 2})
    record.flush()
    damage = sqlite3.DatabaseError("database disk image is malformed")
    damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    strikes = [damage]

    def strike() -> None:
        if strikes:
            raise strikes.pop()

    disk.before_write = strike
    record.event(START_MS, "fan.changed")
    record.flush()
    assert record.flush()
    record.close()
    assert len(list(path.parent.glob("*.corrupt-*Z"))) == 1
    assert set(names(path)) == {
        "fan.changed", "record.failed", "record.set_aside", "record.recovered",
    }  # fmt: skip
    with RecordReader(path) as reader:
        assert [c.sha256 for c in reader.configs()] == ["aa"]
        state = reader.state("memory")
    assert state is not None
    assert (state.at_ms, state.value) == (START_MS, {"hold": 2})


def test_a_record_deleted_under_the_daemon_is_begun_anew(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    record.config(START_MS, "tent: {}", "aa")
    record.event(START_MS, "test.before")
    record.flush()
    for part in path.parent.glob("tent.sqlite3*"):
        part.unlink()
    record.event(START_MS, "test.after")
    assert record.flush()
    record.close()
    assert names(path) == ["test.after"]
    with RecordReader(path) as reader:
        assert len(reader.configs()) == 1


@pytest.mark.parametrize("suffix", ["-wal", "-shm"])
def test_what_lies_beside_the_record_may_be_deleted_under_the_daemon(
    path: Path, disk: Disk, clock: StillClock, tmp_path: Path, suffix: str
) -> None:
    """Who tidies up takes no event along, neither from readers nor at a power cut."""
    record = start(path, disk, clock)
    record.event(START_MS, "test.before")
    assert record.flush()
    # As `events --follow` in another process: SQLite alone would write nothing back when closing.
    idle = sqlite3.connect(path)
    idle.execute("SELECT count(*) FROM events").fetchone()
    path.with_name(path.name + suffix).unlink()
    if suffix == "-shm":
        RecordReader(path).close()  # makes one of its own
    record.event(START_MS, "test.after")
    assert record.flush()
    assert names(path) == ["test.before", "test.after"]
    cut = tmp_path / "cut"
    cut.mkdir()
    for file in path.parent.glob("tent.sqlite3*"):
        shutil.copy(file, cut)
    assert names(cut / path.name) == ["test.before", "test.after"]
    idle.close()
    record.close()


def test_a_row_that_can_never_be_written_does_not_hold_up_the_others(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    circular: list[object] = []
    circular.append(circular)
    with record.together():
        record.event(START_MS, "test.before")
        record.reading(reading(fan_speed=None))
        record.event(START_MS, "test.circular", what=circular)
        record.event(START_MS, "test.after")
    assert record.flush()
    assert record.trouble is None
    record.close()
    assert names(path) == ["test.before", "test.after"]
    assert disk.logged.count("record.refused") == 2


def test_a_log_that_fails_does_not_stop_the_record(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    def broken(*line: object) -> None:
        raise BrokenPipeError

    record = BackgroundRecord(path, clock=clock, emit=broken)
    record.event(START_MS, "test.one")
    assert record.flush()
    record.event(START_MS, "test.two")
    assert record.close()
    assert names(path) == ["test.one", "test.two"]


def test_a_newer_record_is_for_a_person_to_settle(path: Path) -> None:
    RecordWriter(path).close()
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(NewerRecordError):
        BackgroundRecord(path)


def test_pruning_is_done_and_reported_by_the_writing_thread(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    for n in range(10):
        record.reading(reading(n))
    record.flush()
    record.prune(START_MS + 100, START_MS + 4 * MINUTE_MS)
    assert record.flush()
    record.close()
    with RecordReader(path) as reader:
        assert reader.span() == (START_MS + 4 * MINUTE_MS, START_MS + 9 * MINUTE_MS)
        (event,) = reader.events()
    assert event.name == "record.pruned"
    assert event.data["readings"] == 4


def test_a_restart_picks_up_what_was_saved(path: Path, disk: Disk, clock: StillClock) -> None:
    record = start(path, disk, clock)
    record.save_state("memory", START_MS, {"on_since": 5})
    record.close()
    record = start(path, disk, clock)
    assert record.load_state("memory") == {"on_since": 5}
    record.close()


def test_a_backup_taken_while_writing_holds_all_that_was_purgeed(
    path: Path, disk: Disk, clock: StillClock, tmp_path: Path
) -> None:
    record = start(path, disk, clock)
    for n in range(200):
        record.event(START_MS, f"test.{n}")
    assert record.backup(tmp_path / "copy.sqlite3") > 0
    record.event(START_MS, "test.later")
    record.close()
    assert names(tmp_path / "copy.sqlite3") == [f"test.{n}" for n in range(200)]


def test_damage_left_by_a_power_cut_is_found_before_anything_comes_upon_it(
    path: Path, disk: Disk, clock: StillClock, tmp_path: Path
) -> None:
    with RecordWriter(path) as writer, writer.together():
        for n in range(1000):
            writer.reading(reading(n))
    with RecordWriter(path) as writer:
        writer.event(START_MS, "test.before_the_cut")
        cut = tmp_path / "cut"
        cut.mkdir()
        for suffix in ("", "-wal"):
            shutil.copy(f"{path}{suffix}", cut / f"tent.sqlite3{suffix}")
    path = cut / "tent.sqlite3"
    content = bytearray(path.read_bytes())
    content[20_000:60_000] = b"\xa5" * 40_000  # old pages, which writing never touches
    path.write_bytes(content)
    record = start(path, disk, clock)
    record.event(START_MS, "daemon.started")
    record.wait_for_check()
    record.flush()
    assert record.flush()
    record.close()
    assert integrity(path) == "ok"
    assert {"record.failed", "record.set_aside", "record.recovered"} <= set(names(path))
    assert (cut / "tent.sqlite3.corrupt-20130718T000000Z").exists()


def test_a_log_overwritten_while_it_is_written_is_set_aside_once_a_reader_came_upon_it(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    """The writer itself goes by its pages in memory, and says nothing."""
    record = start(path, disk, clock)
    for n in range(20):
        record.event(START_MS, f"test.{n}")
    assert record.flush()
    log = path.with_name("tent.sqlite3-wal")
    log.write_bytes(bytes(log.stat().st_size))
    with pytest.raises(RecordError, match="damaged"):
        RecordReader(path)
    record.event(START_MS, "test.unaware")
    assert record.flush()
    assert record.trouble is None
    record.check()
    record.wait_for_check()
    record.flush()
    assert record.flush()
    record.close()
    assert integrity(path) == "ok"
    assert {"record.failed", "record.set_aside", "record.recovered"} <= set(names(path))


@pytest.mark.parametrize("found_by", ["a write", "the check after a power cut"])
def test_a_damaged_record_is_not_moved_under_a_reader_of_this_process(
    path: Path, disk: Disk, clock: StillClock, found_by: str
) -> None:
    """Both would use one -shm file: SIGBUS, or the pages of two files mixed."""
    record = start(path, disk, clock)
    record.event(START_MS, "test.kept")
    record.flush()
    damage = sqlite3.DatabaseError("database disk image is malformed")
    damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT

    def strike() -> None:
        if not list(path.parent.glob("*.corrupt-*Z")):
            raise damage

    with RecordReader(path) as reader:
        if found_by == "a write":
            disk.before_write = strike
        else:
            record._damage = "page 7 is never used"
        record.event(START_MS, "test.waiting")
        for _ in range(3):
            assert not record.flush()
        assert [event.name for event in reader.events()] == ["test.kept"]
        assert not list(path.parent.glob("*.corrupt-*Z"))
        assert record.trouble is not None

    record.flush()
    assert record.flush()
    record.close()
    assert len(list(path.parent.glob("*.corrupt-*Z"))) == 1
    assert "test.kept" not in names(path)
    assert "test.waiting" in names(path)


def test_a_new_record_is_not_begun_beside_a_reader_of_the_moved_one(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock)
    record.event(START_MS, "test.kept")
    record.flush()
    with RecordReader(path) as reader:
        path.rename(path.with_name("moved"))
        record.event(START_MS, "test.meanwhile")
        assert record.flush()
        assert [event.name for event in reader.events()] == ["test.kept", "test.meanwhile"]
        assert not path.exists()
    record.event(START_MS, "test.after")
    assert record.flush()
    record.close()
    assert names(path) == ["test.after"]


def test_after_a_clean_stop_and_after_a_harmless_cut_nothing_is_set_aside(
    path: Path, disk: Disk, clock: StillClock, tmp_path: Path
) -> None:
    record = start(path, disk, clock)
    record.event(START_MS, "test.one")
    record.flush()
    assert record._check_thread is None
    cut = tmp_path / "cut"
    cut.mkdir()
    for suffix in ("", "-wal"):
        shutil.copy(f"{path}{suffix}", cut / f"tent.sqlite3{suffix}")
    record.close()
    record = start(path, disk, clock)
    assert record._check_thread is None
    record.close()
    record = start(cut / "tent.sqlite3", disk, clock)
    record.wait_for_check()
    assert record.flush()
    record.close()
    assert names(cut / "tent.sqlite3") == ["test.one"]


def test_an_event_is_kept_once_even_if_the_pruning_beside_it_fails(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    failures = [DISK_FULL]

    def open_writer(where: Path) -> RecordWriter:
        writer = RecordWriter(where, durable=False)
        prune = writer.prune

        def breakable(before_ms: int, *, at_most_ms: int | None = None) -> dict[str, int]:
            if failures:
                raise failures.pop()
            return prune(before_ms, at_most_ms=at_most_ms)

        writer.prune = breakable  # type: ignore[method-assign]
        return writer

    disk.open = open_writer  # type: ignore[method-assign]
    record = start(path, disk, clock)
    with record.together():
        record.reading(reading(0))
        record.event(START_MS + MINUTE_MS, "test.once")
        record.prune(START_MS + MINUTE_MS, START_MS + MINUTE_MS)
    record.flush()
    assert record.flush()
    record.close()
    found = names(path)
    assert found.count("test.once") == 1
    assert found.count("record.pruned") == 1
    assert disk.logged.count("test.once") == 1


def _scrambled_text(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("UPDATE state SET key = CAST(x'73ff' AS TEXT)")


def _odd_header(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[47] = 9  # the schema format number: 1 to 4 (sqlite.org/fileformat2.html)
    path.write_bytes(content)


def _odd_version(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[60] = 0xFF  # of the user version, which turns negative
    path.write_bytes(content)


def _odd_schema(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content.replace(b"level TEXT NOT NULL", b"lovel TEXT NOT NULL"))


@pytest.mark.parametrize("spoil", [_scrambled_text, _odd_header, _odd_version, _odd_schema])
def test_damage_without_a_code_of_its_own_is_set_aside_too(
    path: Path, disk: Disk, clock: StillClock, spoil: Callable[[Path], None]
) -> None:
    """All of them found by fuzzing: each would have kept the record shut for ever."""
    with RecordWriter(path) as writer:
        writer.event(START_MS, "test.one")
        writer.save_state("memory", START_MS, {})
    spoil(path)
    record = start(path, disk, clock)
    record.event(START_MS, "daemon.started")
    assert any(record.flush() for _ in range(3))
    assert record.close()
    assert "record.set_aside" in disk.logged
    assert "daemon.started" in names(path)


def test_readings_wait_to_be_written_and_an_event_takes_them_along(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock, commit_every_s=300.0)
    record.reading(reading(1))
    record.save_state("now", START_MS, 1)
    with RecordReader(path) as reader:
        assert reader.latest() is None
    record.event(START_MS, "test.urgent")
    assert wait_until(lambda: names(path) == ["test.urgent"])
    with RecordReader(path) as reader:
        assert reader.latest() is not None
        assert reader.state("now") is not None
    assert record.close()


def test_readings_are_written_once_the_oldest_has_waited_for_its_time(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock, commit_every_s=300.0)
    for minute in range(5):
        clock.now_s = 60.0 * minute
        record.reading(reading(minute))
    assert disk.commits == 0
    clock.now_s = 300.0
    record.reading(reading(5))

    def written() -> int:
        with RecordReader(path) as reader:
            return len(list(reader.readings()))

    assert wait_until(lambda: written() == 6)
    assert record.trouble is None
    assert record.close()


def test_who_asks_for_a_commit_gets_what_waited(path: Path, disk: Disk, clock: StillClock) -> None:
    record = start(path, disk, clock, commit_every_s=300.0)
    record.reading(reading(1))
    done = threading.Event()
    record.commit(done.set)
    assert done.wait(60)
    with RecordReader(path) as reader:
        assert reader.latest() is not None
    done.clear()
    record.commit(done.set)  # with nothing to write it is answered too
    assert done.wait(60)
    assert record.close()


def test_a_stop_writes_what_waits(path: Path, disk: Disk, clock: StillClock) -> None:
    record = start(path, disk, clock, commit_every_s=300.0)
    record.reading(reading(1))
    assert record.close()
    with RecordReader(path) as reader:
        assert reader.latest() is not None


def test_readings_that_wait_for_their_time_are_no_trouble(
    path: Path, disk: Disk, clock: StillClock
) -> None:
    record = start(path, disk, clock, commit_every_s=300.0)
    record.reading(reading(1))
    clock.now_s = 299.0
    assert record.trouble is None
    assert record.close()
