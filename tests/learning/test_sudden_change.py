"""A change within hours is named by what alone explains the readings; a usual day is none."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest
from learning_records import START_S, USUAL, Act, lived, off_the_config, usually_learned

from controller.learning.learn import fixed_of
from controller.learning.parameters import configured
from controller.learning.sudden import LOOK_BACK_S, Rise, SuddenChange, sudden_change
from controller.record import ReadingRow

# The fault begins at ten on the second day; the lamp is lit from six to ten.
FROM_H = 34.0

WILTING = Act(leaves=0.1)
OPEN = Act(opened_m3_s=0.08)
HUMIDITY_JUMPS = Act(drift_pct=-8.0)
TEMPERATURE_JUMPS = Act(drift_k=2.0)


@cache
def rows_with(act: Act) -> tuple[ReadingRow, ...]:
    """Two and a half days of the tent that was learned, with a fault from an hour on."""
    acts: Callable[[float], Act] = lambda hours: act if hours >= FROM_H else USUAL  # noqa: E731
    return tuple(lived(days=2.0, physics=off_the_config, acts=acts)[1])


def look(act: Act, hour: float, since_h: float | None = None) -> SuddenChange | str | None:
    rows = rows_with(act)[: round(60.0 * hour)][-round(LOOK_BACK_S / 60.0) :]
    learned = usually_learned()
    since_s = None if since_h is None else START_S + 3600.0 * since_h
    settings = lived(days=0.001)[0]
    return sudden_change(fixed_of(settings), learned, rows, since_s)


@pytest.mark.parametrize("hour", [33.0, 38.0, 45.0])
def test_a_usual_day_is_no_change(hour: float) -> None:
    assert look(USUAL, hour) is None


@pytest.mark.parametrize(
    ("act", "kind"),
    [
        (WILTING, "reduced_transpiration"),
        (OPEN, "little_rise"),
        (HUMIDITY_JUMPS, "sensor_drift"),
        (TEMPERATURE_JUMPS, "sensor_drift"),
    ],
)
def test_each_is_found_within_four_hours_by_its_own_name(act: Act, kind: str) -> None:
    found = look(act, FROM_H + 4.0)
    assert isinstance(found, SuddenChange)
    assert found.kind == kind
    assert FROM_H - 0.1 <= (found.since_s - START_S) / 3600.0 <= FROM_H + 4.0


def test_a_duct_that_is_kinked_is_less_air() -> None:
    def clogging(day: float) -> float:
        return 8.0 if day >= 1.5 else 1.0

    settings, rows = lived(days=1.7, physics=off_the_config, clogging=clogging)
    last = rows[: 40 * 60][-round(LOOK_BACK_S / 60.0) :]
    found = sudden_change(fixed_of(settings), usually_learned(), last)
    assert isinstance(found, SuddenChange)
    assert found.kind == "less_air"
    assert 0.2 < found.share <= 0.7
    assert found.observed.k > found.expected.k + found.doubt.k


def test_wilting_is_told_with_what_was_expected_and_what_was_observed() -> None:
    found = look(WILTING, FROM_H + 4.0)
    assert isinstance(found, SuddenChange)
    assert found.share == pytest.approx(0.1, abs=0.1)
    assert found.observed.ratio < found.expected.ratio - found.doubt.ratio
    assert found.observed.k > found.expected.k  # nothing cools by evaporation any more
    told = found.as_json()
    assert told["observed_g_kg"] == pytest.approx(1000.0 * found.observed.ratio, abs=1e-3)


def test_a_sensor_is_told_by_how_much() -> None:
    found = look(HUMIDITY_JUMPS, FROM_H + 4.0)
    assert isinstance(found, SuddenChange)
    assert found.off_pct == pytest.approx(-8.0, abs=0.7)
    assert found.off_k == 0.0
    found = look(TEMPERATURE_JUMPS, FROM_H + 4.0)
    assert isinstance(found, SuddenChange)
    assert found.off_k == pytest.approx(2.0, abs=0.15)


def look_where_leaves_are(times: float, act: Act) -> SuddenChange | str | None:
    """Four hours after the fault in a tent with so many times the leaves, known exactly."""
    settings, rows = lived(
        days=1.6,
        physics=lambda body: body._replace(leaf_area_m2=times * body.leaf_area_m2),
        acts=lambda hours: act if hours >= FROM_H else USUAL,
    )
    fixed = fixed_of(settings)
    held = configured(fixed.physics)._replace(transpiration_lit=times, transpiration_dark=times)
    learned = usually_learned()._replace(fitted=held)
    return sudden_change(fixed, learned, rows[: 38 * 60][-round(LOOK_BACK_S / 60.0) :])


def test_an_open_door_shows_where_leaves_keep_a_lit_tent_below_its_intake_air() -> None:
    found = look_where_leaves_are(4.0, OPEN)
    assert isinstance(found, SuddenChange)
    assert found.kind == "little_rise"
    assert found.expected.k < 0.0
    assert found.share < 0.5


def test_where_a_sensor_would_show_the_same_as_less_air_both_are_named() -> None:
    found = look_where_leaves_are(0.2, Act(drift_k=1.2))
    assert isinstance(found, SuddenChange)
    assert (found.kind, found.or_sensor) == ("less_air", True)
    assert found.as_json()["or_sensor"] is True
    plain = look(TEMPERATURE_JUMPS, FROM_H + 4.0)
    assert isinstance(plain, SuddenChange)
    assert (plain.kind, plain.or_sensor) == ("sensor_drift", False)


@pytest.mark.parametrize(
    ("observed", "expected", "share"),
    [
        (Rise(1.0, 0.001), Rise(4.0, 0.002), 0.25),
        (Rise(4.0, 0.0), Rise(4.0, 0.004), 4024.0 / 13824.0),
        (Rise(-0.5, 0.001), Rise(-0.1, 0.004), (-503.0 + 2450.0) / (-100.6 + 9800.0)),
        (Rise(-1.0, 0.0), Rise(-2.0, 0.0), 1.0),
        (Rise(5.0, 0.005), Rise(4.0, 0.004), 1.0),
    ],
)
def test_a_rise_is_shared_out_by_temperature_or_heat(
    observed: Rise, expected: Rise, share: float
) -> None:
    assert observed.share_of(expected) == pytest.approx(share)


@pytest.mark.parametrize(
    "act",
    [
        Act(leaves=0.7),  # within what a tent differs by from day to day
        Act(leaves=2.5),  # more moisture: watering is no fault
        Act(drift_pct=-3.0),
        Act(lamp=1.8),  # more heat: nothing that is supposed explains it
    ],
)
def test_what_is_small_or_has_no_one_cause_is_not_named(act: Act) -> None:
    assert look(act, FROM_H + 4.0) is None


def test_what_stands_is_still_seen_hours_later_from_where_it_began() -> None:
    found = look(WILTING, FROM_H + 10.0, since_h=FROM_H)
    assert isinstance(found, SuddenChange)
    assert found.since_s == START_S + 3600.0 * FROM_H


@pytest.mark.parametrize("hour", [24.0 + 7.0, 47.0])
def test_hours_that_are_not_lit_throughout_tell_nothing(hour: float) -> None:
    assert look(WILTING, hour) == "unknown"


def test_without_readings_nothing_is_known() -> None:
    settings = lived(days=0.001)[0]
    assert sudden_change(fixed_of(settings), usually_learned(), []) == "unknown"
