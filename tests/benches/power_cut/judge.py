"""What a power cut took: the log lines that left the guest, held against its record."""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from machine import Said, Seen

# What log lines call keys that they use themselves.
_RESERVED = ("event", "level", "timestamp")

Key = tuple[int, str, str]


class Event(NamedTuple):
    """An event, from a log line or a record."""

    at_ms: int
    name: str
    data: str  # canonical JSON

    @property
    def key(self) -> Key:
        """What makes it the same event."""
        return self.at_ms, self.name, self.data


def _canonical(data: dict[str, Any]) -> str:
    return json.dumps(data, sort_keys=True, separators=(",", ":"))


def acknowledged(said: Iterable[Said]) -> list[Event]:
    """The events among log lines; other lines are left out.

    An event's log line follows its commit, except for the record's own troubles, which are told
    although they can't be kept: those are left out too.
    """
    events = []
    for line in said:
        try:
            fields = json.loads(line.text)
            at = dt.datetime.fromisoformat(fields.pop("timestamp"))
            name = fields.pop("event")
            fields.pop("level")
        except (ValueError, KeyError, AttributeError, TypeError):
            continue
        if name == "library.said" or name.startswith("record."):
            continue
        data = {
            key[:-1] if key.endswith("_") and key[:-1] in _RESERVED else key: value
            for key, value in fields.items()
        }
        events.append(Event(round(at.timestamp() * 1000), name, _canonical(data)))
    return events


class Record(NamedTuple):
    """What a record holds."""

    integrity: str
    events: list[Event]
    readings: list[int]
    set_aside: list[str]


def parse_record(text: str) -> Record:
    """Take in what bench_record.py printed."""
    found = json.loads(text)
    return Record(
        "; ".join(found["integrity"]),
        [Event(at, name, _canonical(json.loads(data))) for _, at, name, _, data in found["events"]],
        found["readings"],
        found["set_aside"],
    )


def events_lost(acknowledged_ones: Iterable[Event], record: Record) -> list[Event]:
    """Acknowledged events that the record doesn't hold."""
    missing = Counter(e.key for e in acknowledged_ones)
    missing.subtract(Counter(e.key for e in record.events))
    return [Event(*key) for key, count in missing.items() for _ in range(max(0, count))]


def readings_unsaid(seen: Iterable[Seen], record: Record) -> int:
    """How many readings another process had found in the record and which are gone."""
    return len({s.newest_ms for s in seen} - set(record.readings))


def unrecorded_s(heard: Sequence[Event], record: Record) -> float | None:
    """From the end of the last kept reading to the last sign of life before the cut [s].

    Up to `record.commit_every` by design; the bench's holds are events, which take readings along.
    Counted from the daemon's first sign of life at the earliest: a machine that was without power
    reads nothing.

    Parameters
    ----------
    heard : sequence of Event
        What the daemon said between power-on and the cut, in order; not empty.
    record : Record
        As found at the next boot.
    """
    last_ms = heard[-1].at_ms
    before = [at_ms for at_ms in record.readings if at_ms <= last_ms]
    return (last_ms - max(before[-1], heard[0].at_ms)) / 1000 if before else None
