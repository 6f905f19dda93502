"""A relay that runs and rests in turn in the dark, while an override asks for air."""

from __future__ import annotations

from typing import Any

import pytest
from decision_builders import Decided, air_is, day, decide, make_rules, night
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller.config import settings_from_text
from controller.control import Memory, Now, Rules
from controller.control.actuator import actuate
from controller.control.memory import Hold, Ramp
from controller.control.thresholds import Duty, Wish
from controller.control.types import ReasonStatus, Rule
from controller.wording.reasons import reason_words

RUN_S, REST_S = 600.0, 1200.0
RULES = make_rules(
    day_speed=1.0,
    speeds=(1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 1.0),
    min_speed=1.0,
    min_on_s=120.0,
    min_off_s=120.0,
    heat_warning_c=30.0,
    dark_duty=Duty(RUN_S, REST_S),
)
FINE, HUMID, HOT = (21.0, 55.0), (22.0, 90.0), (26.0, 60.0)
NEAR_WARNING = (28.6, 60.0)
# Its surfaces, midway to so cold an intake, are within a kelvin of its dew point.
NEAR_DEW_POINT = {"intake": (16.0, 60.0)}


def decided(
    tent: tuple[float, float],
    for_min: int,
    *,
    rules: Rules = RULES,
    at: Any = night,
    memory: Memory | None = None,
    from_min: int = 0,
    **more: Any,
) -> list[Decided]:
    """The decisions of so many minutes."""
    memory, decisions = memory or Memory(), []
    for minute in range(from_min, from_min + for_min):
        now: Now = at(60.0 * minute)
        decisions.append(decide(now, air_is(now.monotonic_s, *tent, **more), rules, memory))
        memory = decisions[-1].memory
    return decisions


def share(decisions: list[Decided]) -> float:
    return sum(d.speed for d in decisions) / len(decisions)


@pytest.mark.parametrize("tent", [HOT, HUMID])
def test_in_the_dark_the_fan_runs_a_third_of_the_time_in_runs_of_its_length(tent: Any) -> None:
    decisions = decided(tent, 300)
    speeds = [d.speed for d in decisions]
    first = speeds.index(1.0)
    turn = [1.0] * 10 + [0.0] * 20
    assert first <= 3  # the delay alone; long rested, it starts at once
    assert speeds[first : first + 240] == turn * 8


def test_the_rest_is_told_with_its_row_and_its_time() -> None:
    resting = next(d for d in decided(HUMID, 60)[5:] if d.speed == 0.0)
    assert (resting.rule, resting.is_limited) == (Rule.TOO_HUMID, True)
    reason = resting.reasons[-1]
    assert (reason.status, reason.limit) == (ReasonStatus.RESTING, REST_S)
    assert reason_words(reason) == (
        "resting in the dark by overrides.dark_duty (0 s of 20 min), then too humid"
    )


def test_a_rest_that_is_also_the_minimum_off_time_is_told_as_the_duty_s() -> None:
    rules = RULES._replace(min_off_s=REST_S)
    resting = next(d for d in decided(HUMID, 60, rules=rules)[5:] if d.speed == 0.0)
    assert (resting.reasons[-1].status, resting.reasons[-1].limit) == (ReasonStatus.RESTING, REST_S)


def test_where_nothing_asks_for_air_no_duty_holds_the_fan_back() -> None:
    ran = decided(HUMID, 5)[-1]
    calm = decided(FINE, 10, memory=ran.memory, from_min=5)
    assert ran.speed == 1.0
    assert [(d.speed, d.is_limited) for d in calm[-5:]] == [(0.0, False)] * 5


@pytest.mark.parametrize(
    ("tent", "rules", "at", "more"),
    [
        (HUMID, RULES, day, {}),
        (HUMID, RULES._replace(dark_duty=None), night, {}),
        (NEAR_WARNING, RULES, night, {}),
        (HUMID, RULES, night, NEAR_DEW_POINT),
        (HUMID, RULES, lambda at_s: night(at_s, purge=True), {}),
        (HUMID, RULES._replace(base=(Wish(1.0, Rule.SCHEDULE),) * 4), night, {}),
    ],
    ids=["lit", "none asked for", "near the warning", "near the dew point", "purge", "scheduled"],
)
def test_it_runs_all_the_time_where_it_is_lit_or_scheduled_or_a_harm_is_near(
    tent: Any, rules: Rules, at: Any, more: Any
) -> None:
    assert share(decided(tent, 120, rules=rules, at=at, **more)[3:]) == 1.0


