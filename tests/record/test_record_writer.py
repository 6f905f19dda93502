"""What is written is what is read, whole or not at all."""

from __future__ import annotations

import json
import sqlite3
import stat
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record_builders import MINUTE_MS, START_MS, integrity, reading

from controller.record import RecordReader, RecordWriter, SensorRow
from controller.record.writer import to_json


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[RecordWriter]:
    with RecordWriter(tmp_path / "tent.sqlite3", durable=False) as opened:
        yield opened


def test_a_reading_comes_back_as_it_was_written(writer: RecordWriter) -> None:
    config_id = writer.config(START_MS, "tent: {}\n", "ab12")
    row = reading(
        tent_temperature_min_c=23.5,
        tent_temperature_max_c=24.5,
        tent_humidity_min_pct=58.0,
        tent_humidity_max_pct=61.0,
        tent_vpd_pa=1193.1,
        tent_dew_point_c=15.7,
        intake_temperature_c=21.0,
        intake_humidity_pct=45.0,
        fan_rpm=1830.0,
        locked_out=True,
        sensors=(SensorRow("low", None, None, 24, "dead"), SensorRow("top", 24.0, 60.0, 1)),
    )
    writer.reading(row)
    with RecordReader(writer.path) as reader:
        assert reader.latest() == replace(row, config_id=config_id)
        assert list(reader.readings()) == [replace(row, config_id=config_id, sensors=())]


def test_an_event_comes_back_with_its_data(writer: RecordWriter) -> None:
    data = {"speed": 0.4, "was": 0.0, "reasons": [{"rule": "too_hot", "unit": "°C"}], "until": None}
    number = writer.event(START_MS, "fan.changed", "info", **data)
    writer.event(START_MS + 5, "sensor.failed", "error", sensor="top", name="a field called name")
    with RecordReader(writer.path) as reader:
        first, second = reader.events()
    assert (first.id, first.at_ms, first.name, first.level) == (
        number, START_MS, "fan.changed", "info",
    )  # fmt: skip
    assert first.data == data
    assert second.data == {"sensor": "top", "name": "a field called name"}


def test_what_is_written_together_is_kept_or_lost_together(writer: RecordWriter) -> None:
    with pytest.raises(RuntimeError), writer.together():
        writer.config(START_MS, "a: 1", "aa")
        writer.event(START_MS, "fan.changed")
        writer.reading(reading())
        raise RuntimeError("power cut")
    with RecordReader(writer.path) as reader:
        assert list(reader.events()) == []
        assert reader.latest() is None
    # The config is not taken for recorded either.
    writer.reading(reading())
    assert writer.config(START_MS, "a: 1", "aa") == 1
    with RecordReader(writer.path) as reader:
        assert [config.yaml for config in reader.configs()] == ["a: 1"]
        latest = reader.latest()
    assert latest is not None
    assert latest.config_id is None


def test_an_instant_that_comes_twice_after_a_clock_step_keeps_both_readings(
    writer: RecordWriter,
) -> None:
    for temperature_c in (24.0, 25.0, 26.0):
        writer.reading(
            reading(
                tent_temperature_c=temperature_c, sensors=(SensorRow("top", temperature_c, 60.0),)
            )
        )
    with RecordReader(writer.path) as reader:
        assert [r.tent_temperature_c for r in reader.readings()] == [24.0, 25.0, 26.0]
        assert [row.temperature_c for _, row in reader.sensors()] == [24.0, 25.0, 26.0]


def test_the_same_config_again_is_one_row_and_another_between_makes_three(
    writer: RecordWriter,
) -> None:
    ids = [writer.config(START_MS + n, text, text) for n, text in enumerate("aabba")]
    assert ids == [1, 1, 2, 2, 3]
    writer.reading(reading())
    with RecordReader(writer.path) as reader:
        assert [(c.at_ms - START_MS, c.yaml) for c in reader.configs()] == [
            (0, "a"),
            (2, "b"),
            (4, "a"),
        ]
        latest = reader.latest()
    assert latest is not None
    assert latest.config_id == 3


