"""One override by itself: when it engages and releases, and what outside air can do about it."""

from __future__ import annotations

import math

import pytest
from decision_builders import make_rules

from controller import air
from controller.control import OVERRIDES, OverrideState, Quantity, Reading, compared_value
from controller.control.override_state import (
    LASTS_S,
    SIDES,
    compared_values,
    intake_advantage,
    step_lock_out,
    step_override,
    surface_c,
)

DELAYED, ENGAGED = OverrideState(0.0), OverrideState(0.0, engaged=True)
LOCKED = OverrideState(0.0, engaged=True, locked_out=True)


def stepped(
    state: OverrideState | None, excess: float, now_s: float, lasts_s: float = 0.0
) -> OverrideState | None:
    """With a hysteresis of 2 and a delay of 60 s."""
    return step_override(
        state, excess=excess, hysteresis=2.0, delay_s=60.0, lasts_s=lasts_s, now_s=now_s
    )


def test_a_value_at_just_its_limit_is_in_band() -> None:
    assert stepped(None, 0.0, 5.0) is None
    assert stepped(None, 0.1, 5.0) == OverrideState(5.0)


def test_without_a_delay_it_engages_at_once() -> None:
    state = step_override(None, excess=0.1, hysteresis=2.0, delay_s=0.0, lasts_s=0.0, now_s=5.0)
    assert state == OverrideState(5.0, engaged=True)


def test_it_engages_at_the_end_of_its_delay_while_past_the_limit() -> None:
    assert stepped(DELAYED, 0.1, 59.9) is DELAYED
    assert stepped(DELAYED, 0.0, 60.0) is DELAYED
    assert stepped(DELAYED, 0.1, 60.0) == OverrideState(60.0, engaged=True)
    assert stepped(ENGAGED, 0.1, 60.0) is ENGAGED


def test_it_is_calm_again_beyond_the_hysteresis_and_not_at_it() -> None:
    assert stepped(ENGAGED, -2.0, 10.0) is ENGAGED
    assert stepped(ENGAGED, -2.1, 10.0) is None
    assert stepped(DELAYED, -2.0, 10.0) is DELAYED
    assert stepped(DELAYED, -2.1, 10.0) is None


def test_a_lowered_speed_lasts_its_time_once_engaged() -> None:
    assert stepped(ENGAGED, -9.0, 99.9, lasts_s=100.0) is ENGAGED
    assert stepped(ENGAGED, -9.0, 100.0, lasts_s=100.0) is None
    assert stepped(DELAYED, -9.0, 10.0, lasts_s=100.0) is None


def test_what_lowers_the_speed_lasts_ten_minutes_and_drying_a_surface_fifteen() -> None:
    assert LASTS_S == (0.0, 0.0, 0.0, 900.0, 600.0, 600.0, 600.0, 0.0)


@pytest.mark.parametrize(
    ("raises", "before", "advantage", "locked_out"),
    [
        (True, ENGAGED, 0.1, False),
        (True, ENGAGED, 0.0, True),
        (True, ENGAGED, -0.1, True),
        (True, LOCKED, 0.9, True),
        (True, LOCKED, 1.0, False),
        (False, ENGAGED, -0.9, False),
        (False, ENGAGED, -1.0, True),
        (False, LOCKED, -0.1, True),
        (False, LOCKED, 0.0, False),
    ],
)
def test_outside_air_helps_or_not_with_a_margin_of_one(
    raises: bool, before: OverrideState, advantage: float, locked_out: bool
) -> None:
    after = _locked(before, raises, advantage)
    assert after == OverrideState(0.0, engaged=True, locked_out=locked_out)
    assert (after is before) is (locked_out is before.locked_out)


def _locked(before: OverrideState, raises: bool, advantage: float) -> OverrideState:
    return step_lock_out(before, raises=raises, advantage=advantage, margin=1.0)


TENT = Reading(0.0, 25.0, 60.0)


def test_the_coldest_surface_is_midway_to_a_colder_room() -> None:
    assert surface_c(TENT, None) == 25.0
    assert surface_c(TENT, Reading(0.0, 15.0, 50.0)) == 20.0
    assert surface_c(TENT, Reading(0.0, 30.0, 50.0)) == 25.0


