"""The events worth a number on the chart and a row in the table below it."""

from __future__ import annotations

from dataclasses import dataclass

from controller.display import hours_and_minutes
from controller.record import EventRow
from controller.review.overrides import Override
from controller.review.report import Review
from controller.review.source import RecordSource
from controller.review.views.cause_words import override_effect, override_reason

# How much an event matters; the rest shows in the chart's lines, or not at all.
_LEAST_MINUTES = 5.0
_WEIGHTS = {
    "fan.failed": 9,
    "failsafe.entered": 9,
    "lamp.cut": 9,
    "output.failed": 9,
    "input.failed": 9,
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
    "output.recovered": 5,
    "input.recovered": 5,
    "lamp.restored": 5,
    "hold.released": 3,
    "hold.expired": 3,
    "alarm.cleared": 3,
    "daemon.stopped": 2,
    "fan_hours.began": 1,
    "fan_hours.ended": 1,
}


@dataclass(frozen=True, slots=True)
class ChartEvent:
    """A numbered event."""

    number: int
    at_ms: int
    name: str
    level: str
    words: str


def find_chart_events(
    source: RecordSource, review: Review, most: int
) -> tuple[list[ChartEvent], int]:
    """The events that matter most, in order of time, and how many more there were.

    An override is one mark with its length and effect, not one each for engaging, being locked out
    and releasing.
    """
    from controller.wording import event_words

    period, units = source.period, review.settings.units
    weighted = [
        (
            _weight(event),
            (
                event.at_ms,
                event.name,
                event.level,
                event_words(event.name, event.data, units, period.zone),
            ),
        )
        for event in source.reader.events(period.start_ms, period.end_ms, list(_WEIGHTS))
    ]
    weighted += [
        (
            4.0 + min(2.5, override.minutes / 120.0),
            (
                round(override.start_ms),
                "override.engaged",
                "info",
                _override_words(review, override),
            ),
        )
        for override in review.overrides
        if override.minutes >= _LEAST_MINUTES
    ]
    chosen = sorted(weighted, key=lambda pair: (-pair[0], pair[1]))[:most]
    chart_events = [
        ChartEvent(number, *fields)
        for number, (_, fields) in enumerate(sorted(chosen, key=lambda pair: pair[1]), start=1)
    ]
    return chart_events, len(weighted) - len(chart_events)


def _override_words(review: Review, override: Override) -> str:
    reason = override_reason(review, override)
    length, effect = hours_and_minutes(override.minutes), override_effect(review, override)
    return f"Override for {length}: {reason}; {effect}"


def _weight(event: EventRow) -> float:
    return _WEIGHTS[event.name] + {"error": 3.0, "warning": 1.0}.get(event.level, 0.0)