def test_a_reopened_record_goes_on_under_its_last_config(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    with RecordWriter(path) as writer:
        writer.config(START_MS, "a", "a")
        writer.save_state("hold", START_MS, {"speed": 0.5})
    with RecordWriter(path) as writer:
        assert writer.config(START_MS + 1, "a", "a") == 1
        assert writer.load_state("hold") == {"speed": 0.5}
        assert writer.load_state("nothing") is None


def test_state_is_replaced_and_tells_when_it_was_saved(writer: RecordWriter) -> None:
    writer.save_state("now", 1, [1])
    writer.save_state("now", 2, {"speed": 1.0})
    with RecordReader(writer.path) as reader:
        state = reader.state("now")
        assert reader.state("other") is None
    assert state is not None
    assert (state.at_ms, state.value) == (2, {"speed": 1.0})


def test_pruning_deletes_what_is_older_and_nothing_else(writer: RecordWriter) -> None:
    with writer.together():
        for n in range(4500):  # more than one deletion's worth
            writer.reading(reading(n, sensors=(SensorRow("top", 24.0, 60.0), SensorRow("low"))))
        for n in range(10):
            writer.event(START_MS + n * MINUTE_MS, "fan.changed")
    cut_ms = START_MS + 4400 * MINUTE_MS
    writer.learning(cut_ms - 1, {"refused": "too few days"})
    writer.learning(cut_ms, {"refused": "still too few"})
    gone = {"sensor_readings": 8800, "readings": 4400, "events": 10, "learnings": 1}
    assert writer.prune(cut_ms) == gone
    assert writer.prune(cut_ms) == dict.fromkeys(gone, 0)
    with RecordReader(writer.path) as reader:
        assert [r.at_ms for r in reader.readings()] == [
            START_MS + n * MINUTE_MS for n in range(4400, 4500)
        ]
        assert len(list(reader.sensors())) == 200
    assert integrity(writer.path) == "ok"


def test_the_space_of_what_was_pruned_is_used_again(writer: RecordWriter) -> None:
    def fill(first: int) -> int:
        with writer.together():
            for n in range(first, first + 2000):
                writer.reading(reading(n))
        with RecordReader(writer.path) as reader:
            return int(str(next(reader.sql("PRAGMA page_count"))[0]))

    before = fill(0)
    writer.prune(START_MS + 2000 * MINUTE_MS)
    assert fill(2000) <= before * 1.05


def test_every_commit_waits_for_the_disk_unless_reported_otherwise(tmp_path: Path) -> None:
    # Values of the pragma: 2 is FULL, 0 is OFF, https://www.sqlite.org/pragma.html#pragma_synchronous
    for durable, expected in ((True, 2), (False, 0)):
        with RecordWriter(tmp_path / f"{durable}.sqlite3", durable=durable) as writer:
            assert writer._db.execute("PRAGMA synchronous").fetchone() == (expected,)
            assert writer._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_record_is_not_for_everyones_eyes(writer: RecordWriter) -> None:
    writer.event(START_MS, "daemon.started")
    files = list(writer.path.parent.iterdir())
    assert len(files) == 3
    for file in files:
        assert stat.S_IMODE(file.stat().st_mode) & 0o027 == 0


def test_a_row_that_breaks_the_schema_is_refused(writer: RecordWriter) -> None:
    with pytest.raises(sqlite3.IntegrityError):
        writer.reading(reading(fan_speed=None))
    with RecordReader(writer.path) as reader:
        assert reader.latest() is None


json_like = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=10,
)


@given(json_like)
def test_any_value_becomes_json_that_every_parser_reads(value: object) -> None:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is not JSON (RFC 8259)")

    json.loads(to_json(value), parse_constant=refuse)
