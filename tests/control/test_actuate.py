"""Minimum times, least speed and ramp."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest
from decision_builders import Decided, air_is, day, decide, make_rules, night
from hypothesis import given
from hypothesis import strategies as st

from controller.control import Memory, Now, ReasonStatus, Rule
from controller.control.actuator import actuate, motor_speed, ramped_speed
from controller.control.memory import AT_REST, Ramp
from controller.control.thresholds import Wish


def test_a_fan_rests_for_its_minimum_off_time() -> None:
    rules = make_rules(min_off_s=120.0)
    on = decide(day(0.0), air_is(0.0), rules, Memory())
    off = decide(night(10.0), air_is(10.0), rules, on.memory)
    early = decide(day(100.0), air_is(100.0), rules, off.memory)
    late = decide(day(130.0), air_is(130.0), rules, early.memory)
    assert [d.speed for d in (on, off, early, late)] == [0.5, 0.0, 0.0, 0.5]
    limiting = early.reasons[-1]
    assert (limiting.status, limiting.value, limiting.limit) == (ReasonStatus.LIMITING, 90.0, 120.0)


def test_heat_overrules_the_minimum_off_time() -> None:
    rules = make_rules(min_off_s=3600.0, delays_s=(0.0,) * 8)
    on = decide(day(0.0), air_is(0.0), rules, Memory())
    off = decide(night(10.0), air_is(10.0), rules, on.memory)
    hot = decide(night(12.0), air_is(12.0, 30.0, 45.0), rules, off.memory)
    assert (hot.speed, hot.reasons[0].rule) == (1.0, Rule.TOO_HOT)


def test_heat_starts_a_fan_at_once_whichever_row_sets_the_speed() -> None:
    """Too hot asks for 80 %, the schedule for 100 %: the schedule rules, heat starts it."""
    rules = make_rules(
        day_speed=1.0,
        speeds=(0.8, 0.9, 0.9, 0.9, 0.2, 0.2, 0.2),
        min_off_s=1200.0,
        delays_s=(0.0,) * 8,
    )
    on = decide(day(0.0), air_is(0.0), rules, Memory())
    off = decide(night(10.0), air_is(10.0), rules, on.memory)
    waits = decide(day(60.0), air_is(60.0), rules, off.memory)
    assert waits.speed == 0.0
    hot = decide(day(120.0), air_is(120.0, 32.0, 45.0), rules, waits.memory)
    assert (hot.speed, hot.reasons[0].rule) == (1.0, Rule.SCHEDULE)
    assert all(reason.status is not ReasonStatus.LIMITING for reason in hot.reasons)


def test_heat_that_outside_air_cannot_serve_waits_for_the_minimum_off_time() -> None:
    rules = make_rules(day_speed=1.0, min_off_s=1200.0, delays_s=(0.0,) * 8)
    on = decide(day(0.0), air_is(0.0), rules, Memory())
    off = decide(night(10.0), air_is(10.0), rules, on.memory)
    hot = decide(day(120.0), air_is(120.0, 32.0, 45.0, (34.0, 45.0)), rules, off.memory)
    assert (hot.speed, hot.reasons[-1].status) == (0.0, ReasonStatus.LIMITING)


def test_a_fan_runs_for_its_minimum_on_time_at_its_least_speed() -> None:
    rules = make_rules(min_on_s=120.0)
    on = decide(day(0.0), air_is(0.0), rules, Memory())
    kept = decide(night(60.0), air_is(60.0), rules, on.memory)
    off = decide(night(120.0), air_is(120.0), rules, kept.memory)
    assert [d.speed for d in (on, kept, off)] == [0.5, 0.2, 0.0]
    assert kept.reasons[-1].status is ReasonStatus.LIMITING


def test_a_relay_runs_at_full_speed_or_not_at_all() -> None:
    rules = make_rules(day_speed=1.0, min_speed=1.0)
    assert decide(day(0.0), air_is(0.0), rules, Memory()).speed == 1.0
    assert decide(night(0.0), air_is(0.0), rules, Memory()).speed == 0.0


def test_a_ramp_starts_at_the_least_speed_and_takes_its_time() -> None:
    rules = make_rules(day_speed=1.0, ramp_s=10.0)
    memory, speeds = Memory(), []
    for at_s in range(0, 12, 2):
        decision = decide(day(float(at_s)), air_is(float(at_s)), rules, memory)
        memory = decision.memory
        speeds.append(decision.speed)
    assert speeds == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0, 1.0])
    down = []
    for at_s in (20, 23, 26, 29, 31):
        decision = decide(night(float(at_s)), air_is(float(at_s)), rules, memory)
        memory = decision.memory
        down.append(decision.speed)
    assert down == pytest.approx([1.0, 0.7, 0.4, 0.0, 0.0])


def test_a_late_tick_finds_the_ramp_where_it_should_be() -> None:
    rules = make_rules(day_speed=1.0, ramp_s=10.0)
    first = decide(day(0.0), air_is(0.0), rules, Memory())
    assert decide(day(300.0), air_is(300.0), rules, first.memory).speed == 1.0


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 100.0), st.floats(0.0, 60.0))
def test_a_ramp_never_leaves_the_span_between_its_ends(
    start: float, end: float, after_s: float, ramp_s: float
) -> None:
    speed = ramped_speed(Ramp(start, 0.0, end), after_s, ramp_s)
    assert min(start, end) <= speed <= max(start, end)


@given(
    st.lists(st.tuples(st.floats(0.0, 500.0), st.sampled_from([0.0, 0.1, 0.5, 1.0])), max_size=40)
)
def test_runs_and_rests_last_their_minimum_times(steps: list[tuple[float, float]]) -> None:
    rules = make_rules(min_on_s=120.0, min_off_s=90.0)
    ramp, switched_s, now_s = AT_REST, -math.inf, 0.0
    switches: list[tuple[float, bool]] = []
    running = False
    for gap_s, wished in steps:
        now_s += gap_s
        speed, _, ramp, switched_s, _ = actuate(
            Wish(wished, Rule.SCHEDULE), now_s, rules, ramp, switched_s
        )
        assert speed == 0.0 or speed >= rules.min_speed
        if (speed > 0.0) is not running:
            running = speed > 0.0
            switches.append((now_s, running))
    for (from_s, was_on), (to_s, _) in itertools.pairwise(switches):
        assert to_s - from_s >= (rules.min_on_s if was_on else rules.min_off_s)


def test_a_hold_of_zero_stops_within_the_minimum_on_time() -> None:
    rules = make_rules(min_on_s=600.0)
    on: Decided = decide(day(0.0), air_is(0.0), rules, Memory())
    from controller.control import Hold

    held = decide(
        day(10.0), air_is(10.0), rules, replace(on.memory, hold=Hold(0.0, until_s=math.inf))
    )
    assert held.speed == 0.0


def test_a_ramp_is_walked_also_towards_a_speed_that_stood_before() -> None:
    rules, memory = make_rules(day_speed=1.0, ramp_s=10.0), Memory()
    speeds = []
    for at_s in range(0, 40, 2):
        in_fan_hours = not 20 <= at_s < 24
        decision = decide(Now(float(at_s), True, in_fan_hours), air_is(float(at_s)), rules, memory)
        memory = decision.memory
        speeds.append(decision.speed)
    assert speeds[10:16] == pytest.approx([1.0, 0.8, 0.6, 0.8, 1.0, 1.0])


def test_a_fan_at_rest_that_is_asked_for_rest_is_not_limited() -> None:
    rules = make_rules(min_off_s=120.0)
    off = actuate(Wish(0.0, Rule.SCHEDULE), 10.0, rules, AT_REST, 0.0)
    assert (off.speed, off.is_limited, off.ramp) == (0.0, False, AT_REST)


def test_a_running_fan_that_is_asked_to_run_is_not_limited() -> None:
    rules = make_rules(min_on_s=120.0, min_off_s=120.0)
    on = actuate(Wish(0.6, Rule.SCHEDULE), 10.0, rules, Ramp(0.5, 0.0, 0.5), 0.0)
    assert (on.speed, on.is_limited, on.switched_s) == (0.6, False, 0.0)


def test_minimum_times_end_at_just_their_length() -> None:
    rules = make_rules(min_on_s=100.0, min_off_s=100.0)
    for after_s, speed in ((99.9, 0.0), (100.0, 0.6)):
        assert actuate(Wish(0.6, Rule.SCHEDULE), after_s, rules, AT_REST, 0.0).speed == speed
    for after_s, speed in ((99.9, 0.2), (100.0, 0.0)):
        running = Ramp(0.5, 0.0, 0.5)
        assert actuate(Wish(0.0, Rule.SCHEDULE), after_s, rules, running, 0.0).speed == speed


def test_a_fan_kept_running_is_not_sped_up_to_its_least_speed() -> None:
    rules = make_rules(min_on_s=100.0, min_speed=0.4)
    kept = actuate(Wish(0.0, Rule.SCHEDULE), 10.0, rules, Ramp(0.3, 0.0, 0.3), 0.0)
    assert kept.speed == 0.3


@pytest.mark.parametrize("rule", [Rule.MANUAL_HOLD, Rule.SENSOR_FAILSAFE])
def test_a_hold_and_the_failsafe_start_a_resting_fan_at_once(rule: Rule) -> None:
    on = actuate(Wish(0.6, rule), 1.0, make_rules(min_off_s=900.0), AT_REST, 0.0)
    assert (on.speed, on.is_limited, on.switched_s) == (0.6, False, 1.0)


def test_a_ramp_down_may_pass_the_least_speed_and_stops_below_it() -> None:
    rules = make_rules(min_speed=0.25, ramp_s=8.0)
    falling = Ramp(1.0, 0.0, 0.0)
    at_least = actuate(Wish(0.0, Rule.SCHEDULE), 6.0, rules, falling, 0.0)
    assert (at_least.speed, at_least.ramp) == (0.25, falling)
    below = actuate(Wish(0.0, Rule.SCHEDULE), 6.1, rules, falling, 0.0)
    assert (below.speed, below.ramp.to_speed, below.ramp.from_speed) == (0.0, 0.0, 0.0)


def test_a_ramp_up_through_less_than_the_least_speed_goes_on() -> None:
    rules = make_rules(min_speed=0.5, ramp_s=10.0)
    rising = actuate(Wish(1.0, Rule.SCHEDULE), 1.0, rules, Ramp(0.2, 0.0, 1.0), 0.0)
    assert rising.speed == pytest.approx(0.3)


def test_a_fan_slower_than_a_least_speed_that_was_raised_stops_without_speeding_up() -> None:
    rules = make_rules(min_speed=0.4, ramp_s=10.0)
    off = actuate(Wish(0.0, Rule.SCHEDULE), 50.0, rules, Ramp(0.3, 0.0, 0.3), 0.0)
    assert (off.speed, off.switched_s) == (0.0, 50.0)


def test_a_ramp_that_has_arrived_stands_and_stays_the_same_object() -> None:
    rules = make_rules(ramp_s=10.0)
    there = actuate(Wish(0.6, Rule.SCHEDULE), 30.0, rules, Ramp(0.2, 0.0, 0.6), 0.0)
    assert there.ramp == Ramp(0.6, 0.0, 0.6)
    assert actuate(Wish(0.6, Rule.SCHEDULE), 32.0, rules, there.ramp, 0.0).ramp is there.ramp


def test_a_ramp_has_not_moved_before_its_start_and_jumps_where_it_takes_no_time() -> None:
    assert ramped_speed(Ramp(0.2, 10.0, 0.8), 5.0, 10.0) == 0.2
    assert ramped_speed(Ramp(0.2, 10.0, 0.8), 5.0, 0.0) == 0.8
    assert ramped_speed(Ramp(0.2, 10.0, 0.8), 12.0, 10.0) == pytest.approx(0.4)
    assert ramped_speed(Ramp(0.8, 10.0, 0.2), 12.0, 10.0) == pytest.approx(0.6)
    assert ramped_speed(Ramp(0.2, 0.0, 0.8), 0.5, 0.5) == 0.8
    assert ramped_speed(Ramp(0.2, 0.0, 0.8), 0.1, 0.5) == pytest.approx(0.4)
    assert ramped_speed(Ramp(0.0, 0.0, 1.0), 4.0, 10.0) == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("asked", "given"), [(0.0, 0.0), (0.05, 0.2), (0.2, 0.2), (0.7, 0.7), (-0.1, 0.0)]
)
def test_a_motor_turns_at_its_least_speed_or_not_at_all(asked: float, given: float) -> None:
    assert motor_speed(asked, make_rules(min_speed=0.2)) == given
