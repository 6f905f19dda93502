"""The record of one tent: an SQLite file with its readings, events, configs and saved state."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from controller.record.background import BackgroundRecord
    from controller.record.database import NewerRecordError, NotARecordError, RecordError
    from controller.record.interval_means import IntervalMeans
    from controller.record.reader import RecordReader
    from controller.record.recorder import InlineRecord, MemoryRecord, Record
    from controller.record.rows import (
        ConfigRow,
        EventRow,
        LearningRow,
        ReadingRow,
        SensorRow,
        StateRow,
    )
    from controller.record.writer import RecordWriter, backup_record

__all__ = [
    "BackgroundRecord",
    "ConfigRow",
    "EventRow",
    "InlineRecord",
    "IntervalMeans",
    "LearningRow",
    "MemoryRecord",
    "NewerRecordError",
    "NotARecordError",
    "ReadingRow",
    "Record",
    "RecordError",
    "RecordReader",
    "RecordWriter",
    "SensorRow",
    "StateRow",
    "backup_record",
]

# Whoever reads a record needs no writer: each name brings in its own module, when it is asked for.
_MODULES = {
    "BackgroundRecord": "background",
    "ConfigRow": "rows",
    "EventRow": "rows",
    "InlineRecord": "recorder",
    "MemoryRecord": "recorder",
    "NewerRecordError": "database",
    "NotARecordError": "database",
    "ReadingRow": "rows",
    "Record": "recorder",
    "RecordError": "database",
    "RecordReader": "reader",
    "RecordWriter": "writer",
    "SensorRow": "rows",
    "StateRow": "rows",
    "IntervalMeans": "interval_means",
    "LearningRow": "rows",
    "backup_record": "writer",
}


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_MODULES[name]}"), name)
