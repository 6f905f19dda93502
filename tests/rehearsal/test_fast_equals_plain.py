"""While a decision stands, asking `decide` again would change nothing: the shortcut is exact."""

from __future__ import annotations

from typing import Any

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from rehearsal_builders import CHILLIES, LAZY, span

from controller.config import settings_from_text
from controller.control import Memory, Now, Reading, Readings, Rules, decide
from simulators.rehearsal import rehearse, set_scene
from simulators.rehearsal.fast.standing import standing_decision

_OWN_LAMP = "lamp: {switched_by: relay, pin: 22, cutout: {above: 31 °C}, power: 150 W"
_RELAY = CHILLIES.replace("drive: pwm, pin: 18", "drive: relay, pin: 18").replace(
    "day_speed: 50 %, night_speed: 20 %", "day_speed: 100 %, night_speed: 0 %"
)
_DUTY = _RELAY + "overrides: {dark_duty: {every: 20 min, length: 5 min}}\n"
_QUIET = "quiet: {from: 21:00, to: 09:30, speed: 30 %}\n"
RULES = [
    Rules.from_settings(settings_from_text(text).settings)._replace(ramp_s=ramp_s)
    for text in (
        CHILLIES + _QUIET,
        LAZY,
        _RELAY,
        _DUTY,
        CHILLIES.replace("lamp: {power: 150 W", _OWN_LAMP),
    )
    for ramp_s in (0.0, 10.0)
]
LIMITS = [*RULES[0].day[:2], *RULES[0].night[:2], RULES[0].day.cold_c]

# Values as sensors give them, in tenths, often right at a limit or back by a hysteresis.
tenths_c = st.one_of(
    st.integers(100, 350).map(lambda n: n / 10),
    st.sampled_from([limit + d for limit in LIMITS for d in (-1.0, -0.1, 0.0, 0.1)]).map(
        lambda value: round(min(value, 60.0), 1)
    ),
)
tenths_pct = st.one_of(
    st.integers(1, 1000).map(lambda n: n / 10),
    st.sampled_from([40.0, 44.0, 66.0, 70.0, 80.0, 76.0, 70.1, 39.9, 99.9, 0.5]),
)
ppm = st.sampled_from([None, 250.0, 299.0, 300.0, 301.0, 340.0, 341.0, 420.0])
steps = st.tuples(
    st.sampled_from([2.0, 30.0, 60.0, 120.0]),
    tenths_c,
    tenths_pct,
    st.one_of(st.none(), st.tuples(tenths_c, tenths_pct)),
    st.booleans(),
    st.booleans(),
    st.booleans(),
    st.booleans(),
    ppm,
)
# A few different steps, each held for a while: that is when decisions stand.
histories = st.lists(st.tuples(steps, st.integers(1, 6)), min_size=1, max_size=12)


@examples(150)
@given(histories, st.sampled_from(RULES), st.tuples(tenths_c, tenths_pct, ppm))
def test_where_a_decision_stands_decide_gives_the_same(
    history: list[Any], rules: Rules, other_air: tuple[float, float, float | None]
) -> None:
    memory, now_s = Memory(), 0.0
    for (gap_s, t, rh, intake, lamp_on, in_fan_hours, purge_on, is_quiet, co2), times in history:
        for _ in range(times):
            now_s += gap_s
            around = None if intake is None else Reading(now_s, *intake)
            now = Now(now_s, lamp_on, in_fan_hours, purge_on, is_quiet)
            decision = decide(now, Readings(Reading(now_s, t, rh, co2), around), rules, memory)
            memory = decision.memory
        limits = rules.day if lamp_on else rules.night
        standing = standing_decision(decision, rules, limits, now_s)
        # Later, in the same air and in another.
        for later_s, air in ((1.0, (t, rh, co2)), (60.0, (t + 0.1, rh, co2)), (60.0, other_air)):
            at_s = now_s + later_s
            seen = Reading(at_s, *air)
            nearby = None if intake is None else Reading(at_s, *intake)
            if standing is not None and standing.holds(at_s, seen, nearby):
                later = Now(at_s, lamp_on, in_fan_hours, purge_on, is_quiet)
                again = decide(later, Readings(seen, nearby), rules, memory)
                assert again == decision
                assert again.memory is memory


def test_a_calm_tent_stands_and_one_out_of_band_does_not() -> None:
    """The shortcut is taken at all: else the tests here would show nothing."""
    rules = RULES[0]
    now = Now(0.0, True, True)
    calm = decide(now, Readings(Reading(0.0, 22.5, 60.0)), rules, Memory())
    standing = standing_decision(calm, rules, rules.day, 0.0)
    assert standing is not None
    assert standing.holds(60.0, Reading(60.0, 22.6, 60.5), None)
    assert not standing.holds(60.0, Reading(60.0, 40.0, 60.5), None)


def test_a_lowered_speed_stands_for_its_ten_minutes_and_no_longer() -> None:
    rules = RULES[0]._replace(delays_s=(0.0,) * 8)
    dry = Reading(0.0, 22.5, 20.0)
    decision = decide(Now(0.0, True, True), Readings(dry), rules, Memory())
    standing = standing_decision(decision, rules, rules.day, 0.0)
    assert standing is not None
    assert standing.holds(590.0, dry._replace(monotonic_s=590.0), None)
    assert not standing.holds(601.0, dry._replace(monotonic_s=601.0), None)


@pytest.mark.parametrize(
    "text",
    [
        CHILLIES,
        CHILLIES + _QUIET,
        _RELAY,
        _DUTY,
        CHILLIES.replace("lamp: {power: 150 W", _OWN_LAMP),
    ],
)
def test_days_rehearsed_with_and_without_the_shortcut_are_the_same(text: str) -> None:
    config = settings_from_text(text).settings
    weather, start_s, until_s = span("coastal-city-2013-07", "2013-07-16", 3)
    quick, plain = (
        rehearse(
            config,
            set_scene(config, weather, start_s),
            start_s,
            until_s,
            use_shortcut=use_shortcut,
        )
        for use_shortcut in (True, False)
    )
    assert quick.engaged
    quick.wall_s = plain.wall_s = 0.0
    assert quick == plain
