"""What waits to be written: each knows how to write itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.record.rows import ReadingRow
from controller.record.writer import RecordWriter


@dataclass(slots=True)
class EventItem:
    """An event, and whether its log line was written already (because the disk could not wait)."""

    at_ms: int
    name: str
    level: str
    data: dict[str, object]
    is_logged: bool = False

    def write(self, writer: RecordWriter) -> None:
        """Write it."""
        writer.event(self.at_ms, self.name, self.level, **self.data)


@dataclass(slots=True)
class ReadingItem:
    """A reading; it goes under the config that is in force where it is written."""

    row: ReadingRow

    def write(self, writer: RecordWriter) -> None:
        """Write it."""
        row = self.row
        # An id from elsewhere means nothing in a record that was begun anew meanwhile.
        writer.reading(row if row.config_id is None else replace(row, config_id=None))


@dataclass(slots=True)
class ConfigItem:
    """A config that came into force."""

    at_ms: int
    yaml: str
    sha256: str

    def write(self, writer: RecordWriter) -> None:
        """Write it."""
        writer.config(self.at_ms, self.yaml, self.sha256)


@dataclass(slots=True)
class LearningItem:
    """What was learned of the tent."""

    at_ms: int
    result: dict[str, object]

    def write(self, writer: RecordWriter) -> None:
        """Write it."""
        writer.learning(self.at_ms, self.result)


@dataclass(slots=True)
class StateItem:
    """A value to keep under a key; only the newest of a key matters."""

    key: str
    at_ms: int
    value: object

    def write(self, writer: RecordWriter) -> None:
        """Write it."""
        writer.save_state(self.key, self.at_ms, self.value)


@dataclass(slots=True)
class PruneItem:
    """A request to delete what is old."""

    at_ms: int
    before_ms: int


Item = EventItem | ReadingItem | ConfigItem | LearningItem