def test_what_each_override_compares() -> None:
    """25 °C, 60 %: es 3169 Pa (ASHRAE Handbook Fundamentals 2017, ch. 1 table 3), dew 16.7 °C."""
    intake = Reading(0.0, 15.0, 50.0)
    values = compared_values(TENT, intake)
    expected = (25.0, 60.0, 1267.6, 3.3, 25.0, 60.0, 1267.6, math.inf)
    assert values == pytest.approx(expected, rel=0.02)
    assert tuple(compared_value(kind, TENT, intake) for kind in OVERRIDES) == values


def test_saturated_air_has_its_dew_point_at_its_own_temperature() -> None:
    assert compared_values(Reading(0.0, 25.0, 100.0), None)[3] == pytest.approx(0.0, abs=1e-6)
    assert compared_values(Reading(0.0, 25.0, 100.0), None)[3] >= 0.0


def test_the_driest_air_is_taken_to_have_its_dew_point_at_minus_60() -> None:
    assert compared_values(Reading(0.0, 25.0, 0.5), None)[3] == 85.0
    assert compared_values(Reading(0.0, 25.0, 1.0), None)[3] == pytest.approx(57.0, abs=3.0)


def advantage_of(index: int, intake: Reading | None) -> tuple[float, float]:
    hystereses = (1.5, 4.0, 150.0, 2.0, 1.0, 5.0, 160.0, 40.0)
    return intake_advantage(index, TENT, intake, make_rules(hystereses=hystereses))


@pytest.mark.parametrize("index", range(7))
def test_without_an_intake_sensor_nothing_is_locked_out(index: int) -> None:
    """An advantage that is enough for more air and, not being negative, for less."""
    advantage, margin = advantage_of(index, None)
    kind = OVERRIDES[index]
    for before in (ENGAGED, LOCKED):
        after = step_lock_out(before, raises=kind.raises, advantage=advantage, margin=margin)
        assert not after.locked_out


@pytest.mark.parametrize(("index", "margin_k"), [(0, 1.5), (4, 1.0)])
def test_for_temperatures_it_is_how_much_cooler_the_intake_is(index: int, margin_k: float) -> None:
    assert advantage_of(index, Reading(0.0, 22.0, 90.0)) == (3.0, margin_k)


@pytest.mark.parametrize(
    ("index", "margin_pa"),
    [
        (1, 0.04 * 3169.0),  # the hysteresis in humidity at the tent's temperature
        (2, 150.0),
        (3, 0.12 * 0.6 * 3169.0),  # 2 K of dew point, at half of 12 % a kelvin
        (5, 0.05 * 3169.0),
        (6, 160.0),
    ],
)
def test_for_moisture_it_is_how_much_less_vapour_the_intake_holds(
    index: int, margin_pa: float
) -> None:
    intake = Reading(0.0, 15.0, 50.0)
    advantage, margin = advantage_of(index, intake)
    less = air.vapour_pressure_pa(25.0, 60.0) - air.vapour_pressure_pa(15.0, 50.0)
    assert advantage == pytest.approx(less)
    assert margin == pytest.approx(margin_pa, rel=0.01)
    assert OVERRIDES[index].quantity is not Quantity.TEMPERATURE


def test_a_margin_is_never_more_than_all_vapour_there_is() -> None:
    rules = make_rules(hystereses=(1.0, 250.0, 150.0, 40.0, 1.0, 4.0, 150.0))
    intake = Reading(0.0, 15.0, 50.0)
    saturated_pa = air.vapour_pressure_pa(25.0, 100.0)
    assert intake_advantage(1, TENT, intake, rules)[1] == pytest.approx(saturated_pa)
    assert intake_advantage(3, TENT, intake, rules)[1] == pytest.approx(0.6 * saturated_pa)


def test_the_side_on_which_each_override_engages() -> None:
    assert SIDES == (1, 1, -1, -1, -1, -1, 1, -1)


def test_a_delay_is_counted_from_its_own_start() -> None:
    late = OverrideState(40.0)
    assert stepped(late, 0.1, 99.9) is late
    assert stepped(late, 0.1, 100.0) == OverrideState(100.0, engaged=True)
