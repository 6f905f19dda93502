"""The events worth a number on the chart and a row in the table below it."""

from __future__ import annotations

from dataclasses import dataclass

from controller.record import EventRow
from controller.review.source import Source

# How much an event matters; the rest is told by the chart's lines, or not at all.
_WEIGHTS = {
    "fan.failed": 9,
    "failsafe.entered": 9,
    "lamp.cut": 9,
    "output.failed": 9,
    "record.set_aside": 9,
    "alarm.raised": 8,
    "sensor.failed": 8,
    "clock.stepped": 7,
    "daemon.started": 7,
    "config.rejected": 7,
    "config.reloaded": 7,
    "hold.set": 6,
    "fan.recovered": 5,
    "failsafe.left": 5,
    "sensor.recovered": 5,
    "lamp.restored": 5,
    "override.withheld": 5,
    "override.engaged": 4,
    "override.resumed": 3,
    "hold.released": 3,
    "hold.expired": 3,
    "alarm.cleared": 3,
    "override.released": 2,
    "daemon.stopped": 2,
    "window.opened": 1,
    "window.closed": 1,
}


@dataclass(frozen=True, slots=True)
class Mark:
    """A numbered event."""

    number: int
    at_ms: int
    name: str
    level: str
    words: str


def find_marks(source: Source, most: int) -> tuple[list[Mark], int]:
    """The events that matter most, in order of time, and how many more there were."""
    from controller.wording import event_words

    period = source.period
    events = list(source.reader.events(period.start_ms, period.end_ms, list(_WEIGHTS)))
    heaviest = sorted(events, key=_weight, reverse=True)[:most]
    units = source.terms.present.settings.units
    marks = [
        Mark(
            number,
            event.at_ms,
            event.name,
            event.level,
            event_words(event.name, event.data, units, period.zone),
        )
        for number, event in enumerate(sorted(heaviest, key=lambda one: one.id), start=1)
    ]
    return marks, len(events) - len(marks)


def _weight(event: EventRow) -> tuple[int, int]:
    level = {"error": 3, "warning": 1}.get(event.level, 0)
    return _WEIGHTS[event.name] + level, -event.id
