"""Rows for tests, with only what a test cares about spelt out."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

from controller.record import ReadingRow, RecordReader

MINUTE_MS = 60_000
# 2013-07-18 00:00 UTC.
START_MS = 1_374_105_600_000


def reading(n: int = 0, **fields: Any) -> ReadingRow:
    """The n-th minute's reading."""
    given: dict[str, Any] = {
        "at_ms": START_MS + n * MINUTE_MS,
        "interval_s": 60.0,
        "tent_temperature_c": 24.0 + n / 1000,
        "tent_humidity_pct": 60.0,
        "fan_speed": 0.4,
        "fan_on_s": 60.0,
        "lamp_on": True,
        "lamp_on_s": 60.0,
        "in_fan_hours": True,
        "rule": "schedule",
    }
    return ReadingRow(**(given | fields))


def names(path: Path) -> list[str]:
    """Names of the events in a record."""
    with RecordReader(path) as reader:
        return [event.name for event in reader.events()]


def integrity(path: Path) -> str:
    """SQLite's own verdict on a record."""
    with RecordReader(path) as reader:
        return str(next(reader.sql("PRAGMA integrity_check"))[0])


class StillClock:
    """A clock that moves only when told."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic_s(self) -> float:
        return self.now_s

    def wall_s(self) -> float:
        return START_MS / 1000 + self.now_s

    def wait(self, seconds: float, wake: threading.Event) -> bool:
        raise AssertionError("nothing here waits on the clock")
