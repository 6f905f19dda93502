"""The states of an alarm: pending, active, acknowledged, over. Pure: time is an argument.

The states are those of ANSI/ISA-18.2 (from memory), as far as one tent needs them: an alarm that is
over and was never acknowledged is kept if its priority is high, and forgotten after an hour
otherwise. An alarm raised three times within an hour comes and goes: from then on nothing is told
of it until it has stood, or kept quiet, for an hour. (The standard's three in a minute fit faster
signals: with delays of minutes nothing would ever be so, and be told all night.)
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, NamedTuple

from controller.alarms.conditions import Condition
from controller.alarms.kinds import BY_NAME, KINDS, AlarmKind, Priority

CHATTER_COUNT = 3
CHATTER_WITHIN_S = 3600.0
CHATTER_QUIET_S = 3600.0
STALE_AFTER_S = 86_400.0


class AlarmState(StrEnum):
    """The state of an alarm."""

    PENDING = "pending"  # its condition holds, not yet for its on-delay
    ACTIVE = "active"
    ACKNOWLEDGED = "acknowledged"  # active, and acknowledged by a person
    OVER = "over"  # its condition is gone, and it was not acknowledged


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm that is not normal.

    Attributes
    ----------
    name : str
        Its kind.
    state : AlarmState
        Where it stands.
    since_s : float
        When it came into that state, on the monotonic clock [s].
    raised_ms : int
        When it was raised, wall clock [Unix ms]; 0 while pending.
    began_ms : int
        When its condition began to hold, its on-delay before that [Unix ms]; 0 while pending.
    gone_since_s : float or None
        Since when its condition is gone, within the off-delay, or while pending [s].
    raises_s : tuple of float
        When it was last raised [s], for chattering.
    is_chattering : bool
        Whether it is.
    why : str
        Which of its responses fits, as its condition last held; see `Condition.why`.
    compared_with : str
        What told what was to be expected then; see `Condition.compared_with`.
    """

    name: str
    state: AlarmState
    since_s: float
    raised_ms: int = 0
    began_ms: int = 0
    gone_since_s: float | None = None
    raises_s: tuple[float, ...] = ()
    is_chattering: bool = False
    why: str = ""
    compared_with: str = ""

    @property
    def kind(self) -> AlarmKind:
        """The kind of the alarm."""
        return BY_NAME[self.name]

    @property
    def is_active(self) -> bool:
        """Whether it is raised and not over."""
        return self.state in (AlarmState.ACTIVE, AlarmState.ACKNOWLEDGED)


class AlarmChange(NamedTuple):
    """A change of an alarm that is recorded and sent."""

    event: str  # alarm.raised, alarm.cleared or alarm.acknowledged
    alarm: Alarm
    condition: Condition | None


Alarms = Mapping[str, Alarm]


def step_alarms(
    alarms: Alarms,
    conditions: Mapping[str, Condition | None],
    now_s: float,
    at_ms: int,
) -> tuple[Alarms, tuple[AlarmChange, ...]]:
    """Give every alarm's next state.

    Parameters
    ----------
    alarms : mapping of str to Alarm
        Those that are not normal.
    conditions : mapping of str to (Condition or None)
        From `conditions`; None leaves an alarm as it is.
    now_s : float
        Monotonic time [s].
    at_ms : int
        Wall time [Unix ms].

    Returns
    -------
    tuple of (mapping, tuple of AlarmChange)
        The very same mapping when nothing changed, and what is to be told.
    """
    changes: list[AlarmChange] = []
    stepped: dict[str, Alarm] | None = None
    for kind in KINDS:
        condition = conditions.get(kind.name)
        before = alarms.get(kind.name)
        if condition is None or (before is None and condition.excess <= 0.0):
            continue
        after = _step(kind, before, condition, now_s, at_ms, changes)
        if after is not before:
            stepped = dict(alarms) if stepped is None else stepped
            if after is None:
                del stepped[kind.name]
            else:
                stepped[kind.name] = after
    return (alarms if stepped is None else stepped), tuple(changes)


