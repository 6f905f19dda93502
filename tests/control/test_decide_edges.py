"""The decision at the very limits: what counts as past one, and what only just does not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from decision_builders import air_is, day, decide, make_rules, night

from controller.control import CALM, Memory, Readings, Rule
from controller.control.lamp_interlock import LampCut
from controller.control.override_state import OverrideState

AT_ONCE = (0.0,) * 8


def watching(index: int, **state: bool) -> Memory:
    """A memory in which one override is as given, and has been for long."""
    overrides = [None] * len(CALM)
    overrides[index] = OverrideState(-1e6, **state)  # type: ignore[call-overload]
    return Memory(started_s=-1e6, overrides=tuple(overrides))


def test_while_an_override_stands_unchanged_the_memory_is_the_same_object() -> None:
    rules = make_rules(delays_s=AT_ONCE)
    hot = decide(day(0.0), air_is(0.0, 25.0, 45.0), rules, Memory())
    again = decide(day(2.0), air_is(2.0, 25.0, 45.0), rules, hot.memory)
    assert hot.rule is Rule.TOO_HOT
    assert again.memory is hot.memory


def test_once_all_is_in_band_again_the_memory_is_calm() -> None:
    rules = make_rules(delays_s=AT_ONCE)
    hot = decide(day(0.0), air_is(0.0, 25.0, 55.0), rules, Memory())
    back = decide(day(2.0), air_is(2.0, 22.0, 60.0), rules, hot.memory)
    assert back.memory.overrides is CALM


@pytest.mark.parametrize(("speed", "rule"), [(0.49, Rule.SCHEDULE), (0.5, Rule.TOO_HOT)])
def test_an_override_that_asks_for_just_the_scheduled_speed_is_the_deciding_row(
    speed: float, rule: Rule
) -> None:
    rules = make_rules(delays_s=AT_ONCE, speeds=(speed, 0.9, 0.9, 0.9, 0.2, 0.2, 0.2))
    decision = decide(day(0.0), air_is(0.0, 25.0, 45.0), rules, Memory())
    assert (decision.speed, decision.rule) == (0.5, rule)


@pytest.mark.parametrize(("speed", "rule"), [(0.5, Rule.SCHEDULE), (0.49, Rule.TOO_COLD)])
def test_an_override_that_lowers_nothing_is_not_the_deciding_row(speed: float, rule: Rule) -> None:
    rules = make_rules(delays_s=AT_ONCE, speeds=(1.0, 0.9, 0.9, 0.9, speed, 0.2, 0.2))
    decision = decide(day(0.0), air_is(0.0, 18.0, 60.0), rules, Memory())
    assert (decision.speed, decision.rule) == (speed, rule)


def test_a_hot_override_of_no_speed_leaves_the_schedule_alone() -> None:
    rules = make_rules(night_speed=0.0, delays_s=AT_ONCE, speeds=(0.0,) * 8)
    decision = decide(night(0.0), air_is(0.0, 25.0, 45.0), rules, Memory())
    assert (decision.speed, decision.rule) == (0.0, Rule.SCHEDULE)


def test_the_row_named_is_the_highest_of_those_that_ask_for_the_same_speed() -> None:
    rules = make_rules(delays_s=AT_ONCE, speeds=(0.9, 0.9, 0.9, 0.9, 0.2, 0.2, 0.2))
    assert decide(day(0.0), air_is(0.0, 25.0, 85.0), rules, Memory()).rule is Rule.TOO_HOT
    cold_and_dry = decide(day(0.0), air_is(0.0, 18.0, 30.0), rules, Memory())
    assert (cold_and_dry.speed, cold_and_dry.rule) == (0.2, Rule.TOO_COLD)


def test_readings_are_fresh_up_to_the_stale_time_and_not_beyond() -> None:
    """A hot tent with an intake as hot: locked out as long as the intake is known."""
    rules = make_rules(delays_s=AT_ONCE)
    for age_s, speed in ((120.0, 0.5), (120.5, 1.0)):
        readings = air_is(1000.0, 31.0, 45.0)._replace(
            intake=air_is(1000.0 - age_s, 32.0, 40.0).tent
        )
        assert decide(day(1000.0), readings, rules, Memory()).speed == speed
    for age_s, rule in ((120.0, Rule.SCHEDULE), (120.5, Rule.SENSOR_FAILSAFE)):
        late = decide(day(1000.0), air_is(1000.0 - age_s), rules, Memory(started_s=0.0))
        assert late.rule is rule


def test_a_first_reading_may_come_until_just_the_stale_time() -> None:
    rules = make_rules()
    for at_s, rule in ((120.0, Rule.SCHEDULE), (120.5, Rule.SENSOR_FAILSAFE)):
        assert decide(day(at_s), Readings(None), rules, Memory(started_s=0.0)).rule is rule


def test_a_failsafe_forgets_the_overrides() -> None:
    rules = make_rules()
    memory = watching(0, engaged=True)
    assert decide(day(0.0), Readings(None), rules, memory).memory.overrides is CALM


LAMP = make_rules(lamp_is_ours=True)  # cut above 35 °C, after 300 s, for 1800 s; hysteresis 1 K


def lamp_after(cut: LampCut | None, temperature_c: float | None, now_s: float) -> LampCut | None:
    readings = Readings(None) if temperature_c is None else air_is(now_s, temperature_c, 30.0)
    return decide(day(now_s), readings, LAMP, Memory(lamp_cut=cut)).memory.lamp_cut


def test_the_lamp_may_burn_at_just_its_limit() -> None:
    assert lamp_after(None, 35.0, 0.0) is None
    assert lamp_after(None, 35.1, 7.0) == LampCut(7.0)


def test_the_lamp_is_cut_when_its_delay_is_over_and_it_is_hot_still() -> None:
    rising = LampCut(0.0)
    assert lamp_after(rising, 35.1, 299.9) is rising
    assert lamp_after(rising, 35.1, 300.0) == LampCut(300.0, is_cut=True)
    assert lamp_after(rising, 35.0, 400.0) is rising


def test_the_delay_of_the_lamp_ends_where_the_air_is_back_by_the_hysteresis() -> None:
    rising = LampCut(0.0)
    assert lamp_after(rising, 34.1, 10.0) is rising
    assert lamp_after(rising, 34.0, 10.0) is None


def test_the_lamp_comes_back_after_its_hold_off_once_cool_by_the_hysteresis() -> None:
    cut = LampCut(0.0, is_cut=True)
    assert lamp_after(cut, 34.0, 1799.9) is cut
    assert lamp_after(cut, 34.1, 1800.0) is cut
    assert lamp_after(cut, 34.0, 1800.0) is None


def test_without_a_reading_a_cut_lamp_comes_back_after_its_hold_off_and_a_delay_waits() -> None:
    cut, rising = LampCut(0.0, is_cut=True), LampCut(0.0)
    assert lamp_after(cut, None, 1799.0) is cut
    assert lamp_after(cut, None, 1800.0) is None
    assert lamp_after(rising, None, 5000.0) is rising
    assert lamp_after(None, None, 0.0) is None


def test_a_lamp_that_is_not_ours_loses_its_cut() -> None:
    decision = decide(
        day(0.0), air_is(0.0), make_rules(), Memory(lamp_cut=LampCut(0.0, is_cut=True))
    )
    assert decision.memory.lamp_cut is None
    assert decision.lamp_on


def test_a_dark_lamp_stays_dark_whatever_its_interlock_says() -> None:
    assert not decide(night(0.0), air_is(0.0), LAMP, Memory()).lamp_on


def test_the_first_decision_is_remembered_as_the_start() -> None:
    first = decide(day(40.0), air_is(40.0), make_rules(), Memory())
    assert first.memory.started_s == 40.0
    later = decide(day(50.0), air_is(50.0), make_rules(), replace(first.memory, in_failsafe=True))
    assert later.memory.started_s == 40.0
