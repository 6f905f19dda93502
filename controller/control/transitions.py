"""Which overrides changed their state in a decision, for the event log and for counting."""

from __future__ import annotations

from typing import NamedTuple

from controller.control.memory import Memory
from controller.control.override_state import (
    CALM,
    OVERRIDES,
    OverrideKind,
    OverrideState,
    OverrideStates,
)


class Transition(NamedTuple):
    """An override that changed its state."""

    event: str  # override.engaged, .locked_out, .resumed or .released
    kind: OverrideKind


def transitions(before: Memory, after: Memory) -> tuple[Transition, ...]:
    """List the overrides that changed.

    One that engages and is locked out at once gives both, so that every engagement is seen. A
    delay is left out: nothing has happened yet.
    """
    if before.overrides is after.overrides:
        return ()
    if before.overrides is CALM and after.overrides is CALM:
        return ()
    changed: list[Transition] = []
    for kind, old, new in zip(OVERRIDES, before.overrides, after.overrides, strict=True):
        if old is not new:
            changed.extend(Transition(event, kind) for event in _events(old, new))
    return tuple(changed)


def engagements(before: OverrideStates, after: OverrideStates) -> list[OverrideKind]:
    """List the overrides that engaged, as the `override.engaged` of `transitions`, for counting."""
    return [
        kind
        for kind, old, new in zip(OVERRIDES, before, after, strict=True)
        if new is not None and new.engaged and (old is None or not old.engaged)
    ]


def _events(old: OverrideState | None, new: OverrideState | None) -> list[str]:
    was_engaged = old is not None and old.engaged
    if new is None:
        return ["override.released"] if was_engaged else []
    events = []
    if new.engaged and not was_engaged:
        events.append("override.engaged")
    was_locked_out = old is not None and old.locked_out
    if new.locked_out and not was_locked_out:
        events.append("override.locked_out")
    elif was_locked_out and not new.locked_out:
        events.append("override.resumed")
    return events
