"""What the record costs: bytes written per day, time per tick, per event, per year read.

Figures are printed and never asserted. Run: ``pytest tests/benchmarks/test_record_cost.py -s``.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.record import (
    BackgroundRecord,
    IntervalMeans,
    ReadingRow,
    RecordReader,
    RecordWriter,
    SensorRow,
)

START_MS = 1_374_105_600_000
MINUTE_MS = 60_000
MINUTES = 1440
EVENTS = 200


def _reading(at_ms: int) -> ReadingRow:
    return ReadingRow(
        at_ms=at_ms,
        interval_s=60.0,
        tent_temperature_c=24.1234,
        tent_temperature_min_c=24.0,
        tent_temperature_max_c=24.3,
        tent_humidity_pct=61.234,
        tent_humidity_min_pct=60.9,
        tent_humidity_max_pct=61.6,
        tent_vpd_pa=1163.25,
        tent_dew_point_c=16.1234,
        intake_temperature_c=21.456,
        intake_humidity_pct=48.76,
        fan_speed=0.4123,
        fan_on_s=60.0,
        fan_rpm=1834.5,
        lamp_on=True,
        lamp_on_s=60.0,
        in_fan_hours=True,
        rule="schedule",
        sensors=(SensorRow("leaves", 24.1234, 61.234), SensorRow("intake", 21.456, 48.76)),
    )


_REASON = {
    "rule": "too_hot",
    "status": "deciding",
    "quantity": "temperature",
    "value": 26.8123,
    "limit": 26.6667,
    "unit": "°C",
}
_NOW = {
    "at_ms": START_MS,
    "speed": 0.4,
    "reasons": [_REASON, {**_REASON, "rule": "schedule"}],
    "lamp_on": True,
    "in_fan_hours": True,
    "next_change": {"at_ms": START_MS, "what": ["lights_off"]},
}
# About the size of a decision memory with a watch or two that are not calm.
_MEMORY = {
    "overrides": [None] * 5 + [{"since_s": 12.5, "engaged": True}] * 2,
    "ramp": [0.4, 3.5, 1.0],
}


def _written_bytes() -> int:
    """Bytes this process has caused to be sent to storage, as the kernel counts them."""
    for line in Path("/proc/self/io").read_text().splitlines():
        if line.startswith("write_bytes"):
            return int(line.split()[1])
    return 0


def _asked_bytes() -> int:
    """Bytes this process has handed to write calls."""
    for line in Path("/proc/self/io").read_text().splitlines():
        if line.startswith("wchar"):
            return int(line.split()[1])
    return 0


class _DayClock:
    """A clock that the bench puts on."""

    now_s = 0.0

    def monotonic_s(self) -> float:
        return self.now_s

    def wall_s(self) -> float:
        return START_MS / 1000 + self.now_s

    def wait(self, seconds: float, wake: threading.Event) -> bool:
        return wake.wait(seconds)


def _a_day(record: BackgroundRecord, clock: _DayClock) -> None:
    every = MINUTES / EVENTS
    events = 0
    for minute in range(MINUTES):
        clock.now_s = 60.0 * minute
        at_ms = START_MS + minute * MINUTE_MS
        while events * every <= minute:
            with record.together():
                record.event(
                    at_ms, "fan.changed", speed=0.4, was=1.0, rule="too_hot", reasons=[_REASON] * 2
                )
                record.save_state("now", at_ms, _NOW)
                record.save_state("memory", at_ms, _MEMORY)
            events += 1
        with record.together():
            record.reading(_reading(at_ms))
            record.save_state("now", at_ms, _NOW)
            record.save_state("memory", at_ms, _MEMORY)
        while record._is_due() or record._is_writing:
            time.sleep(0.0002)


def _count_commits(path: Path, counted: list[int]) -> RecordWriter:
    writer = RecordWriter(path)
    writer._db.set_trace_callback(lambda sql: counted.append(1) if sql == "COMMIT" else None)
    return writer


@pytest.mark.parametrize("commit_every_s", [0.0, 300.0])
def test_bytes_written_in_a_day(tmp_path: Path, commit_every_s: float) -> None:
    if not Path("/proc/self/io").exists():
        pytest.skip("the kernel doesn't count here")
    path, commits, clock = tmp_path / "tent.sqlite3", list[int](), _DayClock()
    record = BackgroundRecord(
        path,
        clock=clock,
        emit=lambda *_: None,
        commit_every_s=commit_every_s,
        open_writer=lambda path: _count_commits(path, commits),
    )
    record.config(START_MS, "tent: {}\n" * 100, "aa")
    asked, written, start = _asked_bytes(), _written_bytes(), time.perf_counter()
    _a_day(record, clock)
    took_s = time.perf_counter() - start
    record.close()
    print(
        f"\none day, {MINUTES} readings of two sensors and {EVENTS} events, each commit durable,\n"
        f"readings within {commit_every_s:.0f} s, events at once:\n"
        f"  commits                    {len(commits):6}\n"
        f"  written to the file system {(_asked_bytes() - asked) / 1e6:6.2f} MB\n"
        f"  sent to storage            {(_written_bytes() - written) / 1e6:6.2f} MB "
        "(0 on a file system in memory)\n"
        f"  size of the record         {path.stat().st_size / 1e6:6.2f} MB\n"
        f"  time                       {took_s / len(commits) * 1e3:6.2f} ms a commit"
    )


def _per_call_us(call: Callable[[int], object], count: int) -> float:
    start = time.perf_counter()
    for n in range(count):
        call(n)
    return (time.perf_counter() - start) / count * 1e6


def test_cost_of_a_tick() -> None:
    means = IntervalMeans(60.0)
    cost_us = _per_call_us(
        lambda n: means.add(
            2.0 * n, 1e9 + 2.0 * n, 24.0 + n % 7, 60.0, 20.0, 50.0, 0.4, True, True, "schedule"
        ),
        200_000,
    )
    print(f"\none tick in the means: {cost_us:.2f} µs")


def test_a_year_is_read(tmp_path: Path) -> None:
    path = tmp_path / "year.sqlite3"
    count = 525_600
    start = time.perf_counter()
    with RecordWriter(path, durable=False) as writer, writer.together():
        for n in range(count):
            writer.reading(_reading(START_MS + n * MINUTE_MS))
    wrote_s = time.perf_counter() - start
    with RecordReader(path) as reader:
        start = time.perf_counter()
        query = "SELECT avg(tent_temperature_c), sum(fan_on_s), max(tent_vpd_pa) FROM readings"
        json.dumps(list(reader.sql(query)))
        summed_s = time.perf_counter() - start
        start = time.perf_counter()
        assert sum(1 for _ in reader.readings()) == count
        streamed_s = time.perf_counter() - start
        start = time.perf_counter()
        reader.latest()
        latest_s = time.perf_counter() - start
    print(
        f"\na year, {count} readings of two sensors, {path.stat().st_size / 1e6:.0f} MB: "
        f"written in {wrote_s:.1f} s, summed by the database in {summed_s:.2f} s, "
        f"streamed as rows in {streamed_s:.1f} s, newest one found in {latest_s * 1e3:.2f} ms"
    )
