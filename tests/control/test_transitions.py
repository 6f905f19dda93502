"""What the event log is told of a change from one memory to the next."""

from __future__ import annotations

import pytest

from controller.control import CALM, Memory, engagements, transitions
from controller.control.override_state import OVERRIDES, OverrideState, OverrideStates

DELAYED = OverrideState(1.0)
ENGAGED = OverrideState(2.0, engaged=True)
LOCKED = OverrideState(2.0, engaged=True, locked_out=True)


def third(state: OverrideState | None) -> OverrideStates:
    """All calm but the third."""
    return tuple(state if i == 2 else None for i in range(len(OVERRIDES)))


@pytest.mark.parametrize(
    ("old", "new", "events"),
    [
        (None, DELAYED, []),
        (None, ENGAGED, ["engaged"]),
        (None, LOCKED, ["engaged", "locked_out"]),
        (DELAYED, None, []),
        (DELAYED, ENGAGED, ["engaged"]),
        (DELAYED, LOCKED, ["engaged", "locked_out"]),
        (ENGAGED, LOCKED, ["locked_out"]),
        (ENGAGED, None, ["released"]),
        (LOCKED, ENGAGED, ["resumed"]),
        (LOCKED, None, ["released"]),
        (LOCKED, OverrideState(3.0, engaged=True, locked_out=True), []),
        (ENGAGED, OverrideState(3.0, engaged=True), []),
    ],
)
def test_each_change_of_an_override_is_an_event(
    old: OverrideState | None, new: OverrideState | None, events: list[str]
) -> None:
    changes = transitions(Memory(overrides=third(old)), Memory(overrides=third(new)))
    assert [change.event for change in changes] == [f"override.{event}" for event in events]
    assert all(change.kind is OVERRIDES[2] for change in changes)


@pytest.mark.parametrize("states", [CALM, third(ENGAGED)])
def test_nothing_changed_is_no_event(states: OverrideStates) -> None:
    assert transitions(Memory(overrides=states), Memory(overrides=states)) == ()
    assert transitions(Memory(overrides=states), Memory(overrides=(*states,))) == ()


@pytest.mark.parametrize(
    ("old", "new", "has_engaged"),
    [
        (None, DELAYED, False),
        (None, ENGAGED, True),
        (DELAYED, ENGAGED, True),
        (DELAYED, LOCKED, True),
        (ENGAGED, LOCKED, False),
        (LOCKED, ENGAGED, False),
        (ENGAGED, None, False),
        (ENGAGED, ENGAGED, False),
    ],
)
def test_an_engagement_is_counted_once(
    old: OverrideState | None, new: OverrideState | None, has_engaged: bool
) -> None:
    assert engagements(third(old), third(new)) == ([OVERRIDES[2]] if has_engaged else [])


def test_the_last_release_and_the_first_engagement_are_events_too() -> None:
    released = transitions(Memory(overrides=third(ENGAGED)), Memory(overrides=CALM))
    assert [change.event for change in released] == ["override.released"]
    engaged = transitions(Memory(overrides=CALM), Memory(overrides=third(ENGAGED)))
    assert [change.event for change in engaged] == ["override.engaged"]
