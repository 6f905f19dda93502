"""Each cause is named when the record shows it, and only then."""

from pathlib import Path
from typing import Any

import pytest
from review_records import CONFIG, HandRecord, loaded

from controller.review.excursions import Excursion
from controller.review.report import Review
from controller.review.views.cause_words import cause_words
from controller.review.views.headline import also, headline


@pytest.fixture
def record(tmp_path: Path) -> HandRecord:
    made = HandRecord(tmp_path)
    made.stretch("06:00", "12:00")
    return made


def hot_excursion(review: Review) -> Excursion:
    (excursion,) = [one for one in review.excursions if one.quantity == "temperature"]
    return excursion


def minutes(excursion: Excursion) -> dict[str, float]:
    return {cause.code: cause.minutes for cause in excursion.causes}


def test_a_spell_without_any_of_them_has_no_cause(record: HandRecord) -> None:
    record.stretch("12:00", "13:00", temperature=26.0)
    record.stretch("13:00", "24:00")
    excursion = hot_excursion(record.review())
    assert minutes(excursion) == {}
    assert (excursion.minutes, excursion.extreme, excursion.limit) == (60.0, 26.0, 25.0)


def test_intake_air_hotter_than_the_band(record: HandRecord) -> None:
    record.stretch("12:00", "12:20", temperature=26.0, intake_temperature_c=24.0)
    record.stretch("12:20", "13:00", temperature=27.0, intake_temperature_c=25.5)
    review = record.review()
    (cause,) = hot_excursion(review).causes
    assert (cause.code, cause.minutes, cause.value) == ("intake_too_hot", 40.0, 25.5)
    assert review.period.clock(cause.since_ms) == "12:20"
    assert "hotter than the band from 12:20, so more air could not have helped" in headline(review)


def test_fan_already_at_full_speed(record: HandRecord) -> None:
    record.stretch("12:00", "12:10", temperature=26.0, speed=0.9)
    record.stretch("12:10", "13:00", temperature=26.0, speed=1.0, rule="too_hot")
    assert minutes(hot_excursion(record.review()))["fan_at_full_speed"] == 50.0


def test_a_fan_that_its_override_runs_below_full_speed(record: HandRecord) -> None:
    record.stretch("12:00", "12:10", temperature=26.0, speed=0.7)  # by the schedule
    record.stretch("12:10", "13:00", temperature=26.0, speed=0.7, rule="too_hot")
    record.stretch("13:00", "24:00")
    review = record.review()
    assert minutes(hot_excursion(review))["fan_below_full_speed"] == 50.0
    assert headline(review).endswith(
        "the fan ran below full speed, since more was not worth its power or did other harm, "
        "from 12:10"
    )
    record.loaded = loaded(CONFIG.replace("overrides: {", "overrides: {law: fixed, ", 1))
    words = headline(record.review())
    assert words.endswith("the fan ran below full speed, as its override is set, from 12:10")


def test_override_held_up_by_its_own_delay(record: HandRecord) -> None:
    record.stretch("12:00", "12:02", temperature=26.0)
    record.stretch("12:02", "13:00", temperature=26.0, speed=1.0, rule="too_hot")
    by_cause = minutes(hot_excursion(record.review()))
    assert by_cause["override_delay"] == 2.0
    assert "minimum_off_time" not in by_cause


def test_override_held_up_by_the_minimum_off_time(record: HandRecord) -> None:
    record.stretch("12:00", "12:06", temperature=26.0, speed=0.0)
    record.stretch("12:06", "13:00", temperature=26.0, speed=1.0, rule="too_hot")
    reasons = [{"rule": "too_hot", "status": "limiting", "value": 60.0, "limit": 300.0}]
    record.event("12:02", "fan.changed", speed=0.0, was=0.5, rule="too_hot", reasons=reasons)
    by_cause = minutes(hot_excursion(record.review()))
    assert (by_cause["override_delay"], by_cause["minimum_off_time"]) == (2.0, 4.0)


def test_a_minimum_off_time_is_the_one_that_was_waited_out(record: HandRecord) -> None:
    """As long as the spread of starts asked for; in quiet hours a speed lasts, which is none."""
    record.stretch("12:00", "12:30", temperature=26.0, speed=0.0)
    record.stretch("12:30", "13:00", temperature=26.0, speed=1.0, rule="too_hot")
    record.stretch("13:00", "24:00")
    lasts = {"rule": "quiet", "status": "limiting", "value": 60.0, "limit": 900.0}
    record.event("12:02", "fan.changed", speed=0.0, was=0.5, rule="too_hot", reasons=[lasts])
    assert "minimum_off_time" not in minutes(hot_excursion(record.review()))
    spread = {"rule": "too_hot", "status": "limiting", "value": 60.0, "limit": 1800.0}
    record.event("12:03", "fan.changed", speed=0.0, was=0.5, rule="too_hot", reasons=[spread])
    (cause,) = (c for c in hot_excursion(record.review()).causes if c.code == "minimum_off_time")
    assert cause.value == 1800.0


