"""A decision that stands is the one the long way would have come to."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from decision_builders import air_is, make_rules
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from controller.decision import Memory, Now, Reading, Readings, decide

# Values as sensors give them, in tenths, often right on a limit or a limit less its deadband.
tenths_c = st.one_of(
    st.integers(100, 350).map(lambda n: n / 10),
    st.sampled_from([20.0, 21.0, 23.0, 24.0, 15.0, 16.0, 22.9, 23.1, 24.1]),
)
tenths_pct = st.one_of(
    st.integers(1, 1000).map(lambda n: n / 10),
    st.sampled_from([40.0, 44.0, 66.0, 70.0, 80.0, 76.0, 70.1, 39.9, 99.9, 0.5]),
)
steps = st.tuples(
    st.sampled_from([2.0, 30.0, 60.0, 120.0]),
    tenths_c,
    tenths_pct,
    st.one_of(st.none(), st.tuples(tenths_c, tenths_pct)),
    st.booleans(),
    st.booleans(),
    st.booleans(),
    st.sampled_from([True] * 9 + [False]),
)
# A few different steps, each held for a while: that is when decisions stand.
histories = st.lists(st.tuples(steps, st.integers(1, 6)), min_size=1, max_size=12)


@settings(max_examples=300)
@given(histories, st.booleans(), st.sampled_from([0.0, 10.0]))
def test_what_stands_is_what_the_long_way_decides(
    history: list[Any], lamp_is_ours: bool, ramp_s: float
) -> None:
    rules = make_rules(
        ramp_s=ramp_s, min_on_s=120.0, min_off_s=120.0, lamp_is_ours=lamp_is_ours, cut_above_c=30.0
    )
    quick = slow = Memory()
    now_s = 0.0
    for (gap_s, t, rh, intake, lamp, window, purge, answers), times in history:
        for _ in range(times):
            now_s += gap_s
            now = Now(now_s, lamp, window, purge)
            readings = air_is(now_s, t, rh, intake) if answers else Readings(None)
            one = decide(now, readings, rules, quick)
            other = decide(now, readings, rules, replace(slow, settled=None))
            assert one == other
            quick, slow = one.memory, other.memory


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct"), [(22.0, 55.0), (26.0, 55.0), (22.0, 75.0), (18.0, 55.0)]
)
def test_a_quiet_tent_keeps_one_memory(temperature_c: float, humidity_pct: float) -> None:
    rules, memory = make_rules(), Memory()
    kept = []
    for minute in range(30):
        readings = air_is(60.0 * minute, temperature_c, humidity_pct, (17.0, 50.0))
        memory = decide(Now(60.0 * minute, True, True), readings, rules, memory).memory
        kept.append(memory)
    # After the delay, and after the ten minutes that a lowered speed lasts at least.
    assert all(one is kept[-1] for one in kept[15:])


def test_other_rules_are_not_answered_by_what_stood_under_the_old_ones() -> None:
    rules, memory = make_rules(day_speed=0.5), Memory()
    for minute in range(10):
        memory = decide(Now(60.0 * minute, True, True), air_is(60.0 * minute), rules, memory).memory
    changed = make_rules(day_speed=0.8)
    assert decide(Now(600.0, True, True), air_is(600.0), changed, memory).speed == 0.8


def test_a_bound_that_ran_out_is_drawn_anew() -> None:
    """A lowered speed lasts ten minutes; after those the release threshold counts again."""
    rules, memory = make_rules(delays_s=(0.0,) * 7), Memory()
    for at_s in range(0, 700, 2):
        readings = air_is(float(at_s), 22.0, 35.0 if at_s < 10 else 43.0)  # within the deadband
        decision = decide(Now(float(at_s), True, True), readings, rules, memory)
        memory = decision.memory
    assert decision.speed == 0.2
    assert memory.settled is not None
    assert memory.settled.stands(702.0, *air_is(702.0, 22.0, 43.0))
    assert not memory.settled.stands(702.0, *air_is(702.0, 22.0, 45.0))


def test_what_stood_before_the_fan_moved_on_does_not_stand_when_it_comes_back() -> None:
    """The window closes and opens again before the ramp has come to rest."""
    rules, memory = make_rules(ramp_s=10.0), Memory()
    for at_s, is_open in ((0.0, True), (30.0, True), (32.0, False), (33.0, True), (34.0, True)):
        now = Now(at_s, True, is_open)
        decision = decide(now, air_is(at_s), rules, memory)
        plain = decide(now, air_is(at_s), rules, replace(memory, settled=None))
        assert decision == plain
        memory = decision.memory


def test_a_lamp_that_is_cut_stays_dark_when_the_air_is_as_it_was_before() -> None:
    rules, memory = make_rules(lamp_is_ours=True), Memory()
    lit = []
    for at_s in range(0, 1200, 2):
        t = 36.0 if 300 <= at_s < 640 else 34.5
        decision = decide(Now(float(at_s), True, True), air_is(float(at_s), t, 40.0), rules, memory)
        memory = decision.memory
        lit.append(decision.lamp_on)
    assert lit.index(False) == 300
    assert not any(lit[300:])


def test_a_ramp_is_walked_also_towards_a_speed_that_stood_before() -> None:
    rules, memory = make_rules(day_speed=1.0, ramp_s=10.0), Memory()
    speeds = []
    for at_s in range(0, 40, 2):
        window_open = not 20 <= at_s < 24
        decision = decide(Now(float(at_s), True, window_open), air_is(float(at_s)), rules, memory)
        memory = decision.memory
        speeds.append(decision.speed)
    assert speeds[10:16] == pytest.approx([1.0, 0.8, 0.6, 0.8, 1.0, 1.0])


@settings(max_examples=300, suppress_health_check=[HealthCheck.filter_too_much])
@given(
    st.tuples(tenths_c, tenths_pct),
    st.one_of(st.none(), st.tuples(tenths_c, tenths_pct)),
    st.lists(st.tuples(tenths_c, tenths_pct), min_size=1, max_size=6),
    st.tuples(*[st.floats(0.0, 3.0)] * 4),
    st.tuples(*[st.floats(0.0, 1.0)] * 4),
    st.booleans(),
)
def test_what_holds_between_two_airs_stands_for_all_air_between(
    air: Any, intake: Any, before: list[Any], widths: Any, parts: Any, lamp_on: bool
) -> None:
    """The corners are looked at; anywhere between, the long way must come to the same."""
    rules, memory, now_s = make_rules(), Memory(), 0.0
    for t, rh in (*before, air, air, air):
        for _ in range(4):
            now_s += 60.0
            memory = decide(
                Now(now_s, lamp_on, True), air_is(now_s, t, rh, intake), rules, memory
            ).memory
    settled = memory.settled
    assume(settled is not None and now_s + 60.0 < settled.until_s)
    now_s += 60.0

    def between(t: float, rh: float, up_k: float, up_pct: float) -> tuple[Reading, Reading]:
        return Reading(now_s, t, rh), Reading(now_s, t + up_k, min(100.0, rh + 3.0 * up_pct))

    def inside(pair: tuple[Reading, Reading], x: float, y: float) -> tuple[float, float]:
        low, high = pair
        return (
            low.temperature_c + x * (high.temperature_c - low.temperature_c),
            low.humidity_pct + y * (high.humidity_pct - low.humidity_pct),
        )

    tent = between(*air, *widths[:2])
    around = None if intake is None else between(*intake, *widths[2:])
    assume(settled.bounds.hold_alone(tent) and settled.bounds.hold_around(tent, around))
    seen = air_is(
        now_s,
        *inside(tent, *parts[:2]),
        None if around is None else inside(around, *parts[2:]),
    )
    after = decide(Now(now_s, lamp_on, True), seen, rules, replace(memory, settled=None))
    assert after.memory == memory
    assert after.speed == memory.ramp.to_speed
