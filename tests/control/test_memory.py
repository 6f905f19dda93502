"""What survives a restart, and what does not."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from controller.control import CALM, Hold, Memory
from controller.control.forecast import Outlook
from controller.control.lamp_interlock import LampCut
from controller.control.memory import AT_REST, Ramp
from controller.control.modulation import HeatStage, SpeedChoice, SpeedRange
from controller.control.override_state import OverrideState

DELAYED, LOCKED = OverrideState(90.0), OverrideState(60.0, engaged=True, locked_out=True)
CHOICE = SpeedChoice(
    80.0,
    0.7,
    True,
    SpeedRange(0.5, 0.5, 1.0),
    HeatStage.NEAR_WARNING,
    Outlook(25.5, 61.0, 1270.0),
    Outlook(25.3, 60.0, 1290.0),
    14.5,
    27.5,
)
FULL = Memory(
    started_s=10.0,
    overrides=(DELAYED, LOCKED, None, None, None, None, None),
    ramp=Ramp(0.2, 80.0, 0.0),
    switched_s=40.0,
    lamp_cut=LampCut(50.0, is_cut=True),
    hold=Hold(0.3, until_s=700.0),
    in_failsafe=True,
    choice=CHOICE,
    near_warning=True,
    start_due_s=90.0,
)
SNAPSHOT: dict[str, Any] = {
    "overrides": [
        {"age_s": 10.0, "engaged": False, "locked_out": False},
        {"age_s": 40.0, "engaged": True, "locked_out": True},
        *[None] * 5,
    ],
    "speed": 0.0,
    "switched_age_s": 60.0,
    "lamp_cut": {"age_s": 50.0, "is_cut": True},
    "in_failsafe": True,
    "near_warning": True,
    "start_due_in_s": -10.0,
    "choice": {
        "age_s": 20.0,
        "speed": 0.7,
        "lit": True,
        "saved_w": 14.5,
        "contents_c": 27.5,
        "between": [0.5, 0.5, 1.0],
        "heat": 1,
        "outlook": [25.5, 61.0, 1270.0],
        "outlook_at_high": [25.3, 60.0, 1290.0],
    },
    "hold": {"speed": 0.3, "left_s": 600.0},
}


def test_a_snapshot_gives_ages_instead_of_times() -> None:
    assert FULL.snapshot(100.0) == SNAPSHOT


def test_the_snapshot_of_a_first_start_is_empty() -> None:
    assert Memory().snapshot(100.0) == {
        "overrides": [None] * 8,
        "speed": 0.0,
        "switched_age_s": None,
        "lamp_cut": None,
        "in_failsafe": False,
        "near_warning": False,
        "start_due_in_s": None,
        "choice": None,
        "hold": None,
    }
    assert Memory.restore(Memory().snapshot(100.0), 5.0, 1.0) == Memory()


def test_restored_delays_and_rests_have_lasted_through_the_pause() -> None:
    """On a clock that says 1000 s, after 20 s away."""
    assert Memory.restore(SNAPSHOT, 1000.0, 20.0) == Memory(
        started_s=None,
        overrides=(
            OverrideState(970.0),
            OverrideState(940.0, engaged=True, locked_out=True),
            *[None] * 6,
        ),
        ramp=AT_REST,
        switched_s=920.0,
        lamp_cut=LampCut(930.0, is_cut=True),
        hold=Hold(0.3, until_s=1580.0),
        in_failsafe=True,
        choice=CHOICE._replace(since_s=960.0),
        near_warning=True,
        start_due_s=970.0,
    )


def test_a_wall_clock_that_went_back_counts_as_no_pause() -> None:
    assert Memory.restore(SNAPSHOT, 1000.0, -500.0) == Memory.restore(SNAPSHOT, 1000.0, 0.0)


def test_a_hold_that_ended_in_the_pause_is_gone() -> None:
    assert Memory.restore(SNAPSHOT, 1000.0, 600.0).hold is None
    assert Memory.restore(SNAPSHOT, 1000.0, 599.0).hold == Hold(0.3, until_s=1001.0)


def test_a_fan_that_ran_is_started_without_a_rest() -> None:
    assert Memory.restore(SNAPSHOT | {"speed": 0.4}, 1000.0, 0.0).switched_s == -math.inf
    assert Memory.restore(SNAPSHOT | {"speed": 1.0}, 1000.0, 0.0).switched_s == -math.inf


def test_calm_watches_are_restored_as_calm() -> None:
    assert Memory.restore(SNAPSHOT | {"overrides": [None] * 8}, 1000.0, 0.0).overrides is CALM


@pytest.mark.parametrize("count", [6, 9])
def test_a_snapshot_with_another_number_of_watches_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match=f"expected 8 .* {count}"):
        Memory.restore(SNAPSHOT | {"overrides": [None] * count}, 1000.0, 0.0)


def test_a_snapshot_of_a_version_without_the_override_for_co2_is_taken_up() -> None:
    older = SNAPSHOT | {"overrides": SNAPSHOT["overrides"][:7]}
    assert Memory.restore(older, 1000.0, 20.0) == Memory.restore(SNAPSHOT, 1000.0, 20.0)


def test_a_choice_of_a_version_that_did_not_follow_the_pots_is_made_anew() -> None:
    older = {key: value for key, value in SNAPSHOT["choice"].items() if key != "contents_c"}
    restored = Memory.restore(SNAPSHOT | {"choice": older}, 1000.0, 20.0)
    assert restored == replace(Memory.restore(SNAPSHOT, 1000.0, 20.0), choice=None)


CENTURY_S = 100 * 366 * 86_400.0


@pytest.mark.parametrize("age_s", [0.0, CENTURY_S])
def test_any_age_up_to_a_century_is_taken_up(age_s: float) -> None:
    restored = Memory.restore(SNAPSHOT | {"switched_age_s": age_s}, 1000.0, 0.0)
    assert restored.switched_s == 1000.0 - age_s


@pytest.mark.parametrize("age_s", [-0.1, CENTURY_S + 1.0, math.inf, math.nan])
def test_an_age_that_cannot_be_is_refused(age_s: float) -> None:
    with pytest.raises(ValueError, match="not a decision snapshot"):
        Memory.restore(SNAPSHOT | {"switched_age_s": age_s}, 1000.0, 0.0)


@pytest.mark.parametrize(
    ("speed", "fits"), [(0.0, True), (1.0, True), (1.01, False), (-0.1, False)]
)
def test_a_hold_has_a_speed_that_a_fan_can_have(speed: float, fits: bool) -> None:
    snapshot = SNAPSHOT | {"hold": {"speed": speed, "left_s": 60.0}}
    if fits:
        assert Memory.restore(snapshot, 1000.0, 0.0).hold == Hold(speed, until_s=1060.0)
    else:
        with pytest.raises(ValueError, match="out of range"):
            Memory.restore(snapshot, 1000.0, 0.0)


@pytest.mark.parametrize("due_in_s", [-CENTURY_S, -60.0, 0.0, CENTURY_S])
def test_a_start_is_due_up_to_a_century_before_or_after(due_in_s: float) -> None:
    restored = Memory.restore(SNAPSHOT | {"start_due_in_s": due_in_s}, 1000.0, 30.0)
    assert restored.start_due_s == 970.0 + due_in_s


@pytest.mark.parametrize("due_in_s", [-CENTURY_S - 1.0, CENTURY_S + 1.0, math.nan])
def test_a_start_that_is_due_when_no_daemon_runs_is_refused(due_in_s: float) -> None:
    with pytest.raises(ValueError, match="not a decision snapshot"):
        Memory.restore(SNAPSHOT | {"start_due_in_s": due_in_s}, 1000.0, 0.0)


def test_a_snapshot_of_an_older_version_that_lacks_what_came_later_is_restored() -> None:
    later = ("in_failsafe", "near_warning", "start_due_in_s", "choice")
    old = Memory.restore({k: v for k, v in SNAPSHOT.items() if k not in later}, 1000.0, 0.0)
    assert (old.in_failsafe, old.near_warning, old.choice) == (False, False, None)
    assert old.start_due_s == -math.inf


def test_a_lamp_is_cut_only_once_its_delay_is_over() -> None:
    assert not Memory().lamp_is_cut
    assert not Memory(lamp_cut=LampCut(0.0)).lamp_is_cut
    assert Memory(lamp_cut=LampCut(0.0, is_cut=True)).lamp_is_cut


def test_what_is_followed_by_the_same_stays_itself() -> None:
    assert FULL.followed_by(replace(FULL)) is FULL


@pytest.mark.parametrize(
    "change",
    [
        {"started_s": 11.0},
        {"overrides": CALM},
        {"ramp": AT_REST},
        {"switched_s": 41.0},
        {"lamp_cut": None},
        {"hold": None},
        {"in_failsafe": False},
    ],
)
def test_any_change_makes_a_new_memory(change: dict[str, Any]) -> None:
    after = replace(FULL, **change)
    assert FULL.followed_by(after) is after


def test_a_first_start_has_a_fan_at_rest_since_ever() -> None:
    assert Memory() == Memory(
        started_s=None,
        overrides=(None,) * 8,
        ramp=Ramp(from_speed=0.0, from_s=-math.inf, to_speed=0.0),
        switched_s=-math.inf,
        lamp_cut=None,
        hold=None,
        in_failsafe=False,
    )


def test_a_choice_of_an_older_version_or_a_damaged_page_is_refused_and_none_is_fine() -> None:
    old = {key: value for key, value in SNAPSHOT.items() if key != "choice"}
    assert Memory.restore(old, 1000.0, 0.0).choice is None
    for change in (
        {"speed": 1.2},
        {"age_s": -1.0},
        {"age_s": math.nan},
        {"heat": 9},
        {"between": [0.5, 1.0]},
        {"outlook": [25.5]},
        {"outlook_at_high": [math.inf, 60.0, 1290.0]},
    ):
        damaged = SNAPSHOT | {"choice": SNAPSHOT["choice"] | change}
        with pytest.raises(ValueError, match="not a decision snapshot"):
            Memory.restore(damaged, 1000.0, 0.0)
