"""The record of one tent: an SQLite file with its readings, events, configs and saved state."""

from controller.record.database import NewerRecordError, NotARecordError, RecordError
from controller.record.reader import RecordReader
from controller.record.rows import ConfigRow, EventRow, ReadingRow, SensorRow, StateRow
from controller.record.writer import RecordWriter, backup_record

__all__ = [
    "ConfigRow",
    "EventRow",
    "NewerRecordError",
    "NotARecordError",
    "ReadingRow",
    "RecordError",
    "RecordReader",
    "RecordWriter",
    "SensorRow",
    "StateRow",
    "backup_record",
]
