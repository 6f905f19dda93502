"""How often a fan may start: evenly spread over days, and never at the cost of heat."""

from __future__ import annotations

from typing import Any

import pytest
from decision_builders import NIGHT, air_is, decide, make_rules, night
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller.control import Memory, Reading, Rules
from controller.control.actuator import (
    Ramp,
    Wish,
    actuate,
    least_rest_s,
    least_run_s,
    may_run_on,
)
from controller.control.types import Rule
from controller.wording.reasons import reason_words

MOST = 24
HOUR_S = 86_400.0 / MOST
RULES = make_rules(
    night_speed=0.0, start_every_s=HOUR_S, min_on_s=120.0, min_off_s=120.0, min_speed=1.0
)
HOT, HUMID, FINE = (26.0, 55.0), (22.0, 90.0), (21.0, 55.0)
# Far below the band of the night, which begins at 15 °C.
COLD_HUMID, COLD_FINE = (12.0, 90.0), (12.0, 55.0)


def starts(steps: list[tuple[float, tuple[float, float]]], rules: Rules = RULES) -> list[float]:
    """When the fan started, in a dark tent with the air at each of these, for so long [s]."""
    memory, now_s, begun = Memory(), 0.0, []
    for for_s, tent in steps:
        for at_s in range(0, int(for_s), 120):
            was_on = memory.ramp.to_speed > 0.0
            now = night(now_s + at_s)
            memory = decide(now, air_is(now_s + at_s, *tent), rules, memory).memory
            if memory.ramp.to_speed > 0.0 and not was_on:
                begun.append(now_s + at_s)
        now_s += for_s
    return begun


courses = st.lists(
    st.tuples(st.sampled_from([240.0, 600.0, 1800.0]), st.sampled_from([HOT, HUMID, FINE])),
    min_size=1,
    max_size=80,
)


@examples(60)
@given(courses)
def test_starts_are_no_more_than_there_may_be_whatever_the_air(course: list[Any]) -> None:
    """Half a day's may come at once; heat adds no more than what it then makes up for."""
    begun = starts(course)
    for i, first_s in enumerate(begun):
        for j, last_s in enumerate(begun[i:]):
            assert j + 1 <= MOST / 2 + 2 + (last_s - first_s) / HOUR_S


@pytest.mark.parametrize("tent", [HOT, HUMID])
def test_a_tent_that_is_out_of_band_every_ten_minutes_starts_it_once_an_hour(tent: Any) -> None:
    course = [(360.0, tent), (240.0, FINE)] * 6 * 48
    per_day = len(starts(course)) / 2.0
    assert per_day <= MOST + MOST / 4 + 1
    assert len(starts(course, RULES._replace(start_every_s=0.0))) > 3.0 * per_day


def test_half_a_days_starts_may_come_at_once_and_stops_do_not_count() -> None:
    course = [(360.0, HUMID), (240.0, FINE)] * 60
    begun = starts(course)
    assert len([at_s for at_s in begun if at_s < 7200.0]) == 12  # one in each ten minutes
    assert len(begun) == 12 + 9  # and then one an hour, of ten hours


def test_after_a_day_of_starts_by_heat_a_damp_night_has_its_air() -> None:
    """Between them it is so cold that the fan doesn't run on; at night only moisture asks."""
    day = [(240.0, HOT), (240.0, COLD_FINE)] * 180
    day_s = 180 * 480.0
    begun = [at_s for at_s in starts([*day, (8 * HOUR_S, HUMID)]) if at_s >= day_s]
    assert begun
    assert begun[0] - day_s <= 2 * HOUR_S


@examples(60)
@given(courses, st.booleans())
def test_heat_starts_a_resting_fan_at_once(course: list[Any], limited: bool) -> None:
    rules = RULES if limited else RULES._replace(start_every_s=0.0)
    memory, now_s = Memory(), 0.0
    for for_s, tent in [*course, (240.0, HOT)]:
        for at_s in range(0, int(for_s), 120):
            now = night(now_s + at_s)
            decided = decide(now, air_is(now_s + at_s, *tent), rules, memory)
            memory = decided.memory
            hot = memory.overrides[0]
            if hot is not None and hot.engaged:
                assert decided.speed == 1.0
        now_s += for_s


