"""Quiet hours in the decision: the cap, how long a speed lasts, and which harm goes before it."""

from __future__ import annotations

from typing import Any

import pytest
from decision_builders import Decided, air_is, decide, make_rules
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller.control import (
    Hold,
    Memory,
    Now,
    Quantity,
    Readings,
    ReasonStatus,
    Rule,
    Rules,
    Wish,
)
from controller.control.actuator import QUIET_LASTS_S
from controller.control.modulation import NEAR_WARNING_K
from controller.control.quiet import planned_wish
from controller.wording.events import event_words
from controller.wording.reasons import reason_words

QUIET = 0.3
WARNING_C = 30.0
RULES = make_rules(quiet_speed=QUIET, heat_warning_c=WARNING_C)
LOUD = make_rules()
airs = st.tuples(st.floats(10.0, 40.0), st.floats(15.0, 99.0))
steps = st.tuples(
    st.sampled_from([2.0, 60.0, 400.0, 1000.0]),
    *[st.booleans()] * 4,
    airs,
    st.one_of(st.none(), airs),
)
histories = st.lists(steps, min_size=1, max_size=20)


def at(at_s: float, *, quiet: bool = True, lit: bool = True, purge: bool = False) -> Now:
    return Now(at_s, lit, lit, purge, quiet)


def course(history: list[Any], rules: Rules = RULES) -> list[tuple[Now, Readings, Decided]]:
    memory, at_s, decided = Memory(), 0.0, []
    for gap_s, lit, open_, purge, quiet, tent, intake in history:
        at_s += gap_s
        now, readings = Now(at_s, lit, open_, purge, quiet), air_is(at_s, *tent, intake=intake)
        decided.append((now, readings, decide(now, readings, rules, memory)))
        memory = decided[-1][2].memory
    return decided


def test_water_on_a_surface_breaks_quiet_for_a_quarter_of_an_hour_at_least() -> None:
    """A tent that is dry a minute after the fan starts, and wet ten minutes after it stops."""
    rules = RULES._replace(quiet_speed=0.0)
    memory, changes, wet_s = Memory(), [0.0], 0.0
    for minute in range(12 * 60):
        at_s = 60.0 * minute
        was = memory.ramp.to_speed
        wet_s = 0.0 if was > 0.0 else wet_s + 60.0
        tent = (22.0, 96.0 if wet_s > 600.0 else 75.0)
        memory = decide(at(at_s, lit=False), air_is(at_s, *tent), rules, memory).memory
        if memory.ramp.to_speed != was:
            changes.append(at_s)
    runs_s = [stop - start for start, stop in zip(changes[1::2], changes[2::2], strict=False)]
    assert len(runs_s) > 20
    assert min(runs_s) == QUIET_LASTS_S


def is_harmed(decided: Decided) -> bool:
    """Near the heat warning, or a surface near the dew point."""
    dew = decided.memory.overrides[3]
    acts = dew is not None and dew.engaged and not dew.locked_out
    return decided.memory.near_warning or acts


@examples(120)
@given(histories)
def test_while_it_is_quiet_and_nothing_is_harmed_the_fan_gets_no_more(history: list[Any]) -> None:
    for now, _, decided in course(history):
        if now.is_quiet and not is_harmed(decided):
            assert decided.speed <= QUIET


@examples(120)
@given(histories)
def test_near_the_heat_warning_and_near_the_dew_point_it_is_as_without_quiet(
    history: list[Any],
) -> None:
    """From below the warning by its margin: so quiet never keeps a tent above the warning."""
    loud = course(history, LOUD)
    for (now, readings, decided), (_, _, other) in zip(course(history), loud, strict=True):
        assert readings.tent is not None
        if readings.tent.temperature_c >= WARNING_C - NEAR_WARNING_K:
            assert decided.memory.near_warning
        if not now.is_quiet or is_harmed(decided):
            assert decided.memory.ramp.to_speed == other.memory.ramp.to_speed
            assert decided.rule is other.rule


@examples(120)
@given(histories)
def test_a_quiet_speed_lasts_a_quarter_of_an_hour(history: list[Any]) -> None:
    changed_s, speed = -QUIET_LASTS_S, 0.0
    for now, _, decided in course(history):
        if decided.speed != speed:
            is_free = not now.is_quiet or is_harmed(decided) or speed > QUIET
            assert is_free or now.monotonic_s - changed_s >= QUIET_LASTS_S
            changed_s, speed = now.monotonic_s, decided.speed


@given(histories, st.sampled_from([0.0, 1e6, -1e6]))
def test_a_course_is_the_same_on_any_clock(history: list[Any], shift_s: float) -> None:
    """Level, not edge: only differences of the monotonic clock count."""
    memory, at_s = Memory(), shift_s
    for (_, _, decided), (gap_s, lit, open_, purge, quiet, tent, intake) in zip(
        course(history), history, strict=True
    ):
        at_s += gap_s
        now, seen = Now(at_s, lit, open_, purge, quiet), air_is(at_s, *tent, intake=intake)
        again = decide(now, seen, RULES, memory)
        memory = again.memory
        assert (again.speed, again.rule) == (decided.speed, decided.rule)


def test_heat_gives_way_to_quiet_only_once_it_is_cooler_by_the_hysteresis() -> None:
    memory = Memory()
    near = []
    for i, tent_c in enumerate((28.4, 28.5, 28.0, 27.6, 27.5, 27.4, 28.4)):
        memory = decide(at(60.0 * i), air_is(60.0 * i, tent_c), RULES, memory).memory
        near.append(memory.near_warning)
    assert near == [False, True, True, True, True, False, False]


