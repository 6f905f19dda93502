"""The forms of recording differ in who waits for the disk, and in nothing else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from record_builders import MINUTE_MS, START_MS, StillClock, names, reading

from controller.record import BackgroundRecord, InlineRecord, MemoryRecord, Record, RecordReader
from controller.record.recorder import Emit

Open = Callable[[Path, Emit], Record]

FORMS: dict[str, Open] = {
    "inline": lambda path, emit: InlineRecord(path, emit=emit),
    "inline in batches": lambda path, emit: InlineRecord(path, emit=emit, batch=7),
    "background": lambda path, emit: BackgroundRecord(path, emit=emit, clock=StillClock()),
    "memory": lambda path, emit: MemoryRecord(emit),
}


def a_morning(record: Record) -> None:
    record.config(START_MS, "tent: {}", "aa")
    record.event(START_MS, "daemon.started", version="0.1.0")
    for n in range(20):
        with record.together():
            record.event(START_MS + n, "fan.changed", "info", speed=n / 20, name="not the event's")
            record.reading(reading(n))
            record.save_state("now", START_MS + n, {"n": n})
    record.event(START_MS + 99, "sensor.failed", "error", sensor="top")


@pytest.fixture(params=FORMS)
def form(request: pytest.FixtureRequest) -> Open:
    return FORMS[request.param]


def test_every_form_logs_every_event_once_and_in_order(form: Open, tmp_path: Path) -> None:
    lines: list[tuple[int, str, str, dict[str, object]]] = []
    record = form(tmp_path / "tent.sqlite3", lambda *line: lines.append(line))
    a_morning(record)
    assert record.flush()
    assert record.trouble is None
    assert record.load_state("now") == {"n": 19}
    assert record.load_state("memory") is None
    assert record.close()
    assert lines == [
        (START_MS, "daemon.started", "info", {"version": "0.1.0"}),
        *(
            (START_MS + n, "fan.changed", "info", {"speed": n / 20, "name": "not the event's"})
            for n in range(20)
        ),
        (START_MS + 99, "sensor.failed", "error", {"sensor": "top"}),
    ]


@pytest.mark.parametrize("name", [name for name in FORMS if name != "memory"])
def test_every_form_leaves_the_same_record(name: str, tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    record = FORMS[name](path, lambda *line: None)
    a_morning(record)
    record.close()
    with RecordReader(path) as reader:
        assert [e.name for e in reader.events()] == [
            "daemon.started",
            *["fan.changed"] * 20,
            "sensor.failed",
        ]
        assert [(r.at_ms, r.config_id) for r in reader.readings()] == [
            (START_MS + n * MINUTE_MS, 1) for n in range(20)
        ]
        state = reader.state("now")
    assert state is not None
    assert (state.at_ms, state.value) == (START_MS + 19, {"n": 19})


def test_inline_lets_readers_see_each_call_at_once(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    record = InlineRecord(path, emit=lambda *line: None)
    record.event(START_MS, "test.one")
    assert names(path) == ["test.one"]
    record.close()


def test_inline_keeps_or_loses_what_belongs_together(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    lines: list[str] = []
    record = InlineRecord(path, emit=lambda at_ms, name, level, data: lines.append(name))
    with pytest.raises(RuntimeError), record.together():
        record.event(START_MS, "test.lost")
        with record.together():
            record.event(START_MS, "test.lost_too")
            raise RuntimeError
    record.event(START_MS, "test.kept")
    record.close()
    assert names(path) == ["test.kept"]
    assert lines == ["test.kept"]


def test_pruning_is_reported_with_its_counts(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    record = InlineRecord(path, emit=lambda *line: None)
    a_morning(record)
    record.prune(START_MS + 6 * MINUTE_MS, START_MS + 5 * MINUTE_MS)
    record.prune(
        START_MS + 6 * MINUTE_MS, START_MS + 5 * MINUTE_MS
    )  # nothing left to delete, nothing to tell
    record.close()
    with RecordReader(path) as reader:
        (pruned,) = reader.events()
        assert len(list(reader.readings())) == 15
    assert (pruned.name, pruned.data["readings"], pruned.data["events"]) == ("record.pruned", 5, 22)


def test_memory_can_be_looked_into() -> None:
    record = MemoryRecord()
    a_morning(record)
    assert len(record.readings) == 20
    assert [c.sha256 for c in record.configs] == ["aa"]
    assert record.states == {"now": {"n": 19}}
    record.prune(START_MS, START_MS + 5 * MINUTE_MS)
    assert (len(record.readings), len(record.events)) == (15, 0)


def test_a_backup_can_be_taken_from_each_form_with_a_file(form: Open, tmp_path: Path) -> None:
    record = form(tmp_path / "tent.sqlite3", lambda *line: None)
    a_morning(record)
    size = record.backup(tmp_path / "copy.sqlite3")
    record.close()
    if size:
        assert len(names(tmp_path / "copy.sqlite3")) == 22


def test_a_clock_that_is_years_ahead_for_a_day_costs_a_month_of_the_record(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    record = InlineRecord(path, emit=lambda *line: None)
    day_ms = 1440 * MINUTE_MS
    with record.together():
        for day in range(100):
            record.reading(reading(day * 1440))
    record.prune(START_MS + 5000 * day_ms, START_MS + 4000 * day_ms)
    record.close()
    with RecordReader(path) as reader:
        assert reader.span() == (START_MS + 31 * day_ms, START_MS + 99 * day_ms)