def test_a_cold_tent_is_not_cooled_on_to_make_up_for_starts() -> None:
    debt_s = 5.0 * 86_400.0
    assert least_run_s(Rule.SCHEDULE, RULES, 0.0, debt_s) > 3.0 * 86_400.0
    assert least_run_s(Rule.SCHEDULE, RULES, 0.0, debt_s, runs_on=False) == 120.0
    assert least_run_s(Rule.MANUAL_HOLD, RULES, 0.0, debt_s) == 0.0
    assert least_rest_s(RULES._replace(start_every_s=0.0), 0.0, float("-inf")) == 120.0


@pytest.mark.parametrize(
    ("start_every_s", "due_s", "rest_s", "run_s"),
    [
        (3600.0, 10_000.0, 120.0, 120.0),  # half a day's starts, 43,200 s, may come ahead
        (3600.0, 50_000.0, 9_400.0, 5_800.0),
        (57_600.0, 60_000.0, 59_000.0, 3_600.0),  # fewer than two a day: none comes ahead
        (57_600.0, 64_000.0, 63_000.0, 5_400.0),  # heat's starts are made up for in full
    ],
)
def test_how_long_a_fan_rests_and_runs_on_follows_from_when_a_start_is_due(
    start_every_s: float, due_s: float, rest_s: float, run_s: float
) -> None:
    rules = RULES._replace(start_every_s=start_every_s)
    assert least_rest_s(rules, 1000.0, due_s) == rest_s
    assert least_run_s(Rule.SCHEDULE, rules, 1000.0, due_s) == run_s


def limited_by_row(first: Any, second: Any, rules: Rules = RULES) -> dict[Rule, str]:
    """What stood between wish and command, by the row that wished, in air that changes."""
    memory, words = Memory(), {}
    for step in range(12 * 6):
        tent = second if step % 2 else first
        for at_s in (600.0 * step, 600.0 * step + 300.0):
            decided = decide(
                night(at_s)._replace(is_quiet=True), air_is(at_s, *tent), rules, memory
            )
            memory = decided.memory
            if decided.is_limited:
                words[decided.rule] = reason_words(decided.reasons[-1])
    return words


def test_a_fan_short_of_starts_runs_on_rather_than_leave_a_tent_without_air() -> None:
    words = limited_by_row(FINE, HUMID)
    assert set(words) == {Rule.SCHEDULE}
    assert words[Rule.SCHEDULE].startswith("waiting out the fan's minimum on or off time (")


@pytest.mark.parametrize(
    ("first", "second", "rules"),
    [
        (COLD_FINE, COLD_HUMID, RULES),
        (FINE, HUMID, RULES._replace(quiet_speed=0.5)),
    ],
)
def test_a_far_too_cold_tent_and_quiet_hours_rest_until_a_start_may_come(
    first: Any, second: Any, rules: Rules
) -> None:
    words = limited_by_row(first, second, rules)
    (waiting,) = words
    assert waiting in (Rule.TOO_HUMID, Rule.QUIET)
    waits = words[waiting]
    assert waits.startswith("waiting out the fan's minimum on or off time (")


@pytest.mark.parametrize(
    ("air_c", "cap", "may"),
    [(14.0, 1.0, True), (13.9, 1.0, False), (21.0, 0.5, False)],
)
def test_a_tent_a_kelvin_below_its_band_and_quiet_hours_let_no_fan_run_on(
    air_c: float, cap: float, may: bool
) -> None:
    tent = Reading(0.0, air_c, 60.0)
    assert may_run_on(tent, NIGHT, cap) is may
    assert may_run_on(None, NIGHT, cap) is (cap == 1.0)


def test_a_fan_short_of_starts_runs_on_unless_it_may_not() -> None:
    stop, running, due_s = Wish(0.0, Rule.SCHEDULE), Ramp(1.0, 0.0, 1.0), 20.0 * HOUR_S
    assert actuate(stop, 130.0, RULES, running, 0.0, due_s).speed == 1.0
    assert actuate(stop, 130.0, RULES, running, 0.0, due_s, runs_on=False).speed == 0.0
