"""The life of an alarm: delays, hystereses, chattering, acknowledgement, restarts."""

from __future__ import annotations

import json
from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from controller.alarms.conditions import GONE, HOLDS, Condition
from controller.alarms.kinds import BY_NAME, KINDS, Priority
from controller.alarms.states import (
    CHATTER_QUIET_S,
    CHATTER_WITHIN_S,
    Alarms,
    AlarmState,
    acknowledge,
    restore,
    snapshot,
    step_alarms,
)


class Walk:
    """One alarm stepped along a script of conditions."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.now_s = 0.0
        self.alarms: Alarms = {}
        self.shown: list[str] = []

    def hold(self, condition: Condition | None, seconds: float, step_s: float = 2.0) -> Walk:
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.alarms, changes = step_alarms(
                self.alarms, {self.name: condition}, self.now_s, round(self.now_s * 1000)
            )
            self.shown += [c.event.removeprefix("alarm.") for c in changes]
            self.now_s += step_s
        return self

    def acknowledge(self) -> Walk:
        self.alarms, changes = acknowledge(self.alarms, self.name)
        self.shown += [c.event.removeprefix("alarm.") for c in changes]
        return self

    @property
    def state(self) -> AlarmState | None:
        alarm = self.alarms.get(self.name)
        return None if alarm is None else alarm.state


def hot(excess_k: float) -> Condition:
    return Condition(excess_k, 1.0, 26.7 + excess_k, 26.7, "°C")


def test_every_kind_has_something_to_do_and_a_name_of_its_own() -> None:
    assert len(BY_NAME) == len(KINDS)
    for kind in KINDS:
        assert len(kind.response) > 20
        assert kind.on_delay_s >= 0.0
        assert kind.off_delay_s >= 0.0


def test_an_alarm_is_raised_after_its_on_delay_and_not_before() -> None:
    walk = Walk("heat").hold(hot(0.5), 60.0)
    assert (walk.shown, walk.state) == ([], AlarmState.PENDING)
    walk.hold(hot(0.5), 2.0)
    assert (walk.shown, walk.state) == (["raised"], AlarmState.ACTIVE)


def test_a_condition_that_goes_within_the_on_delay_is_never_reported() -> None:
    walk = Walk("heat").hold(hot(0.5), 40.0).hold(hot(-0.1), 10.0).hold(hot(0.5), 40.0)
    assert walk.shown == []


def test_an_alarm_is_reported_once_however_long_it_stands() -> None:
    assert Walk("heat").hold(hot(2.0), 86_400.0, 60.0).shown == ["raised"]


def test_within_the_hysteresis_an_alarm_stays() -> None:
    walk = Walk("heat").hold(hot(0.5), 100.0).hold(hot(-0.9), 4000.0)
    assert walk.shown == ["raised"]
    walk.hold(hot(-1.1), 300.0)
    assert walk.shown == ["raised"]
    walk.hold(hot(-1.1), 4.0)
    assert walk.shown == ["raised", "cleared"]


def test_the_off_delay_starts_anew_when_the_condition_comes_back() -> None:
    walk = Walk("heat").hold(hot(0.5), 100.0)
    for _ in range(10):
        walk.hold(hot(-1.5), 200.0).hold(hot(0.2), 20.0)
    assert walk.shown == ["raised"]


def test_what_cannot_be_reported_leaves_an_alarm_as_it_is() -> None:
    walk = Walk("heat").hold(hot(0.5), 100.0).hold(None, 10_000.0)
    assert (walk.shown, walk.state) == (["raised"], AlarmState.ACTIVE)


def test_an_acknowledged_alarm_is_forgotten_when_it_is_over() -> None:
    walk = Walk("severe_heat").hold(hot(0.5), 100.0).acknowledge()
    assert walk.state is AlarmState.ACKNOWLEDGED
    walk.hold(hot(-2.0), 400.0)
    assert (walk.shown, walk.state) == (["raised", "acknowledged", "cleared"], None)


def test_a_high_alarm_that_nobody_saw_is_kept_until_acknowledged() -> None:
    walk = Walk("severe_heat").hold(hot(0.5), 100.0).hold(hot(-2.0), 100_000.0, 60.0)
    assert walk.state is AlarmState.OVER
    assert walk.acknowledge().state is None


def test_a_lower_alarm_that_nobody_saw_is_forgotten() -> None:
    assert BY_NAME["heat"].priority is Priority.MEDIUM
    walk = Walk("heat").hold(hot(0.5), 100.0).hold(hot(-2.0), 600.0)
    assert walk.state is AlarmState.OVER  # for an hour, to notice one that comes and goes
    assert walk.hold(hot(-2.0), CHATTER_WITHIN_S).state is None


def test_an_alarm_that_is_over_can_be_raised_again_after_its_delay() -> None:
    walk = Walk("severe_heat").hold(hot(0.5), 100.0).hold(hot(-2.0), 400.0)
    walk.hold(hot(0.5), 56.0)
    assert walk.shown == ["raised", "cleared"]
    walk.hold(hot(0.5), 10.0)
    assert walk.shown == ["raised", "cleared", "raised"]


def test_an_alarm_that_comes_and_goes_is_reported_three_times_and_then_no_more() -> None:
    """Three is chattering (ANSI/ISA-18.2, as quoted by others, there in a minute)."""
    walk = Walk("fan_not_turning")
    for _ in range(40):
        walk.hold(HOLDS, 4.0).hold(GONE, 14.0)
    assert Counter(walk.shown) == {"raised": 3, "cleared": 2}
    assert walk.alarms["fan_not_turning"].is_chattering


def test_an_alarm_that_comes_every_twenty_minutes_is_not_reported_all_night() -> None:
    walk = Walk("heat")
    for _ in range(24):
        walk.hold(hot(0.5), 600.0, 10.0).hold(hot(-2.0), 600.0, 10.0)
    assert Counter(walk.shown) == {"raised": 3, "cleared": 2}


def test_an_alarm_began_when_its_condition_did_and_not_when_its_delay_had_passed() -> None:
    walk = Walk("cold").hold(GONE, 100.0).hold(HOLDS, 700.0)
    alarm = walk.alarms["cold"]
    assert (alarm.began_ms, alarm.raised_ms) == (100_000, 700_000)
    again = restore(json.loads(json.dumps(snapshot(walk.alarms, walk.now_s))), 50.0, 0.0)["cold"]
    assert again.began_ms == 100_000
    walk.hold(GONE, 700.0).hold(HOLDS, 700.0)
    assert walk.alarms["cold"].began_ms == 1_500_000


def test_chattering_is_over_after_it_has_kept_quiet() -> None:
    walk = Walk("fan_not_turning")
    for _ in range(10):
        walk.hold(HOLDS, 4.0).hold(GONE, 14.0)
    shown = len(walk.shown)
    walk.hold(GONE, CHATTER_QUIET_S + 20.0)
    assert not walk.alarms["fan_not_turning"].is_chattering
    walk.hold(HOLDS, 4.0)
    assert walk.shown[shown:] == ["raised"]


def test_an_alarm_that_chattered_and_then_stands_is_commanded_to_be_over() -> None:
    walk = Walk("config")
    for _ in range(4):
        walk.hold(HOLDS, 4.0).hold(GONE, 4.0)
    assert walk.shown.count("raised") == 3
    walk.hold(HOLDS, CHATTER_QUIET_S + 60.0)
    shown = len(walk.shown)
    walk.hold(GONE, 10.0)
    assert walk.shown[shown:] == ["cleared"]


@given(st.lists(st.tuples(st.booleans(), st.floats(1.0, 400.0)), max_size=60))
def test_no_alarm_is_ever_reported_more_than_three_times_in_any_hour(
    script: list[tuple[bool, float]],
) -> None:
    for name in ("fan_not_turning", "output", "config", "heat"):
        walk = Walk(name)
        raised: list[float] = []
        for holds, seconds in script:
            before = len(walk.shown)
            walk.hold(HOLDS if holds else GONE, min(seconds, 60.0), 4.0)
            raised += [walk.now_s] * walk.shown[before:].count("raised")
        assert all(sum(at - 3600.0 < other <= at for other in raised) <= 3 for at in raised)


def test_alarms_survive_a_restart() -> None:
    walk = Walk("severe_heat").hold(hot(0.5), 100.0).acknowledge()
    kept = json.loads(json.dumps(snapshot(walk.alarms, walk.now_s)))
    again = restore(kept, now_s=5.0, away_s=30.0)
    assert again["severe_heat"].state is AlarmState.ACKNOWLEDGED
    assert again["severe_heat"].raised_ms == walk.alarms["severe_heat"].raised_ms
    stepped, changes = step_alarms(again, {"severe_heat": hot(0.5)}, 6.0, 0)
    assert (stepped, changes) == (again, ())


def test_pending_alarms_are_not_kept_and_nonsense_is_left_out() -> None:
    walk = Walk("heat").hold(hot(0.5), 10.0)
    assert snapshot(walk.alarms, walk.now_s) == []
    for saved in (None, 3, [3], [{}], [{"alarm": "heat"}], [{"alarm": "no_such"}], {"x": 1}):
        assert restore(saved, 0.0, 0.0) == {}


def test_nothing_changed_gives_the_same_object() -> None:
    walk = Walk("heat").hold(hot(0.5), 100.0)
    again, changes = step_alarms(walk.alarms, {"heat": hot(0.6)}, walk.now_s, 0)
    assert again is walk.alarms
    assert changes == ()


def test_what_to_do_follows_the_reason_while_the_alarm_stands() -> None:
    """Moist air by morning, warm by afternoon: it is raised once and listed as it is."""
    walk = Walk("ventilation_limit")
    moist, warm = (Condition(1.0, 1.0, why=why) for why in ("moist_intake", "warm_intake"))
    walk.hold(moist, 4000.0, 60.0)
    assert walk.alarms["ventilation_limit"].why == "moist_intake"
    walk.hold(warm, 60.0, 60.0)
    assert walk.alarms["ventilation_limit"].why == "warm_intake"
    walk.hold(GONE, 60.0, 60.0)
    assert walk.alarms["ventilation_limit"].why == "warm_intake"
    assert walk.shown == ["raised"]
    (row,) = snapshot(walk.alarms, walk.now_s)
    assert row["why"] == "warm_intake"