def _step(
    kind: AlarmKind,
    alarm: Alarm | None,
    condition: Condition,
    now_s: float,
    at_ms: int,
    changes: list[AlarmChange],
) -> Alarm | None:
    if alarm is None:
        alarm = Alarm(kind.name, AlarmState.PENDING, now_s)
    if alarm.state is AlarmState.OVER:
        return _step_over(kind, alarm, condition, now_s, at_ms, changes)
    if alarm.state is AlarmState.PENDING:
        if condition.excess <= 0.0:
            return _pending_within(kind, alarm, now_s)
        if alarm.gone_since_s is not None:
            alarm = replace(alarm, gone_since_s=None)
        if now_s - alarm.since_s >= kind.on_delay_s:
            return _raise(alarm, alarm.since_s, condition, now_s, at_ms, changes)
        return alarm
    if alarm.is_chattering and now_s - alarm.since_s >= CHATTER_QUIET_S:
        alarm = replace(alarm, is_chattering=False, raises_s=())  # active, and no longer chattering
    reason = (condition.why, condition.compared_with)
    if condition.excess > 0.0 and reason != (alarm.why, alarm.compared_with):
        # What fits in the morning may not at night: whoever lists it later is told what does.
        alarm = replace(alarm, why=condition.why, compared_with=condition.compared_with)
    if condition.excess >= -condition.hysteresis:
        # Within the hysteresis it stays active, and its off-delay starts over.
        return alarm if alarm.gone_since_s is None else replace(alarm, gone_since_s=None)
    gone_since_s = now_s if alarm.gone_since_s is None else alarm.gone_since_s
    if now_s - gone_since_s < kind.off_delay_s:
        return alarm if alarm.gone_since_s is not None else replace(alarm, gone_since_s=now_s)
    return _clear(alarm, condition, now_s, changes)


def _pending_within(kind: AlarmKind, alarm: Alarm, now_s: float) -> Alarm | None:
    """A pending alarm whose condition does not hold: dropped, unless that is mere noise."""
    if alarm.gone_since_s is None:
        alarm = replace(alarm, gone_since_s=now_s)
    return alarm if now_s - (alarm.gone_since_s or 0.0) < kind.bridged_s else None


def _step_over(
    kind: AlarmKind,
    alarm: Alarm,
    condition: Condition,
    now_s: float,
    at_ms: int,
    changes: list[AlarmChange],
) -> Alarm | None:
    """Raise an alarm that is over again, or drop it; after a quiet time it no longer chatters."""
    if condition.excess > 0.0:
        since_s = alarm.gone_since_s if alarm.gone_since_s is not None else now_s
        if now_s - since_s >= kind.on_delay_s:
            return _raise(alarm, since_s, condition, now_s, at_ms, changes)
        return alarm if alarm.gone_since_s is not None else replace(alarm, gone_since_s=now_s)
    if alarm.gone_since_s is not None:
        alarm = replace(alarm, gone_since_s=None)
    if alarm.is_chattering and now_s - alarm.since_s >= CHATTER_QUIET_S:
        alarm = replace(alarm, is_chattering=False, raises_s=())
    keep = kind.priority is Priority.HIGH or alarm.is_chattering
    if not keep and now_s - alarm.since_s >= CHATTER_WITHIN_S:
        return None
    return alarm


def _raise(
    alarm: Alarm,
    began_s: float,
    condition: Condition,
    now_s: float,
    at_ms: int,
    changes: list[AlarmChange],
) -> Alarm:
    raises = (*(s for s in alarm.raises_s if now_s - s < CHATTER_WITHIN_S), now_s)
    was_chattering = alarm.is_chattering
    alarm = replace(
        alarm,
        state=AlarmState.ACTIVE,
        since_s=now_s,
        raised_ms=at_ms,
        began_ms=at_ms - round(1000.0 * (now_s - began_s)),
        gone_since_s=None,
        raises_s=raises,
        is_chattering=was_chattering or len(raises) >= CHATTER_COUNT,
        why=condition.why,
        compared_with=condition.compared_with,
    )
    if not was_chattering:
        changes.append(AlarmChange("alarm.raised", alarm, condition))
    return alarm


