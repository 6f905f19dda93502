"""What changed from one memory to the next, for the event log and for counting."""

from __future__ import annotations

from typing import NamedTuple

from controller.control.memory import Memory
from controller.control.override_state import CALM, WATCHES, OverrideKind, OverrideState, Watches


class Transition(NamedTuple):
    """One watch that changed its state."""

    event: str  # override.delayed, .engaged, .locked_out, .resumed or .released
    kind: OverrideKind


def transitions(before: Memory, after: Memory) -> tuple[Transition, ...]:
    """List the watches that changed.

    A watch that engages and is locked out at once gives both, so that every engagement is seen.
    A delay that ends without engaging is left out: nothing came of it.
    """
    if before.watches is after.watches:
        return ()
    if before.watches is CALM and after.watches is CALM:
        return ()
    found: list[Transition] = []
    for kind, old, new in zip(WATCHES, before.watches, after.watches, strict=True):
        if old is not new:
            found.extend(Transition(event, kind) for event in _events(old, new))
    return tuple(found)


def engagements(before: Watches, after: Watches) -> list[OverrideKind]:
    """List the watches that have engaged: the `override.engaged` of `transitions`, for counting."""
    return [
        kind
        for kind, old, new in zip(WATCHES, before, after, strict=True)
        if new is not None and new.engaged and (old is None or not old.engaged)
    ]


def _events(old: OverrideState | None, new: OverrideState | None) -> list[str]:
    was_engaged = old is not None and old.engaged
    if new is None:
        return ["override.released"] if was_engaged else []
    events = []
    if old is None and not new.engaged:
        events.append("override.delayed")
    if new.engaged and not was_engaged:
        events.append("override.engaged")
    was_withheld = old is not None and old.locked_out
    if new.locked_out and not was_withheld:
        events.append("override.locked_out")
    elif was_withheld and not new.locked_out:
        events.append("override.resumed")
    return events
