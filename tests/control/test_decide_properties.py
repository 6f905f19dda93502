"""What must hold for any air, any noise and any history."""

from __future__ import annotations

import json
from collections import Counter

import pytest
from decision_builders import air_is, decide, make_rules
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller.control import (
    Hold,
    Memory,
    Now,
    Readings,
    ReasonStatus,
    Rule,
    engagements,
    transitions,
)

temperatures = st.floats(5.0, 45.0)
humidities = st.floats(1.0, 100.0)
intakes = st.none() | st.tuples(temperatures, humidities)
steps = st.tuples(
    st.floats(0.0, 400.0),  # seconds to the next tick
    temperatures,
    humidities,
    intakes,
    st.booleans(),  # lamp
    st.booleans(),  # fan hours
    st.booleans(),  # purge
    st.booleans(),  # sensor answers
)
histories = st.lists(steps, min_size=1, max_size=30)


def walk(history, rules, memory=None):  # type: ignore[no-untyped-def]
    memory = memory or Memory()
    now_s = 0.0
    for gap_s, t, rh, intake, lamp, fan_hours, purge, answers in history:
        now_s += gap_s
        now = Now(now_s, lamp, fan_hours, purge)
        readings = air_is(now_s, t, rh, intake) if answers else Readings(None)
        decision = decide(now, readings, rules, memory)
        yield now, readings, memory, decision
        memory = decision.memory


@given(histories, st.floats(0.0, 60.0))
def test_every_command_is_a_speed_with_exactly_one_deciding_reason(history, ramp_s) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(ramp_s=ramp_s, min_on_s=120.0, min_off_s=120.0)
    for _, _, _, decision in walk(history, rules):
        assert 0.0 <= decision.speed <= 1.0
        statuses = [r.status for r in decision.reasons]
        assert statuses.count(ReasonStatus.DECIDING) == 1
        assert statuses[0] is ReasonStatus.DECIDING


@given(histories)
def test_the_same_inputs_give_the_same_decision(history) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(ramp_s=10.0, min_on_s=120.0, min_off_s=120.0, lamp_is_ours=True)
    for now, readings, memory, decision in walk(history, rules):
        assert decide(now, readings, rules, memory) == decision


# A fan that has just stopped, fan hours that begin again and heat, in any order.
stops_and_heat = st.lists(
    st.tuples(
        st.sampled_from([2.0, 60.0, 120.0]),
        st.sampled_from([22.0, 26.0, 32.0]),
        st.sampled_from([45.0, 75.0]),
        st.sampled_from([None, None, (18.0, 50.0), (34.0, 50.0)]),
        st.booleans(),
        st.booleans(),
        st.just(False),
        st.just(True),
    ),
    min_size=1,
    max_size=30,
)


@examples(300)
@given(
    st.one_of(histories, stops_and_heat),
    st.sampled_from([0.3, 0.8, 1.0]),
    st.sampled_from([0.3, 0.9, 1.0]),
    st.sampled_from([0.0, 0.5, 1.0]),
)
def test_the_fan_is_never_off_while_too_hot_unless_locked_out_or_held(  # type: ignore[no-untyped-def]
    history, for_heat, for_moisture, by_day
) -> None:
    """Whichever row sets the speed: too hot may ask for less than the schedule or moisture."""
    rules = make_rules(
        day_speed=by_day,
        speeds=(for_heat, *(for_moisture,) * 3, 0.2, 0.2, 0.2),
        ramp_s=10.0,
        min_on_s=120.0,
        min_off_s=1200.0,
    )
    for _, _, _, decision in walk(history, rules):
        state = decision.memory.overrides[0]
        if state is not None and state.engaged and not state.locked_out:
            assert decision.speed > 0.0


@given(histories)
def test_a_hold_is_obeyed_whatever_the_air(history) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(min_on_s=120.0, min_off_s=120.0)
    memory = Memory(hold=Hold(0.0, until_s=1e9))
    for _, _, _, decision in walk(history, rules, memory):
        assert decision.speed == 0.0


