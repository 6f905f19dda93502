"""How often the fan started and changed its speed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from controller.review.period import Day
from controller.review.segments import Segment
from controller.review.source import RecordSource

_WAS_ON = "SELECT fan_on_s > 0 FROM readings WHERE at_ms <= ? ORDER BY at_ms DESC LIMIT 1"
_STARTS = """
SELECT at_ms FROM events WHERE name = 'fan.changed' AND at_ms >= ? AND at_ms < ?
    AND CASE WHEN json_valid(data) THEN data ->> 'was' = 0 AND data ->> 'speed' > 0 END
ORDER BY at_ms
"""

_CHANGES = """
SELECT at_ms FROM events WHERE name = 'fan.changed' AND at_ms >= ? AND at_ms < ?
    AND CASE WHEN json_valid(data) THEN data ->> 'was' IS NOT data ->> 'speed' END
ORDER BY at_ms
"""


def fan_starts(source: RecordSource, segments: Sequence[Segment]) -> list[int]:
    """Starts of each day: by the events, or by the readings where those show more.

    Both can only miss some: a short stop inside one interval leaves no trace in the readings, and
    events may have been pruned.
    """
    period = source.period
    by_readings = _by_day(period.days, _starts_of_readings(source, segments))
    events = source.rows(_STARTS, period.start_ms, period.end_ms)
    by_events = _by_day(period.days, (at_ms for (at_ms,) in events))
    return [max(pair) for pair in zip(by_readings, by_events, strict=True)]


def speed_changes(source: RecordSource) -> list[int]:
    """How often another speed was commanded on each day, by the events."""
    period = source.period
    events = source.rows(_CHANGES, period.start_ms, period.end_ms)
    return _by_day(period.days, (at_ms for (at_ms,) in events))


def _starts_of_readings(source: RecordSource, segments: Sequence[Segment]) -> Iterable[float]:
    was_on = any(is_on for (is_on,) in source.rows(_WAS_ON, source.period.start_ms))
    for segment in segments:
        if segment.fan_on and not was_on:
            yield segment.start_ms
        was_on = segment.fan_on


def _by_day(days: Sequence[Day], instants_ms: Iterable[float]) -> list[int]:
    """How many of the instants, in order of time, fall on each day."""
    counts = [0] * len(days)
    day = 0
    for at_ms in instants_ms:
        while days[day].end_ms <= at_ms:
            day += 1
        counts[day] += 1
    return counts
