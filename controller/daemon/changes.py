"""From what changed in a tick to the events that are recorded of it."""

from __future__ import annotations

from typing import Any, NamedTuple

from controller.daemon.fan_watch import FanFault, FanWatch
from controller.decision import (
    Decision,
    Memory,
    Now,
    Quantity,
    Readings,
    Reason,
    Rule,
    Transition,
    transitions,
)
from controller.photoperiod import ScheduleState
from controller.record.situation import NextChange, Situation, reasons_json


class Event(NamedTuple):
    """An event to record."""

    name: str
    level: str
    data: dict[str, Any]


def schedule_events(before: ScheduleState | None, after: ScheduleState) -> list[Event]:
    """Say what the timetable changed: lamp, window, flush."""
    if before is after or before is None:
        return []
    events = []
    if before.window_open is not after.window_open:
        events.append(Event("window.opened" if after.window_open else "window.closed", "info", {}))
    if before.lamp_on is not after.lamp_on:
        events.append(Event("lamp.switched", "info", {"on": after.lamp_on, "by": "schedule"}))
    if before.purge_on is not after.purge_on:
        events.append(Event("purge.started" if after.purge_on else "purge.ended", "info", {}))
    return events


def decision_events(
    memory: Memory, before: Decision | None, after: Decision, readings: Readings
) -> list[Event]:
    """Say what the decision changed: holds, failsafe, overrides, the lamp's interlock, the fan.

    Parameters
    ----------
    memory : Memory
        Handed to the decision; holds what a person changed since the last tick.
    before : Decision or None
        The last tick's; None at a start or after a reload.
    after : Decision
        This tick's.
    readings : Readings
        What it was decided on.
    """
    if before is not None and after.memory is before.memory and after.reasons is before.reasons:
        return []
    events = []
    old = memory if before is None else before.memory
    events += _hold_events(old, memory, after)
    if memory.in_failsafe is not after.memory.in_failsafe:
        entered = after.memory.in_failsafe
        name, level = ("failsafe.entered", "error") if entered else ("failsafe.left", "info")
        events.append(Event(name, level, {"speed": after.speed}))
    for transition in transitions(memory, after.memory):
        events.append(_override_event(transition, after))
    events += _lamp_events(memory, after, readings)
    events += _fan_changed(before, after)
    return events


def _hold_events(old: Memory, memory: Memory, after: Decision) -> list[Event]:
    events = []
    if memory.hold is not old.hold and old.hold is not None and memory.hold is None:
        events.append(Event("hold.released", "info", {"speed": old.hold.speed}))
    if after.memory.hold is None and memory.hold is not None:
        events.append(Event("hold.expired", "info", {"speed": memory.hold.speed}))
    return events


def _override_event(transition: Transition, decision: Decision) -> Event:
    kind = transition.kind
    data: dict[str, Any] = {"rule": kind.rule.value, "quantity": kind.quantity.value}
    reason = _reason_of(decision, kind.rule, kind.quantity)
    if reason is not None:
        data |= {"value": _rounded(reason.value), "limit": reason.limit, "unit": reason.unit}
        if reason.intake is not None:
            data |= {"intake": _rounded(reason.intake), "inside": _rounded(reason.inside)}
    return Event(transition.event, "info", data)


def _reason_of(decision: Decision, rule: Rule, quantity: Quantity) -> Reason | None:
    for reason in decision.reasons:
        if reason.rule is rule and reason.quantity is quantity:
            return reason
    return None


def _lamp_events(memory: Memory, after: Decision, readings: Readings) -> list[Event]:
    was_cut = memory.lamp_cut is not None and memory.lamp_cut.is_cut
    is_cut = after.memory.lamp_cut is not None and after.memory.lamp_cut.is_cut
    if was_cut is is_cut:
        return []
    tent = readings.tent
    data = {"temperature_c": None if tent is None else _rounded(tent.temperature_c)}
    return [Event("lamp.cut", "error", data) if is_cut else Event("lamp.restored", "info", data)]


def _fan_changed(before: Decision | None, after: Decision) -> list[Event]:
    """One event for a new speed aimed at or a new ruling reason, none for the steps of a ramp."""
    target, ruling = after.memory.ramp.to_speed, after.reasons[0].rule
    was = None
    if before is not None:
        was = before.memory.ramp.to_speed
        if target == was and ruling is before.reasons[0].rule:
            return []
    data = {
        "speed": target,
        "was": was,
        "rule": ruling.value,
        "reasons": reasons_json(after.reasons),
    }
    return [Event("fan.changed", "info", data)]


def fan_events(before: FanWatch, after: FanWatch, speed: float, rpm: float | None) -> list[Event]:
    """Say whether the fan began or ceased to disobey."""
    if before is after or before.fault is after.fault:
        return []
    if after.fault is None:
        return [Event("fan.recovered", "info", {"rpm": _rounded(rpm), "speed": speed})]
    level = "error" if after.fault is FanFault.NOT_TURNING else "warning"
    data = {"fault": after.fault.value, "rpm": _rounded(rpm), "speed": speed}
    return [Event("fan.failed", level, data)]


def situation(at_ms: int, now: Now, decision: Decision, schedule: ScheduleState) -> Situation:
    """Give what `lungwort now` shows."""
    change = schedule.next_change
    return Situation(
        at_ms,
        decision.speed,
        tuple(reasons_json(decision.reasons, at_ms / 1000 - now.monotonic_s)),
        decision.lamp_on,
        now.window_open,
        None
        if change is None
        else NextChange(round(change.at_s * 1000), tuple(kind.value for kind in change.kinds)),
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
