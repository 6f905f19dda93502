"""A lit tent warmer than its fan's air would leave it: told soon, and never without a cause."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "expectation"))

import pytest
from tent_bodies import (
    CONFIG,
    changed,
    fault,
    live,
    raised,
    random_tent,
    room_knots,
    within_doubt,
)

from controller.alarms.conditions import Condition
from controller.alarms.kinds import BY_NAME
from controller.alarms.notifications import message
from controller.alarms.states import Alarm, AlarmChange, AlarmState
from controller.record import MemoryRecord

# Days until two hours after a fault at noon; that no alarm comes twice a whole day shows above all.
UNTIL_14 = 14.0 / 24.0
BARE = changed(("crop: {kind: pepper, plants: 4, stage: flowering}\n", ""))


def response(record: MemoryRecord, alarm: str) -> str:
    (shown,) = [
        e.data for e in record.events if e.name == "alarm.raised" and e.data["alarm"] == alarm
    ][:1]
    return str(shown["response"])


def test_a_dead_fan_without_a_tachometer_is_reported_within_half_an_hour() -> None:
    _, record = live(CONFIG, 1.0, faults=[fault("fan_dead", 0, 12.0)])
    (at_h,) = raised(record, "less_air")
    assert 12.0 < at_h <= 12.5
    assert "does the fan turn" in response(record, "less_air")
    assert "heat" in {str(e.data["alarm"]) for e in record.events if e.name == "alarm.raised"}
    assert raised(record, "ventilation_limit") == []  # outside air could serve very well


def test_a_dead_fan_is_reported_in_a_tent_without_plants_too() -> None:
    _, record = live(
        BARE,
        UNTIL_14,
        faults=[fault("fan_dead", 0, 12.0)],
        physics=lambda physics: physics._replace(leaf_area_m2=0.0),
    )
    (at_h,) = raised(record, "less_air")
    assert 12.0 < at_h <= 12.5


SOUND = (2, 14, 106, 120)


# With those of whose silence without a fault the next test makes something.
@pytest.mark.parametrize("seed", [*SOUND, 8, 16, 107])
def test_a_dead_fan_is_reported_within_half_an_hour_in_tents_of_every_size(seed: int) -> None:
    _, record = live(
        random_tent(seed),
        UNTIL_14,
        seed=seed,
        physics=within_doubt(seed),
        faults=[fault("fan_dead", 0, 12.0)],
    )
    (at_h,) = raised(record, "less_air")
    assert 12.0 < at_h <= 12.5


@pytest.mark.parametrize("seed", SOUND)
def test_a_tent_without_a_fault_never_raises_it(seed: int) -> None:
    """The short form of `tests/benches/less_air.sh`."""
    _, record = live(random_tent(seed), 2.0, seed=seed, physics=within_doubt(seed))
    assert raised(record, "less_air") == []


def test_a_relay_fan_that_goes_on_and_off_all_day_is_no_dead_one() -> None:
    text = changed(
        ("temperature: [20 °C, 27 °C]", "temperature: [22.6 °C, 23.2 °C]"),
        ("relay, pin: 17", "relay, pin: 17, min_on: 2 min, min_off: 5 min, most_starts: 999"),
        ("day_speed: 100 %", "day_speed: 0 %"),
        ("crop:", "overrides: {temperature: {hysteresis: 0.3 K}}\ncrop:"),
    )
    _, record = live(text, 1.0, knots=room_knots(1.0, 1, 19.5, 0.5), tick_s=20.0)
    assert sum(e.name == "fan.changed" for e in record.events) > 40  # 24 starts a day at most
    assert raised(record, "less_air") == []


def test_a_filter_loaded_forty_times_is_reported_within_an_hour() -> None:
    _, record = live(CONFIG, UNTIL_14, faults=[fault("filter_clogging", 0, 12.0, 0.1, 40.0)])
    (at_h,) = raised(record, "less_air")
    assert 12.0 < at_h <= 13.0


def test_a_lamp_of_two_and_a_half_times_its_config_is_reported() -> None:
    _, record = live(CONFIG, UNTIL_14, truth=changed(("power: 150 W", "power: 375 W")))
    assert raised(record, "less_air")
    assert "lamp.power" in response(record, "less_air")


def test_a_dead_fan_with_a_tachometer_is_reported_by_that_alone() -> None:
    text = changed(("pin: 17,", "pin: 17, tachometer: {pin: 24},"))
    _, record = live(text, UNTIL_14, faults=[fault("fan_dead", 0, 12.0)])
    assert raised(record, "fan_not_turning")
    assert raised(record, "less_air") == []


def test_a_repaired_fan_clears_it() -> None:
    _, record = live(CONFIG, 1.0, faults=[fault("fan_dead", 0, 10.0, 3.0)])
    (cleared,) = [
        e for e in record.events if e.name == "alarm.cleared" and e.data["alarm"] == "less_air"
    ]
    assert len(raised(record, "less_air")) == 1
    assert cleared is not None


def test_the_intake_air_is_blamed_only_where_it_is_too_warm_or_too_moist() -> None:
    _, record = live(CONFIG, UNTIL_14, knots=room_knots(1.0, 1, 29.0, 2.0))
    assert "intake air is too warm" in response(record, "ventilation_limit")
    band = changed(("temperature: [20 °C, 27 °C]", "temperature: [20 °C, 30 °C]"))
    moist = (knot._replace(intake_pct=90.0) for knot in room_knots(1.0, 1, 23.0, 1.0))
    _, record = live(band, UNTIL_14, knots=moist)
    assert "intake air is too moist" in response(record, "ventilation_limit")


def test_a_fan_too_weak_for_its_lamp_is_called_so() -> None:
    weak = changed(
        ("free_flow: 190 m³/h, max_pressure: 250 Pa", "free_flow: 60 m³/h, max_pressure: 120 Pa"),
        ("power: 150 W", "power: 250 W"),
    )
    _, record = live(weak, 1.0, knots=room_knots(1.0, 1, 22.0, 2.0))
    assert raised(record, "less_air") == []
    assert "stronger fan" in response(record, "ventilation_limit")


def test_the_message_says_what_was_seen_and_expected_in_the_users_units() -> None:
    alarm = Alarm("less_air", AlarmState.ACTIVE, 0.0)
    seen = Condition(5.0, 0.5, 8.0, 3.0, "K", share=0.12)
    shown = message(AlarmChange("alarm.raised", alarm, seen), "chillies", 0, "us")
    assert shown is not None
    assert shown.text.startswith(
        "Since Thursday 00:00. 14.4 °F above the intake air, expected at most 5.4 °F, as if about "
        "12 % of the air came through. What to do: look, in this order: does the fan turn"
    )
    assert shown.data["air_share"] == 0.12
    wet = message(AlarmChange("alarm.raised", alarm, seen._replace(limit=-1.0)), "c", 0, "si")
    assert wet is not None
    assert "expected none with so much moisture in it" in wet.text


def test_every_reason_has_its_response() -> None:
    kind = BY_NAME["ventilation_limit"]
    shown = {kind.response_to(why) for why in ("", *kind.responses)}
    assert len(shown) == 1 + len(kind.responses) == 7
    assert kind.response_to("unheard of") == kind.response