def _clear(
    alarm: Alarm, condition: Condition, now_s: float, changes: list[AlarmChange]
) -> Alarm | None:
    if not alarm.is_chattering:
        changes.append(AlarmChange("alarm.cleared", alarm, condition))
    if alarm.state is AlarmState.ACKNOWLEDGED and not alarm.is_chattering:
        return None
    # Kept for a while even if its priority is low: to notice chattering.
    return replace(alarm, state=AlarmState.OVER, since_s=now_s, gone_since_s=None)


def graver_of(alarm: Alarm, alarms: Alarms) -> Alarm | None:
    """The gravest alarm of the same matter that stands beside a lesser one; None without any."""
    return next((a for a in map(alarms.get, alarm.kind.graver) if a and a.is_active), None)


def lesser_of(alarm: Alarm, alarms: Alarms) -> Alarm | None:
    """The gravest lesser alarm of the same matter whose condition still holds, or None."""
    lesser = (alarms.get(kind.name) for kind in KINDS if alarm.name in kind.graver)
    return next((a for a in lesser if a and a.is_active and a.gone_since_s is None), None)


def acknowledge(alarms: Alarms, name: str | None) -> tuple[Alarms, tuple[AlarmChange, ...]]:
    """Acknowledge an alarm, or all.

    Parameters
    ----------
    alarms : mapping of str to Alarm
        Those that are not normal.
    name : str or None
        Which one; None for all.
    """
    changed = dict(alarms)
    changes = []
    for alarm in alarms.values():
        if name not in (None, alarm.name):
            continue
        if alarm.state is AlarmState.ACTIVE:
            acknowledged = replace(alarm, state=AlarmState.ACKNOWLEDGED)
            changed[alarm.name] = acknowledged
            changes.append(AlarmChange("alarm.acknowledged", acknowledged, None))
        elif alarm.state is AlarmState.OVER:
            del changed[alarm.name]
            changes.append(AlarmChange("alarm.acknowledged", alarm, None))
    return (changed if changes else alarms), tuple(changes)


def snapshot(alarms: Alarms, now_s: float) -> list[dict[str, Any]]:
    """Give a JSON form with ages instead of monotonic times; pending ones are left out."""
    return [
        {
            "alarm": alarm.name,
            "priority": alarm.kind.priority.value,
            "state": alarm.state.value,
            "age_s": round(now_s - alarm.since_s, 1),
            "raised_ms": alarm.raised_ms,
            "began_ms": alarm.began_ms,
            "chattering": alarm.is_chattering,
            "why": alarm.why,
            "compared_with": alarm.compared_with,
        }
        for alarm in alarms.values()
        if alarm.state is not AlarmState.PENDING
    ]


def restore(saved: object, now_s: float, away_s: float) -> Alarms:
    """Restore what `snapshot` gave, without what is not valid."""
    alarms: dict[str, Alarm] = {}
    for row in saved if isinstance(saved, list) else []:
        try:
            name, age_s = row["alarm"], float(row["age_s"])
            if name in BY_NAME and math.isfinite(age_s):
                alarms[name] = Alarm(
                    name,
                    AlarmState(row["state"]),
                    now_s - max(0.0, away_s) - age_s,
                    int(row["raised_ms"]),
                    int(row.get("began_ms", row["raised_ms"])),
                    is_chattering=bool(row["chattering"]),
                    why=str(row.get("why", "")),
                    compared_with=str(row.get("compared_with", "")),
                )
        except (KeyError, TypeError, ValueError, OverflowError):
            continue
    return alarms