def test_quiet_hours_are_a_cause_where_more_air_would_have_helped(record: HandRecord) -> None:
    quiet: dict[str, Any] = {"temperature": 26.0, "speed": 0.3, "rule": "quiet"}
    record.stretch("12:00", "12:50", intake_temperature_c=22.0, **quiet)
    record.stretch("12:50", "13:00", intake_temperature_c=25.5, **quiet)
    record.stretch("13:00", "13:10", **quiet)  # no telling
    record.stretch("13:10", "24:00")
    review = record.review()
    by_cause = minutes(hot_excursion(review))
    assert (by_cause["quiet_hours"], by_cause["intake_too_hot"]) == (50.0, 10.0)
    assert headline(review).endswith(
        "quiet hours kept the fan slow from 12:00 to 12:50, though more air would have helped"
    )


def test_heat_that_no_air_can_help_does_not_hide_what_quiet_hours_do_to_damp(
    record: HandRecord,
) -> None:
    """The override against heat is locked out all night; that against damp is not."""
    hot = {"rule": "too_hot", "quantity": "temperature"}
    record.event("11:00", "override.engaged", **hot)
    record.event("11:00", "override.locked_out", **hot)
    record.event("12:00", "override.engaged", rule="too_humid", quantity="humidity")
    record.stretch(
        "12:00", "13:00", temperature=26.0, humidity=90.0, vpd=350.0, speed=0.3, rule="quiet",
        locked_out=True, intake_temperature_c=26.0, intake_humidity_pct=50.0,
    )  # fmt: skip
    by_kind = {(e.quantity, e.side): minutes(e) for e in record.review().excursions}
    assert by_kind["humidity", "above"]["quiet_hours"] == 60.0
    assert "quiet_hours" not in by_kind["temperature", "above"]


def test_moist_air_out_of_quiet_hours_is_no_matter_of_theirs(record: HandRecord) -> None:
    moist: dict[str, Any] = {"humidity": 90.0, "vpd": 300.0, "speed": 0.3, "rule": "quiet"}
    # 23 °C and 95 % hold more than 23 °C at 70 % may; 15 °C and 60 % far less.
    record.stretch("12:00", "13:00", intake_temperature_c=23.0, intake_humidity_pct=95.0, **moist)
    record.stretch("13:00", "13:30", intake_temperature_c=15.0, intake_humidity_pct=60.0, **moist)
    record.stretch("13:30", "24:00")
    (humid,) = (e for e in record.review().excursions if e.quantity == "humidity")
    by_cause = minutes(humid)
    assert (by_cause["quiet_hours"], by_cause["intake_too_wet"]) == (30.0, 60.0)


def test_outside_the_fan_hours(record: HandRecord) -> None:
    record.stretch("12:00", "12:30", temperature=26.0, speed=0.0, in_fan_hours=False)
    record.stretch("12:30", "13:00", temperature=26.0)
    assert minutes(hot_excursion(record.review()))["outside_fan_hours"] == 30.0


def test_an_engaged_override_that_asks_for_no_more_is_no_matter_of_the_fan_hours(
    record: HandRecord,
) -> None:
    record.event("11:00", "override.engaged", rule="too_hot", quantity="temperature")
    record.event("14:00", "override.released", rule="too_hot", quantity="temperature")
    record.stretch("12:00", "13:00", temperature=26.0, speed=0.2, in_fan_hours=False)
    record.stretch("13:00", "14:00", temperature=24.0)
    record.stretch("14:30", "15:00", temperature=26.0, speed=0.2, in_fan_hours=False)
    record.stretch("15:00", "15:10", temperature=24.0)
    during, after = (e for e in record.review().excursions if e.quantity == "temperature")
    assert "outside_fan_hours" not in minutes(during)
    assert minutes(after)["outside_fan_hours"] == 30.0


def test_a_modulated_fan_that_rests_as_scheduled_rests_by_its_override(record: HandRecord) -> None:
    """Two minutes of delay are not what seven hours out of band outside the fan hours hang on."""
    rests: dict[str, Any] = {"humidity": 95.0, "speed": 0.0, "in_fan_hours": False}
    record.event("12:02", "override.engaged", rule="too_humid", quantity="humidity")
    record.event("14:00", "override.released", rule="too_humid", quantity="humidity")
    record.stretch("12:00", "14:00", **rests)
    record.stretch("14:00", "14:10")
    (humid,) = (e for e in record.review().excursions if e.quantity == "humidity")
    by_cause = minutes(humid)
    assert (by_cause["fan_at_rest"], by_cause["outside_fan_hours"]) == (118.0, 2.0)


