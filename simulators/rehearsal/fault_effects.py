"""The effects of a fault: how hot it got, when it was noticed, what the controller did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isinf
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller import display
from controller.record import EventRow
from controller.tables import wrapped
from controller.wording import event_words
from simulators.rehearsal.counts import Extreme
from simulators.rehearsal.faults import Fault, fault_words
from simulators.rehearsal.summary import instant_words

if TYPE_CHECKING:
    from controller.config import Settings

# Which events say that the controller has recognised a fault, by the first word of its kind; of
# those without any, only the effects show.
_RECOGNISED = {
    "sensor": ("sensor.failed", "failsafe.entered"),
    "fan": ("fan.failed",),
    "power": ("daemon.started",),
    "controller": ("daemon.started",),
    "clock": ("clock.distrusted", "clock.stepped"),
}
# And which alarms do.
_RECOGNISED_ALARMS = {
    "fan": ("fan_not_turning", "less_air"),
    "filter": ("less_air",),
    "lamp": ("lamp_lit_out_of_hours",),
}
_EFFECTS = ("alarm.raised", "lamp.cut", "override.engaged")
_DEEDS = (
    "sensor.failed",
    "sensor.recovered",
    "failsafe.entered",
    "failsafe.left",
    "fan.failed",
    "fan.recovered",
    "fan.changed",
    "lamp.cut",
    "lamp.restored",
    "clock.stepped",
    "clock.distrusted",
    "clock.trusted",
    "daemon.started",
    "output.failed",
    "override.engaged",
    "alarm.raised",
)
# What the schedule does by itself is no deed of the controller's.
_ROUTINE = ("schedule", "purge")
_SHOWN = 8
# A fault can show for so long after it is over.
_AFTER_S = 3600.0
# A controller that doesn't trust its clock counts on from its record, a minute or so late.
_SLOW_CLOCK_S = 120.0


@dataclass(frozen=True, slots=True)
class FaultOutcome:
    """One fault and its effects.

    Attributes
    ----------
    fault : Fault
        What broke.
    peak, usual_peak : Extreme
        Hottest from its beginning until an hour after its end; the same without any fault.
    noticed : EventRow or None
        The event by which the controller recognised the fault.
    sign : EventRow or None
        Otherwise the first of its effects that the controller saw.
    deeds : tuple of EventRow
        What the controller did meanwhile and a run without faults doesn't have.
    """

    fault: Fault
    peak: Extreme
    usual_peak: Extreme
    noticed: EventRow | None
    sign: EventRow | None
    deeds: tuple[EventRow, ...]


Track = Sequence[tuple[float, float]]


def fault_outcomes(
    faults: Sequence[Fault],
    events: Sequence[EventRow],
    usual_events: Sequence[EventRow],
    track: Track,
    usual_track: Track,
) -> list[FaultOutcome]:
    """Hold a run with faults against the same run without.

    Parameters
    ----------
    faults : sequence of Fault
        What broke.
    events, usual_events : sequence of EventRow
        With and without faults.
    track, usual_track : sequence of (float, float)
        (time [Unix s], true temperature [°C]), with and without.
    """
    usual = {_key(event) for event in usual_events}
    outcomes = []
    for fault in faults:
        end_s = fault.until_s + _AFTER_S
        of_it = [
            event
            for event in events
            if _key(event) not in usual
            and fault.from_s - _SLOW_CLOCK_S <= event.at_ms / 1000 < end_s
        ]
        outcomes.append(
            FaultOutcome(
                fault,
                _peak(track, fault.from_s, end_s),
                _peak(usual_track, fault.from_s, end_s),
                _first_recognition(of_it, fault.kind.split("_")[0]),
                _first(of_it, _EFFECTS),
                tuple(e for e in of_it if e.name in _DEEDS and not _is_routine(e)),
            )
        )
    return outcomes


def _key(event: EventRow) -> tuple[int, str]:
    return event.at_ms, event.name


def _first(events: Sequence[EventRow], names: Sequence[str]) -> EventRow | None:
    return next((event for event in events if event.name in names), None)


def _first_recognition(events: Sequence[EventRow], what: str) -> EventRow | None:
    """The first event or alarm that names the fault."""
    names, alarms = _RECOGNISED.get(what, ()), _RECOGNISED_ALARMS.get(what, ())
    for event in events:
        is_alarm = event.name == "alarm.raised" and event.data.get("alarm") in alarms
        if is_alarm or event.name in names:
            return event
    return None


def _is_routine(event: EventRow) -> bool:
    return event.name == "fan.changed" and event.data.get("rule") in _ROUTINE


def _peak(track: Track, from_s: float, until_s: float) -> Extreme:
    inside = [(air_c, at_s) for at_s, air_c in track if from_s <= at_s <= until_s]
    air_c, at_s = max(inside, default=(float("nan"), from_s))
    return Extreme(air_c, at_s)


def fault_lines(outcomes: Sequence[FaultOutcome], settings: Settings, width: int = 80) -> list[str]:
    """Describe each fault and its effects, in lines of so many columns."""
    units, zone = settings.units, ZoneInfo(settings.place.timezone)
    lines = []
    listed: set[int] = set()
    for outcome in outcomes:
        fault = outcome.fault
        lasts, how_long = "", "" if isinf(fault.until_s) else _length(fault)
        if how_long:  # a filter stays clogged once it is
            lasts = f", in {how_long}" if fault.kind == "filter_clogging" else f", for {how_long}"
        duct = settings.duct
        breaks = fault_words(fault, has_filter=duct is not None and duct.filter is not None)
        what = f"{breaks}, from {instant_words(fault.from_s, zone)}{lasts}:"
        lines += ["", *wrapped(what[0].upper() + what[1:], width, rest="  ")]
        more = outcome.peak.value - outcome.usual_peak.value
        hotter = (
            "about as hot as without it"
            if abs(more) < 0.25
            else f"{display.temperature_difference(abs(more), units)} "
            f"{'hotter' if more > 0 else 'cooler'} than without it"
        )
        peak = (
            f"It got {display.temperature(outcome.peak.value, units)} at "
            f"{instant_words(outcome.peak.at_s, zone)}, {hotter}."
        )
        for text in (peak, _noticed_words(outcome, units, zone)):
            lines += wrapped(text, width, first="  ")
        unlisted = [event for event in outcome.deeds if event.id not in listed]
        if len(unlisted) < len(outcome.deeds):
            lines.append(f"    {'besides events told above:' if unlisted else 'events as above'}")
        lines += _deed_lines(unlisted, units, zone, width)
        listed.update(event.id for event in unlisted[:_SHOWN])
    return lines


def _noticed_words(outcome: FaultOutcome, units: display.Units, zone: ZoneInfo) -> str:
    event, sign = outcome.noticed, outcome.sign
    if event is not None:
        return f"Noticed {_after(outcome, event)}: {_words(event, units, zone)}."
    if sign is not None:
        return (
            "Not recognised as a fault; the first that showed of it, "
            f"{_after(outcome, sign)}: {_words(sign, units, zone)}."
        )
    return "The controller did not notice."


def _after(outcome: FaultOutcome, event: EventRow) -> str:
    after_s = event.at_ms / 1000 - outcome.fault.from_s
    return "at once" if after_s < 60.0 else f"after {display.duration(after_s)}"


def _words(event: EventRow, units: display.Units, zone: ZoneInfo) -> str:
    title = event.data.get("title")
    if event.name == "alarm.raised" and isinstance(title, str):
        return f"Alarm: {title}"
    return event_words(event.name, event.data, units, zone)


def _length(fault: Fault) -> str:
    return display.duration(fault.until_s - fault.from_s)


def _deed_lines(
    deeds: Sequence[EventRow], units: display.Units, zone: ZoneInfo, width: int
) -> list[str]:
    lines = []
    for event in deeds[:_SHOWN]:
        when = f"    {instant_words(event.at_ms / 1000, zone)}  "
        lines += wrapped(_words(event, units, zone), width, first=when, rest=" " * 6)
    if len(deeds) > _SHOWN:
        lines.append(f"    ... and {len(deeds) - _SHOWN} more events")
    return lines


def fault_json(outcomes: Sequence[FaultOutcome], settings: Settings) -> list[dict[str, Any]]:
    """The same as objects, SI units in the keys."""
    zone = ZoneInfo(settings.place.timezone)
    return [
        {
            "fault": o.fault.kind,
            "sensors": list(o.fault.sensors),
            "from": display.rfc3339(o.fault.from_s, zone),
            "until": None if isinf(o.fault.until_s) else display.rfc3339(o.fault.until_s, zone),
            "peak_temperature_c": round(o.peak.value, 4),
            "peak_time": display.rfc3339(o.peak.at_s, zone),
            "usual_peak_temperature_c": round(o.usual_peak.value, 4),
            "noticed_after_s": None
            if o.noticed is None
            else round(o.noticed.at_ms / 1000 - o.fault.from_s, 3),
            "noticed_by": None if o.noticed is None else o.noticed.name,
            "events": [
                {"time": display.rfc3339(e.at_ms / 1000, zone), "event": e.name, **e.data}
                for e in o.deeds
            ],
        }
        for o in outcomes
    ]
