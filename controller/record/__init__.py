"""The record of one tent: an SQLite file with its readings, events, configs and saved state."""

from controller.record.background import BackgroundRecord
from controller.record.database import NewerRecordError, NotARecordError, RecordError
from controller.record.forms import InlineRecord, MemoryRecord, Record
from controller.record.reader import RecordReader
from controller.record.rows import ConfigRow, EventRow, ReadingRow, SensorRow, StateRow
from controller.record.tally import Tally
from controller.record.writer import RecordWriter, backup_record

__all__ = [
    "BackgroundRecord",
    "ConfigRow",
    "EventRow",
    "InlineRecord",
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
    "Tally",
    "backup_record",
]