def test_sensor_missing_within_the_spell(record: HandRecord) -> None:
    record.stretch("12:00", "12:30", temperature=26.0)
    # The daemon is down for four minutes, then goes on.
    record.stretch("12:34", "13:00", temperature=26.0)
    excursion = hot_excursion(record.review())
    assert minutes(excursion)["sensor_missing"] == 4.0
    assert excursion.minutes == 56.0


def test_fan_commanded_but_not_turning(record: HandRecord) -> None:
    record.stretch("12:00", "12:20", temperature=26.0, speed=1.0, fan_rpm=2400.0)
    record.stretch("12:20", "13:00", temperature=28.0, speed=1.0, fan_rpm=0.0)
    review = record.review()
    assert minutes(hot_excursion(review))["fan_not_turning"] == 40.0
    assert headline(review).endswith("the fan was commanded but did not turn from 12:20")


def test_lamp_heat_that_full_flow_surely_cannot_carry(tmp_path: Path) -> None:
    """187 m³/h free flow carry 62 W/K at most (1206 J/m³K), the walls some 15 to 25 W/K."""
    record = HandRecord(tmp_path, CONFIG.replace("power: 150 W", "power: 1500 W"))
    record.stretch("12:00", "12:30", temperature=26.0, intake_temperature_c=24.0)
    record.stretch("12:30", "13:00", temperature=26.0, intake_temperature_c=0.0)
    (cause,) = hot_excursion(record.review()).causes
    assert (cause.code, cause.minutes) == ("lamp_heat", 30.0)
    assert cause.value is not None and 8.0 < cause.value < 1500.0 / (62.0 + 15.0)


@pytest.mark.parametrize(("drive", "wet", "advice"), [
    ("pwm", 76.0, "widen it, or change the hysteresis"),
    ("pwm", 95.0, "change the hysteresis"),
    ("relay", 95.0, "a fan whose speed can be set swings it less"),
])  # fmt: skip
def test_no_band_is_to_be_widened_to_a_swing_that_no_plant_would_like(
    tmp_path: Path, drive: str, wet: float, advice: str
) -> None:
    config = CONFIG.replace("drive: pwm", f"drive: {drive}").replace(
        "day_speed: 50", "day_speed: 0"
    )
    record = HandRecord(tmp_path, config)
    for hour in range(8, 20):
        record.stretch(f"{hour}:00", f"{hour}:30", humidity=wet)
        record.stretch(f"{hour}:30", f"{hour + 1}:00", humidity=35.0)
    shown = headline(record.review())
    assert f"narrower than the tent's own swing of {wet - 35.0:.0f} %: {advice}" in shown


def test_lamp_heat_comes_first_where_it_lifts_the_tent_further_than_its_room_is_too_hot(
    tmp_path: Path,
) -> None:
    """Cooler intake air alone would not do: the lamp adds twice as much and more."""
    record = HandRecord(tmp_path, CONFIG.replace("power: 150 W", "power: 1500 W"))
    record.stretch("12:00", "13:00", temperature=45.0, speed=1.0, intake_temperature_c=27.0)
    review = record.review()
    by_cause = minutes(hot_excursion(review))
    assert (by_cause["lamp_heat"], by_cause["intake_too_hot"]) == (60.0, 60.0)
    assert "the lamp gives more heat than full flow can carry off" in headline(review)


@pytest.mark.parametrize(("hottest_c", "is_told"), [(40.0, True), (28.0, False)])
def test_a_tent_far_hotter_than_its_hot_room_hears_that_too(
    tmp_path: Path, hottest_c: float, is_told: bool
) -> None:
    """Without the fan's figures nobody knows why, but the room is not all of it."""
    vague = CONFIG.replace(", free_flow: 187 m³/h, max_pressure: 150 Pa", "")
    record = HandRecord(tmp_path, vague)
    record.stretch("12:00", "13:00", temperature=hottest_c, speed=1.0, intake_temperature_c=27.0)
    shown = headline(record.review())
    assert "the intake air was hotter than the band" in shown
    assert (", though it was 27.0 °C at most and the tent far above that" in shown) is is_told