def test_heat_that_comes_near_the_warning_ends_a_rest_at_once() -> None:
    resting = next(d for d in decided(HOT, 60)[5:] if d.speed == 0.0)
    at_s = resting.memory.switched_s + 60.0
    hotter = decide(night(at_s), air_is(at_s, *NEAR_WARNING), RULES, resting.memory)
    assert hotter.speed == 1.0


def test_a_hold_and_a_failed_sensor_know_no_duty() -> None:
    held = Memory(hold=Hold(1.0, 1e9))
    assert share(decided(HUMID, 60, memory=held)) == 1.0
    blind = decided(HUMID, 5)[-1].memory
    silent = decide(night(4000.0), air_is(300.0, *HUMID), RULES, blind)
    assert (silent.rule, silent.speed) == (Rule.SENSOR_FAILSAFE, 1.0)


def test_a_fan_that_ran_all_day_rests_first() -> None:
    lit = decided(HUMID, 30, at=day)
    dark = decided(HUMID, 30, memory=lit[-1].memory, from_min=30)
    assert [d.speed for d in dark] == [0.0] * 20 + [1.0] * 10


def test_a_restart_begins_with_a_run_and_a_rest_outlasts_one() -> None:
    resting = next(d for d in decided(HUMID, 60)[5:] if d.speed == 0.0)
    now_s = resting.memory.switched_s + 300.0
    restored = Memory.restore(resting.memory.snapshot(now_s), 50.0, 100.0)
    assert restored.switched_s == pytest.approx(50.0 - 400.0)
    again = decide(night(50.0), air_is(50.0, *HUMID), RULES, restored)
    assert again.speed == 0.0


def test_short_of_starts_it_rests_longer_and_never_runs_on() -> None:
    stop, running = Wish(1.0, Rule.TOO_HUMID), Ramp(1.0, 0.0, 1.0)
    rules = RULES._replace(start_every_s=3600.0)
    due_s = 43_200.0 - 3600.0 + 3000.0
    ended = actuate(stop, RUN_S, rules, running, 0.0, due_s, duty=rules.dark_duty)
    assert (ended.speed, ended.is_limited) == (0.0, True)
    at_rest = Ramp(0.0, 0.0, 0.0)
    for for_s, speed in ((2900.0, 0.0), (3100.0, 1.0)):
        start = actuate(stop, for_s, rules, at_rest, 0.0, due_s, duty=rules.dark_duty)
        assert start.speed == speed


@examples(15)
@given(
    st.lists(
        st.tuples(st.integers(1, 45), st.sampled_from([FINE, HUMID, HOT, NEAR_WARNING])),
        min_size=1,
        max_size=12,
    )
)
def test_runs_and_rests_keep_the_minimum_times_whatever_the_air(course: list[Any]) -> None:
    memory, minute, last, since = Memory(), 0, 0.0, None
    for for_min, tent in course:
        for decision in decided(tent, for_min, memory=memory, from_min=minute):
            hot = decision.memory.overrides[0]
            if decision.speed != last:
                is_heat = hot is not None and hot.engaged and decision.speed > 0.0
                assert since is None or is_heat or decision.memory.switched_s - since >= 120.0
                last, since = decision.speed, decision.memory.switched_s
            memory = decision.memory
        minute += for_min


def test_a_duty_is_no_shorter_than_the_minimum_times() -> None:
    text = """\
tent: {width: 66 cm, depth: 84 cm, height: 132 cm}
place: {timezone: Europe/Rome}
lamp: {power: 120 W, photoperiod: {on: 20:00, off: 12:00}}
fan: {drive: relay, pin: 17, min_on: 5 min, min_off: 15 min}
schedule: {day_speed: 100 %, night_speed: 0 %}
sensors: [{name: leaves, role: tent, driver: hwmon, device: sht4x}]
overrides: {dark_duty: {every: 12 min, length: 2 min}}
"""
    rules = Rules.from_settings(settings_from_text(text).settings)
    assert rules.dark_duty == Duty(300.0, 900.0)
    by_pwm = settings_from_text(text.replace("relay, pin: 17", "pwm, pin: 17")).settings
    assert Rules.from_settings(by_pwm).dark_duty is None