@examples(60)
@given(
    st.lists(st.floats(-0.499, 0.499), min_size=50, max_size=200),
    st.sampled_from(["hot", "cold", "humid", "dry"]),
    st.floats(-0.5, 0.5),
)
def test_noise_inside_the_hysteresis_never_makes_an_override_chatter(noise, limit, offset) -> None:  # type: ignore[no-untyped-def]
    """Peak to peak below the hysteresis, anywhere around the threshold: one engagement at most."""
    rules = make_rules(delays_s=(0.0,) * 8)
    memory = Memory()
    counts: Counter[tuple[str, object]] = Counter()
    for i, n in enumerate(noise):
        t, rh = 22.0, 55.0
        if limit == "hot":
            t = 24.0 + offset + n
        elif limit == "cold":
            t = 20.0 + offset + n
        elif limit == "humid":
            rh = 70.0 + 4.0 * (offset + n)
            t = 26.0  # keeps the VPD in band
        else:
            rh = 40.0 + 4.0 * (offset + n)
        now_s = 2.0 * i
        rules_now = (
            rules if limit != "humid" else rules._replace(day=rules.day._replace(hot_c=30.0))
        )
        decision = decide(Now(now_s, True, True), air_is(now_s, t, rh), rules_now, memory)
        changed = transitions(memory, decision.memory)
        for change in changed:
            counts[change.event, change.kind] += 1
        engaged = [change.kind for change in changed if change.event == "override.engaged"]
        assert engagements(memory.overrides, decision.memory.overrides) == engaged
        memory = decision.memory
    assert not counts or max(counts.values()) <= 1


@examples(60)
@given(st.lists(st.floats(-0.49, 0.49), min_size=30, max_size=120))
def test_noise_of_the_intake_inside_the_hysteresis_never_makes_withholding_chatter(noise) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(delays_s=(0.0,) * 8)
    memory, changes = Memory(), 0
    for i, n in enumerate(noise):
        now_s = 2.0 * i
        decision = decide(
            Now(now_s, True, True), air_is(now_s, 30.0, 45.0, (30.5 + n, 40.0)), rules, memory
        )
        changes += sum(
            c.event in ("override.locked_out", "override.resumed")
            for c in transitions(memory, decision.memory)
            if c.kind.rule is Rule.TOO_HOT
        )
        memory = decision.memory
    assert changes <= 2


@given(histories, temperatures, humidities, intakes, st.booleans(), st.booleans())
def test_a_restarted_controller_that_kept_its_memory_decides_as_before(
    history,
    t,
    rh,
    intake,
    lamp,
    fan_hours,  # type: ignore[no-untyped-def]
) -> None:
    """A restart loses the ramp and the start times of a running fan, and nothing else."""
    rules = make_rules(lamp_is_ours=True)
    *_, (now, _, _, last) = walk(history, rules)
    kept = json.loads(json.dumps(last.memory.snapshot(now.monotonic_s)))
    other_clock_s = 5.0
    restored = Memory.restore(kept, other_clock_s, away_s=30.0)
    went_on = decide(
        Now(now.monotonic_s + 30.0, lamp, fan_hours),
        air_is(now.monotonic_s + 30.0, t, rh, intake),
        rules,
        last.memory,
    )
    restarted = decide(
        Now(other_clock_s, lamp, fan_hours), air_is(other_clock_s, t, rh, intake), rules, restored
    )
    assert restarted.speed == pytest.approx(went_on.speed)
    assert restarted.lamp_on == went_on.lamp_on
    assert restarted.reasons[0].rule == went_on.reasons[0].rule


@given(histories, st.floats(5.0, 45.0), st.floats(1.0, 100.0), intakes)
def test_a_controller_without_its_memory_converges_once_the_air_leaves_the_hysteresiss(
    history,
    t,
    rh,
    intake,  # type: ignore[no-untyped-def]
) -> None:
    """From any history and from none: calm air, then one state of the air held for an hour."""
    rules = make_rules(ramp_s=10.0, min_on_s=120.0, min_off_s=120.0)
    *_, (now, _, _, last) = walk(history, rules)
    start_s = now.monotonic_s
    old, new = last.memory, Memory()
    calm_then_held = [(22.0, 55.0, (15.0, 50.0))] * 60 + [(t, rh, intake)] * 60
    for i, (tt, hh, ii) in enumerate(calm_then_held):
        at_s = start_s + 60.0 * (i + 1)
        now = Now(at_s, True, True)
        a = decide(now, air_is(at_s, tt, hh, ii), rules, old)
        b = decide(now, air_is(at_s, tt, hh, ii), rules, new)
        old, new = a.memory, b.memory
    assert a.speed == pytest.approx(b.speed)
    assert a.reasons[0].rule == b.reasons[0].rule


@given(histories, st.integers(0, 29))
def test_a_doubled_tick_changes_nothing(history, index) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(ramp_s=10.0, min_on_s=120.0, min_off_s=120.0, lamp_is_ours=True)
    walked = list(walk(history, rules))
    now, readings, _, decision = walked[index % len(walked)]
    again = decide(now, readings, rules, decision.memory)
    assert (again.speed, again.lamp_on) == (decision.speed, decision.lamp_on)


@pytest.mark.parametrize(
    "broken",
    [{}, {"overrides": [None]}, {"overrides": 3}, [], None, {"overrides": [{"age_s": "x"}] * 7}],
)
def test_a_snapshot_that_is_not_ours_is_refused(broken) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError):
        Memory.restore(broken, 0.0, 0.0)