def test_lamp_heat_that_is_likely_counts_where_full_speed_shows_it(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    # What the plants evaporate may be enough to cool it: likely, not sure.
    record.stretch("12:00", "12:30", temperature=26.0, intake_temperature_c=24.5)
    full = {"speed": 1.0, "rule": "too_hot", "temperature": 26.0}
    record.stretch("12:30", "13:00", intake_temperature_c=24.5, **full)
    record.stretch("13:00", "13:30", intake_temperature_c=15.0, **full)
    by_cause = minutes(hot_excursion(record.review()))
    assert (by_cause["lamp_heat"], by_cause["fan_at_full_speed"]) == (30.0, 60.0)


def test_no_lamp_heat_without_a_described_fan(tmp_path: Path) -> None:
    vague = CONFIG.replace(", free_flow: 187 m³/h, max_pressure: 150 Pa", "")
    record = HandRecord(tmp_path, vague.replace("power: 150 W", "power: 1500 W"))
    record.stretch("12:00", "13:00", temperature=26.0, intake_temperature_c=24.0)
    assert minutes(hot_excursion(record.review())) == {}


def test_a_hold_by_hand_is_a_cause_for_as_long_as_it_lasts(record: HandRecord) -> None:
    record.stretch("12:00", "12:30", temperature=26.0, rule="manual_hold", speed=0.2)
    record.stretch("12:30", "13:00", temperature=26.0)
    assert minutes(hot_excursion(record.review())) == {"held_by_hand": 30.0}


def test_a_lockout_is_a_cause_of_its_own_overrides_excursion_only(record: HandRecord) -> None:
    record.stretch("12:00", "13:00", temperature=26.0, locked_out=True)
    hot = {"rule": "too_hot", "quantity": "temperature"}
    dry = {"rule": "too_dry", "quantity": "vpd"}
    record.event("11:00", "override.engaged", **dry)
    record.event("11:00", "override.locked_out", **dry)
    record.event("12:01", "override.engaged", **hot)
    record.event("12:20", "override.locked_out", **hot)
    record.event("12:50", "override.resumed", **hot)
    record.event("13:00", "override.released", **hot)
    assert minutes(hot_excursion(record.review()))["override_locked_out"] == 30.0


def test_a_config_that_changed_that_day_is_a_cause(record: HandRecord) -> None:
    record.config(record.at("09:00"), CONFIG.replace("pre_run: 15 min", "pre_run: 20 min"))
    record.stretch("12:00", "13:00", temperature=26.0)
    assert "config_changed" in minutes(hot_excursion(record.review()))


def test_intake_too_wet_is_judged_at_the_tents_temperature(record: HandRecord) -> None:
    """25 °C 70 % is a vapour pressure of 2218 Pa (ASHRAE, e_s 3169.2); 20 °C 95 % is 2222 Pa."""
    wet = {"temperature": 25.0, "humidity": 75.0, "intake_temperature_c": 20.0}
    record.stretch("12:00", "12:30", intake_humidity_pct=95.0, **wet)
    record.stretch("12:30", "13:00", intake_humidity_pct=94.0, **wet)
    (excursion,) = [one for one in record.review().excursions if one.quantity == "humidity"]
    assert minutes(excursion)["intake_too_wet"] == 30.0


def test_short_returns_into_the_band_do_not_end_a_spell(record: HandRecord) -> None:
    record.stretch("12:00", "12:30", temperature=26.0)
    record.stretch("12:30", "12:34", temperature=25.0)
    record.stretch("12:34", "13:00", temperature=26.5)
    record.stretch("13:00", "13:06")
    record.stretch("13:06", "13:30", temperature=26.0)
    excursions = [one for one in record.review().excursions if one.quantity == "temperature"]
    assert [one.minutes for one in excursions] == [56.0, 24.0]


def test_below_and_above_are_spells_of_their_own(record: HandRecord) -> None:
    record.stretch("12:00", "12:30", temperature=26.0)
    record.stretch("12:30", "13:00", temperature=19.0, intake_temperature_c=18.0)
    above, below = record.review().excursions
    assert (above.side, below.side) == ("above", "below")
    assert [cause.code for cause in below.causes] == ["intake_too_cold"]


def test_a_stalled_fan_is_not_at_full_speed(record: HandRecord) -> None:
    record.stretch("12:00", "12:20", temperature=26.0, speed=1.0, fan_rpm=2400.0)
    record.stretch("12:20", "13:00", temperature=28.0, speed=1.0, fan_rpm=0.0)
    assert minutes(hot_excursion(record.review()))["fan_at_full_speed"] == 20.0


def test_a_fan_that_dries_the_air_keeps_a_cold_tent_cold(record: HandRecord) -> None:
    record.stretch("12:00", "12:40", temperature=19.0, speed=1.0, rule="too_humid")
    record.stretch("12:40", "13:00", temperature=19.0, speed=0.2, rule="too_cold")
    review = record.review()
    (excursion,) = review.excursions
    assert minutes(excursion) == {"kept_running_against_humidity": 40.0, "fan_slowed": 20.0}
    assert headline(review).endswith("the fan ran to dry the air from 12:00 to 12:40")


def test_a_fan_that_rests_though_its_override_asks_for_air_is_named(record: HandRecord) -> None:
    """It dried nothing, so it kept nothing cold; the damp has its reason."""
    waits = {"speed": 0.0, "rule": "too_humid"}
    record.stretch("12:00", "12:40", temperature=19.0, humidity=95.0, **waits)
    record.stretch("12:40", "13:00", temperature=22.0)
    by_kind = {(e.quantity, e.side): minutes(e) for e in record.review().excursions}
    assert by_kind["humidity", "above"]["fan_at_rest"] == 40.0
    assert "kept_running_against_humidity" not in by_kind["temperature", "below"]


def test_damp_while_the_fan_is_slowed_against_the_cold_has_that_for_its_cause(
    record: HandRecord,
) -> None:
    record.stretch("12:00", "13:00", temperature=15.0, humidity=85.0, rule="too_cold", speed=0.1)
    review = record.review()
    (damp,) = [
        one for one in review.excursions if (one.quantity, one.side) == ("humidity", "above")
    ]
    assert minutes(damp)["slowed_against_cold"] == 60.0
    (cause,) = [cause for cause in damp.causes if cause.code == "slowed_against_cold"]
    assert cause_words(review, cause, [damp]) == "fan slowed against the cold for 1 h"
    told = " ".join([headline(review), *also(review)])
    assert "Too humid for 1 h (up to 85 %); the fan was slowed against the cold" in told


def test_dry_air_of_a_hot_tent_and_of_a_flush(record: HandRecord) -> None:
    record.stretch("12:00", "12:20", temperature=27.0, vpd=1700.0)
    record.stretch("12:20", "12:30", temperature=24.0, vpd=1700.0, rule="purge", speed=1.0)
    (excursion,) = [one for one in record.review().excursions if one.quantity == "vpd"]
    by_cause = minutes(excursion)
    assert (by_cause["too_hot_meanwhile"], by_cause["purge"]) == (20.0, 10.0)


def test_a_fan_slowed_against_cold_is_slowed_for_dry_air_too(record: HandRecord) -> None:
    record.stretch("12:00", "13:00", temperature=19.0, humidity=30.0, speed=0.2, rule="too_cold")
    (dry,) = (e for e in record.review().excursions if e.quantity == "humidity")
    assert minutes(dry) == {"fan_slowed": 60.0}


def test_a_fan_that_ran_against_heat_until_back_by_its_hysteresis_dries(record: HandRecord) -> None:
    record.stretch("12:00", "12:40", temperature=24.5, humidity=30.0, speed=1.0, rule="too_hot")
    record.stretch("12:40", "13:00", temperature=24.5, humidity=30.0, speed=0.2, rule="too_dry")
    (dry,) = (e for e in record.review().excursions if e.quantity == "humidity")
    assert minutes(dry) == {"kept_running_against_heat": 40.0, "fan_slowed": 20.0}


def test_a_relay_that_runs_on_for_want_of_starts_keeps_the_air_dry(tmp_path: Path) -> None:
    """The override asks for rest all the while; a fan that it can't rest is another matter."""

    def by_cause(folder: str, text: str) -> dict[str, float]:
        (tmp_path / folder).mkdir()
        record = HandRecord(tmp_path / folder, text)
        record.event("12:02", "override.engaged", rule="too_dry", quantity="humidity")
        record.stretch("12:00", "13:00", humidity=30.0, speed=1.0)
        record.stretch("13:00", "13:20", humidity=30.0, speed=0.0, rule="too_dry")
        review = record.review()
        (dry,) = (e for e in review.excursions if e.quantity == "humidity")
        if "ran_for_want_of_starts" in minutes(dry):
            assert "ran on" in headline(review)
            assert "for want of starts, though less air was asked for" in headline(review)
        return minutes(dry)

    relay = CONFIG.replace("drive: pwm", "drive: relay").replace(
        "day_speed: 50 %", "day_speed: 100 %"
    )
    assert by_cause("rests", relay)["ran_for_want_of_starts"] == 58.0
    always = relay.replace("night_speed: 0 %", "night_speed: 100 %")
    assert "ran_for_want_of_starts" not in by_cause("always", always)