def test_what_is_planned_for_quiet_hours_is_no_more_than_they_allow() -> None:
    assert planned_wish(at(0.0), RULES) == Wish(QUIET, Rule.QUIET)
    assert planned_wish(at(0.0, quiet=False), RULES) == Wish(0.5, Rule.SCHEDULE)
    assert planned_wish(at(0.0), LOUD) == Wish(0.5, Rule.SCHEDULE)


def test_without_quiet_hours_nothing_is_remembered_of_the_warning() -> None:
    rules = LOUD._replace(heat_warning_c=WARNING_C)
    assert decide(at(0.0), air_is(0.0, 35.0), rules, Memory()).memory.near_warning is False


def test_a_hold_and_a_blind_controller_know_no_quiet() -> None:
    held = decide(at(0.0), air_is(0.0), RULES, Memory(hold=Hold(0.9, 100.0)))
    assert (held.speed, held.rule) == (0.9, Rule.MANUAL_HOLD)
    blind = decide(at(1000.0), Readings(None), RULES, Memory(started_s=0.0))
    assert (blind.speed, blind.rule) == (0.7, Rule.SENSOR_FAILSAFE)


def test_the_speed_comes_down_at_once_when_quiet_begins_and_up_at_once_when_it_ends() -> None:
    by_day = decide(at(0.0, quiet=False), air_is(0.0), RULES, Memory())
    begun = decide(at(2.0), air_is(2.0), RULES, by_day.memory)
    ended = decide(at(4.0, quiet=False), air_is(4.0), RULES, begun.memory)
    assert [d.speed for d in (by_day, begun, ended)] == [0.5, QUIET, 0.5]
    assert [d.rule for d in (by_day, begun, ended)] == [Rule.SCHEDULE, Rule.QUIET, Rule.SCHEDULE]


def test_of_several_overrides_one_that_quiet_holds_back_is_enough_to_be_its_row() -> None:
    rules = RULES._replace(speeds=(1.0, QUIET, QUIET, QUIET, 0.2, 0.2, 0.2))
    memory = Memory()
    for at_s in (0.0, 130.0):  # both delays have passed: too hot and too humid
        decided = decide(at(at_s, lit=False), air_is(at_s, 25.0, 90.0), rules, memory)
        memory = decided.memory
    assert [state is not None and state.engaged for state in memory.overrides[:2]] == [True, True]
    assert (decided.speed, decided.rule) == (QUIET, Rule.QUIET)


@pytest.mark.parametrize("lit", [True, False])
def test_a_purge_is_quiet_too(lit: bool) -> None:
    purged = decide(at(0.0, lit=lit, purge=True), air_is(0.0), RULES, Memory())
    assert (purged.speed, purged.rule) == (QUIET, Rule.QUIET)


def test_the_reasons_say_quiet_and_what_would_have_asked_for_more() -> None:
    first = decide(at(0.0), air_is(0.0, 25.0), RULES, Memory())
    hot = decide(at(61.0), air_is(61.0, 25.0), RULES, first.memory)
    assert [reason_words(r) for r in hot.reasons[:2]] == [
        "quiet hours, 30 % at most",
        "too hot, 25.0 °C (limit 24.0 °C)",
    ]
    warned = decide(at(122.0), air_is(122.0, 29.0), RULES, hot.memory)
    assert warned.speed == 1.0
    words = [reason_words(r) for r in warned.reasons]
    assert words[0].startswith("too hot")
    assert words[-1] == "near the heat warning quiet hours give way, 29.0 °C (limit 28.5 °C)"
    told = event_words("fan.changed", {"speed": 1.0, "was": 0.3, "reasons": [
        r.as_dict() for r in warned.reasons]})  # fmt: skip
    assert "quiet hours give way" in told


def test_a_change_that_waits_says_so() -> None:
    first = decide(at(0.0, lit=False), air_is(0.0), RULES, Memory())
    purge = decide(at(10.0, lit=False, purge=True), air_is(10.0), RULES, first.memory)
    over = decide(at(310.0, lit=False), air_is(310.0), RULES, purge.memory)
    assert (over.speed, over.is_limited) == (QUIET, True)
    assert reason_words(over.reasons[-1]) == "in quiet hours a speed lasts 15 min at least"
    rests = decide(at(910.0, lit=False), air_is(910.0), RULES, over.memory)
    assert rests.speed == 0.0


def test_a_harm_that_goes_before_quiet_is_among_the_reasons_and_only_then() -> None:
    rules = RULES._replace(delays_s=(0.0,) * 8)

    def overruled(tent_c: float, humidity_pct: float) -> list[Quantity | None]:
        decided = decide(at(0.0), air_is(0.0, tent_c, humidity_pct), rules, Memory())
        return [r.quantity for r in decided.reasons if r.status is ReasonStatus.OVERRULED]

    assert overruled(25.0, 55.0) == []
    assert overruled(22.0, 99.0) == [Quantity.DEW_POINT]
    assert overruled(29.0, 55.0) == [Quantity.TEMPERATURE]


def test_once_the_minimum_run_is_over_it_is_quiet_that_keeps_a_speed() -> None:
    rules = RULES._replace(min_on_s=600.0)
    run = decide(at(0.0, lit=False, purge=True), air_is(0.0), rules, Memory())
    assert run.speed == QUIET
    for at_s, row, least_s in ((598.0, Rule.SCHEDULE, 600.0), (600.0, Rule.QUIET, QUIET_LASTS_S)):
        kept = decide(at(at_s, lit=False), air_is(at_s), rules, run.memory)
        assert (kept.speed, kept.reasons[-1].rule, kept.reasons[-1].limit) == (QUIET, row, least_s)
