"""The events to record for what changed in a tick."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from controller.control import (
    Decision,
    Memory,
    Now,
    Quantity,
    Readings,
    Reason,
    Rule,
    Transition,
    compared_value,
    transitions,
)
from controller.daemon.fan_watch import FanFault, FanWatch
from controller.daemon.wall import WallTime
from controller.record.status import DaemonStatus, NextChange, reasons_json
from controller.timetable import ScheduleState


class Event(NamedTuple):
    """An event to record."""

    name: str
    level: str
    data: dict[str, Any]


class Reported(NamedTuple):
    """The state that the events recorded last amount to; None before the first tick.

    It survives a reload, so that a new config records what it changes and nothing else.

    Attributes
    ----------
    lamp_on, in_fan_hours, is_quiet : bool or None
        As last recorded.
    fan_speed : float or None
        The speed aimed at.
    fan_rule : Rule or None
        The deciding row.
    clock_is_trusted : bool
        Whether the clock was; it is, until it is said not to be.
    """

    lamp_on: bool | None = None
    in_fan_hours: bool | None = None
    is_quiet: bool | None = None
    fan_speed: float | None = None
    fan_rule: Rule | None = None
    clock_is_trusted: bool = True


def clock_events(reported: Reported, wall: WallTime) -> tuple[list[Event], Reported]:
    """Events for a step of the clock, and for a clock that is trusted no more or again."""
    events = []
    if wall.stepped_by_s:
        events.append(Event("clock.stepped", "warning", {"by_s": round(wall.stepped_by_s, 3)}))
    if wall.is_trusted is reported.clock_is_trusted:
        return events, reported
    name, level = ("clock.trusted", "info") if wall.is_trusted else ("clock.distrusted", "warning")
    events.append(Event(name, level, {}))
    return events, reported._replace(clock_is_trusted=wall.is_trusted)


def schedule_events(
    reported: Reported, now: Now, lamp_on: bool, lamp_by: str, fan_hours_by: str | None
) -> tuple[list[Event], Reported]:
    """Events for changes of lamp, fan hours and quiet hours; a purge is one of the fan.

    Parameters
    ----------
    reported : Reported
        What is recorded already.
    now : Now
        The tick's.
    lamp_on : bool
        The lamp as sensed, as commanded, or, on a timer of its own, as it should be.
    lamp_by : str
        Which of the three: "photocell", "relay" or "own_timer".
    fan_hours_by : str or None
        The reason for fan hours outside the schedule.

    Returns
    -------
    tuple of (list of Event, Reported)
        The very same `reported` when nothing changed.
    """
    if (lamp_on, now.in_fan_hours, now.is_quiet) == reported[:3]:
        return [], reported
    events = []
    if reported.in_fan_hours not in (None, now.in_fan_hours):
        data = {"by": fan_hours_by} if fan_hours_by is not None else {}
        name = "fan_hours.began" if now.in_fan_hours else "fan_hours.ended"
        events.append(Event(name, "info", data))
    if reported.lamp_on not in (None, lamp_on):
        events.append(Event("lamp.switched", "info", {"on": lamp_on, "by": lamp_by}))
    if reported.is_quiet not in (None, now.is_quiet):
        events.append(Event("quiet.began" if now.is_quiet else "quiet.ended", "info", {}))
    return events, reported._replace(
        lamp_on=lamp_on,
        in_fan_hours=now.in_fan_hours,
        is_quiet=now.is_quiet,
    )


def decision_events(
    old: Memory,
    memory: Memory,
    after: Decision,
    readings: Readings,
    why: tuple[Sequence[Reason], Sequence[Reason]],
) -> list[Event]:
    """Events for what the decision changed: holds, failsafe, overrides, the lamp's interlock.

    Parameters
    ----------
    old : Memory
        After the last decision.
    memory : Memory
        Before this one; differs from `old` by what a person changed since.
    after : Decision
        This tick's.
    readings : Readings
        The readings that it was based on.
    why : tuple of two sequences of Reason
        The reasons of the last decision, none at a start, and of this one.
    """
    if after.memory is old:
        return []
    events = _hold_events(old, memory, after)
    if memory.in_failsafe is not after.memory.in_failsafe:
        entered = after.memory.in_failsafe
        name, level = ("failsafe.entered", "error") if entered else ("failsafe.left", "info")
        events.append(Event(name, level, {"speed": after.speed}))
    for transition in transitions(memory, after.memory):
        events.append(_override_event(transition, after, readings, why))
    events += _lamp_events(memory, after, readings)
    return events


def _hold_events(old: Memory, memory: Memory, after: Decision) -> list[Event]:
    events = []
    if memory.hold is not old.hold and old.hold is not None and memory.hold is None:
        events.append(Event("hold.released", "info", {"speed": old.hold.speed}))
    if after.memory.hold is None and memory.hold is not None:
        events.append(Event("hold.expired", "info", {"speed": memory.hold.speed}))
    return events


def _override_event(
    transition: Transition,
    after: Decision,
    readings: Readings,
    why: tuple[Sequence[Reason], Sequence[Reason]],
) -> Event:
    kind = transition.kind
    data: dict[str, Any] = {"rule": kind.rule.value, "quantity": kind.quantity.value}
    reasons_before, reasons_now = why
    reason = _reason_of(reasons_now, kind.rule, kind.quantity)
    if reason is not None:
        data |= {"value": _rounded(reason.value), "limit": reason.limit, "unit": reason.unit}
        if reason.intake is not None:
            data |= {"intake": _rounded(reason.intake), "inside": _rounded(reason.inside)}
    elif readings.tent is not None and not after.memory.in_failsafe:
        # Released: the value at which it was released, with the limit that it had passed.
        last = _reason_of(reasons_before, kind.rule, kind.quantity)
        if last is not None:
            value = compared_value(kind, readings.tent, readings.intake)
            shown = _rounded(value) if math.isfinite(value) else None  # CO2, no more measured
            data |= {"value": shown, "limit": last.limit, "unit": last.unit}
    return Event(transition.event, "info", data)


def _reason_of(reasons: Sequence[Reason], rule: Rule, quantity: Quantity) -> Reason | None:
    for reason in reasons:
        if reason.rule is rule and reason.quantity is quantity:
            return reason
    return None


def _lamp_events(memory: Memory, after: Decision, readings: Readings) -> list[Event]:
    is_cut = after.memory.lamp_is_cut
    if memory.lamp_is_cut is is_cut:
        return []
    tent = readings.tent
    data = {"temperature_c": None if tent is None else _rounded(tent.temperature_c)}
    return [Event("lamp.cut", "error", data) if is_cut else Event("lamp.restored", "info", data)]


def fan_changed(
    reported: Reported, after: Decision, reasons: Sequence[Reason]
) -> tuple[list[Event], Reported]:
    """One event for a new target speed or a new deciding row, none for the steps of a ramp.

    A row that still waits for the fan's minimum time is recorded once it sets the speed; a purge
    that changes no speed is no event.
    """
    target, deciding = after.memory.ramp.to_speed, after.rule
    if (target, deciding) == (reported.fan_speed, reported.fan_rule):
        return [], reported
    is_purge = any(reason.rule is Rule.PURGE for reason in reasons)
    if target == reported.fan_speed and (after.is_limited or is_purge):
        return [], reported
    data = {
        "speed": target,
        "was": reported.fan_speed,
        "rule": deciding.value,
        "reasons": reasons_json(reasons),
    }
    return [Event("fan.changed", "info", data)], reported._replace(
        fan_speed=target, fan_rule=deciding
    )


def fan_events(before: FanWatch, after: FanWatch, speed: float, rpm: float | None) -> list[Event]:
    """Events for a fan that begins or stops to differ from its command."""
    if before is after or before.fault is after.fault:
        return []
    if after.fault is None:
        data = {"fault": _fault(before), "rpm": _rounded(rpm), "speed": speed}
        return [Event("fan.recovered", "info", data)]
    level = "error" if after.fault is FanFault.NOT_TURNING else "warning"
    data = {"fault": after.fault.value, "rpm": _rounded(rpm), "speed": speed}
    return [Event("fan.failed", level, data)]


def _fault(watch: FanWatch) -> str | None:
    return None if watch.fault is None else watch.fault.value


def daemon_status(
    at_ms: int,
    now: Now,
    decision: Decision,
    reasons: Sequence[Reason],
    schedule: ScheduleState,
) -> DaemonStatus:
    """Give what `lungwort now` shows."""
    change = schedule.next_change
    return DaemonStatus(
        at_ms,
        decision.speed,
        tuple(reasons_json(reasons, at_ms / 1000 - now.monotonic_s)),
        decision.lamp_on,
        now.in_fan_hours,
        None
        if change is None
        else NextChange(round(change.at_s * 1000), tuple(kind.value for kind in change.kinds)),
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
