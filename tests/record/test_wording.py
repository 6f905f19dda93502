"""Reasons and events in words: the right number, unit and sense."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.control.types import Quantity, Reason, ReasonStatus, Rule
from controller.wording import change_words, event_words, reason_words

R, S, Q = Rule, ReasonStatus, Quantity


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (Reason(R.SCHEDULE, S.DECIDING, value=0.4, limit=0.4), "schedule, 40 %"),
        (Reason(R.SCHEDULE, S.DECIDING, value=0.0, limit=0.0), "schedule, off"),
        (Reason(R.PURGE, S.DECIDING, value=1.0, limit=1.0), "purge, 100 %"),
        (Reason(R.MANUAL_HOLD, S.DECIDING, value=0.25, limit=0.25), "held by hand at 25 %"),
        (
            Reason(R.SENSOR_FAILSAFE, S.DECIDING, value=190.0, limit=180.0, unit="s"),
            "failsafe, no trustworthy reading for 3 min 10 s",
        ),
        (
            Reason(R.SENSOR_FAILSAFE, S.DECIDING, limit=180.0, unit="s"),
            "failsafe, no trustworthy reading since the start",
        ),
        (
            Reason(R.TOO_HOT, S.DECIDING, Q.TEMPERATURE, 27.3, 26.7, "°C"),
            "too hot, 27.3 °C (limit 26.7 °C)",
        ),
        (
            Reason(R.TOO_HOT, S.DECIDING, Q.TEMPERATURE, 26.72, 26.68, "°C"),
            "too hot, 26.7 °C (just above the limit of 26.7 °C)",
        ),
        (
            Reason(R.TOO_HOT, S.ENGAGED, Q.TEMPERATURE, 26.2, 26.7, "°C"),
            "too hot until back by the hysteresis, 26.2 °C (limit 26.7 °C)",
        ),
        (
            Reason(R.TOO_HOT, S.DELAYED, Q.TEMPERATURE, 27.3, 26.7, "°C"),
            "too hot, 27.3 °C (limit 26.7 °C), waiting out its delay",
        ),
        (
            Reason(R.TOO_HOT, S.LOCKED_OUT, Q.TEMPERATURE, 31.4, 26.7, "°C", None, 33.0, 31.4),
            "too hot, 31.4 °C (limit 26.7 °C), locked out because the intake air is no cooler "
            "(33.0 °C, tent 31.4 °C)",
        ),
        # A value just out of band must not look as if it were in it.
        (
            Reason(R.TOO_HUMID, S.DECIDING, Q.HUMIDITY, 80.2, 80.0, "%"),
            "too humid, 80 % (just above the limit of 80 %)",
        ),
        (
            Reason(R.TOO_DRY, S.DECIDING, Q.VPD, 1603.0, 1600.0, "Pa"),
            "VPD too high, 1.60 kPa (just above the limit of 1.60 kPa)",
        ),
        (
            Reason(R.TOO_HUMID, S.LOCKED_OUT, Q.HUMIDITY, 78.0, 70.0, "%", None, 15.25, 14.0),
            "too humid, 78 % (limit 70 %), locked out because the intake air is no drier "
            "(15.2 g/kg, tent 14.0 g/kg)",
        ),
        (
            Reason(R.TOO_HOT, S.LOCKED_OUT, Q.TEMPERATURE, 31.4, 26.7, "°C", None, 31.2, 31.4),
            "too hot, 31.4 °C (limit 26.7 °C), locked out because the intake air is hardly cooler "
            "(31.2 °C, tent 31.4 °C)",
        ),
        # The lower the VPD, the more humid.
        (
            Reason(R.TOO_HUMID, S.DECIDING, Q.VPD, 350.0, 400.0, "Pa"),
            "VPD too low, 0.35 kPa (limit 0.40 kPa)",
        ),
        (
            Reason(R.TOO_HUMID, S.DECIDING, Q.VPD, 450.0, 400.0, "Pa"),
            "VPD too low until back by the hysteresis, 0.45 kPa (limit 0.40 kPa)",
        ),
        (
            Reason(R.TOO_DRY, S.DECIDING, Q.VPD, 1700.0, 1600.0, "Pa"),
            "VPD too high, 1.70 kPa (limit 1.60 kPa)",
        ),
        (
            Reason(R.TOO_HUMID, S.DECIDING, Q.DEW_POINT, 1.2, 2.0, "K"),
            "near the dew point, surfaces 1.2 K above it (least 2.0 K)",
        ),
        (
            Reason(R.TOO_HUMID, S.DECIDING, Q.DEW_POINT, -0.3, 2.0, "K"),
            "near the dew point, surfaces 0.3 K below it (least 2.0 K)",
        ),
        (
            Reason(R.TOO_COLD, S.LOCKED_OUT, Q.TEMPERATURE, 15.0, 17.0, "°C", None, 16.0, 15.0),
            "too cold, 15.0 °C (limit 17.0 °C), locked out because less of it would not help: "
            "the intake air is no colder (16.0 °C, tent 15.0 °C)",
        ),
        (
            Reason(R.TOO_DRY, S.IGNORED, Q.HUMIDITY, 35.0, 45.0, "%"),
            "too dry, 35 % (limit 45 %), ignored while too hot: hot air is dry because it is hot",
        ),
        (
            Reason(R.SCHEDULE, S.LIMITING, value=45.0, limit=120.0, unit="s"),
            "waiting out the fan's minimum on or off time (45 s of 2 min), then schedule",
        ),
    ],
)  # fmt: skip
def test_a_reason_says_what_the_value_and_the_limit_are(reason: Reason, words: str) -> None:
    assert reason_words(reason) == words
    assert reason_words(reason.as_dict()) == words


@pytest.mark.parametrize(
    ("unit", "value", "at_fastest", "words"),
    [
        ("°C", 25.8, 25.6, "70 % brings 25.8 °C; full speed 0.2 K less, for 25 W more"),
        ("%", 82.0, 79.0, "70 % brings 82 %; full speed 3 % less, for 25 W more"),
        ("Pa", 500.0, 560.0, "70 % brings 0.50 kPa; full speed 0.06 kPa more, for 25 W more"),
        ("°C", 25.8, 25.9, "70 % brings 25.8 °C; full speed would do no better"),
        (
            "°C",
            25.8,
            25.79,
            "70 % brings 25.8 °C; full speed would hardly do better, for 25 W more",
        ),
    ],
)
def test_a_modulated_speed_says_which_way_full_speed_would_move_the_air(
    unit: str, value: float, at_fastest: float, words: str
) -> None:
    forecast = {
        "speed": 0.7, "fastest": 1.0, "value": value, "value_at_fastest": at_fastest,
        "saved_w": 25.0,
    }  # fmt: skip
    reason = {"rule": "too_hot", "status": "deciding", "unit": unit, "forecast": forecast}
    assert reason_words(reason).endswith(f"; {words}")


def test_dryness_is_named_where_it_and_not_power_holds_the_fan_back() -> None:
    forecast = {
        "speed": 0.4, "fastest": 1.0, "value": 25.8, "value_at_fastest": 25.6, "saved_w": 25.0,
        "worsens": {"rule": "too_dry", "quantity": "vpd", "value": 1800.0, "limit": 1600.0,
                    "unit": "Pa"},
    }  # fmt: skip
    hot = HOT | {"forecast": forecast}
    words = "; 40 % brings 25.8 °C; full speed 0.2 K less, but VPD too high, 1.80 kPa (limit 1.60"
    assert words in reason_words(hot)
    schedule = {"rule": "schedule", "status": "deciding", "value": 0.4}
    beside = {"speed": 0.4, "was": 0.8, "reasons": [schedule, hot | {"status": "engaged"}]}
    assert event_words("fan.changed", beside).startswith("Fan 80 % → 40 %: schedule; too hot, 27.3")


def test_reasons_are_in_the_users_units() -> None:
    hot = Reason(R.TOO_HOT, S.DECIDING, Q.TEMPERATURE, 30.0, 26.666667, "°C")
    assert reason_words(hot, "us") == "too hot, 86.0 °F (limit 80.0 °F)"
    dew = Reason(R.TOO_HUMID, S.DECIDING, Q.DEW_POINT, 1.0, 2.0, "K")
    assert reason_words(dew, "us") == (
        "near the dew point, surfaces 1.8 °F above it (least 3.6 °F)"
    )


ROME = ZoneInfo("Europe/Rome")
HOT = {
    "rule": "too_hot", "status": "deciding", "quantity": "temperature",
    "value": 27.3, "limit": 26.7, "unit": "°C",
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("fan.changed", {"speed": 0.0, "was": 0.4, "rule": "schedule"},
         "Fan off (was 40 %): schedule"),
        ("fan.changed", {"speed": 0.4, "was": 0.0, "rule": "schedule"}, "Fan on at 40 %: schedule"),
        ("fan.changed", {"speed": 0.4, "was": None, "rule": "purge"}, "Fan at 40 %: purge"),
        ("fan.changed", {"speed": 0.4, "was": 0.0, "reasons": [{"rule": "schedule",
          "status": "deciding", "value": 0.4, "unit": ""}]}, "Fan on at 40 %: schedule"),
        ("fan.changed", {"speed": 1.0, "was": 0.4, "rule": "too_hot", "reasons": [HOT]},
         "Fan 40 % → 100 %: too hot, 27.3 °C (limit 26.7 °C)"),
        ("override.engaged", {k: v for k, v in HOT.items() if k != "status"},
         "Override engaged, too hot, 27.3 °C (limit 26.7 °C)"),
        ("override.delayed", HOT,
         "Override pending, too hot, 27.3 °C (limit 26.7 °C), waiting out its delay"),
        ("override.locked_out", HOT | {"intake": 28.0, "inside": 27.3},
         "Override locked out, too hot, 27.3 °C (limit 26.7 °C), because the intake air is no "
         "cooler (28.0 °C, tent 27.3 °C)"),
        ("override.released", {"rule": "too_hot", "quantity": "temperature"},
         "Override released, was too hot"),
        ("daemon.started", {"version": "1.0", "away_s": 10860, "held": False},
         "Daemon started, 3 h 1 min after the record ended: version 1.0"),
        ("daemon.started", {"version": "1.0", "away_s": None}, "Daemon started: version 1.0"),
        ("sensor.recovered", {"sensor": "canopy", "fault": "dead"}, "Sensor canopy works again"),
        ("lamp.switched", {"on": True, "by": "schedule"}, "Lamp on"),
        ("lamp.switched", {"on": False, "by": "schedule"}, "Lamp off"),
        ("fan_hours.began", {}, "Fan hours began"),
        ("sensor.failed", {"sensor": "top", "fault": "stuck"},
         "Sensor top gives the same reading for too long"),
        ("hold.set", {"speed": 0.4, "until": "2013-07-18T12:30:00Z"},
         "Held by hand at 40 % until 2013-07-18 14:30"),
        ("hold.set", {"speed": 0.4, "until_ms": 1_374_150_600_000},
         "Held by hand at 40 % until 2013-07-18 14:30"),
        ("config.reloaded", {"sha256": "ab" * 32}, "Config read anew and in force"),
        ("config.rejected", {"file": "t.yaml", "line": 5, "column": 3, "problem": "t.yaml:5:3: no"},
         "Config rejected, the last good one stays in force: t.yaml:5:3: no"),
        ("clock.stepped", {"by_s": -3600.0}, "Clock stepped back by 1 h"),
        ("failsafe.entered", {"speed": 0.6},
         "Failsafe, no trustworthy reading: speed 60 %"),
        ("day.summarised", {"date": "2013-07-18", "readings": 1440, "temperature_lowest_c": 21.0,
          "temperature_mean_c": 25.5, "temperature_highest_c": 31.4, "humidity_lowest_pct": 42.0,
          "humidity_highest_pct": 70.0, "too_hot_minutes": 310.0, "fan_hours": 14.25,
          "locked_out_minutes": 0.0},
         "Day 2013-07-18: 21.0 °C to 31.4 °C, mean 25.5 °C; 42 % to 70 %; too hot for 5 h 10 min; "
         "fan on for 14 h 15 min"),
        ("day.summarised", {"date": "2013-07-18", "readings": 1440, "temperature_lowest_c": 14.0,
          "temperature_mean_c": 18.0, "temperature_highest_c": 22.0, "humidity_lowest_pct": 70.0,
          "humidity_highest_pct": 96.0, "too_hot_minutes": 0.0, "too_cold_minutes": 732.0,
          "too_humid_minutes": 1440.0, "too_dry_minutes": 0.0, "fan_hours": 24.0,
          "locked_out_minutes": 0.0},
         "Day 2013-07-18: 14.0 °C to 22.0 °C, mean 18.0 °C; 70 % to 96 %; "
         "too cold for 12 h 12 min, too humid for 24 h; fan on for 24 h"),
        ("day.summarised", {"date": "2013-07-18", "readings": 0},
         "Day 2013-07-18: nothing was read"),
        ("day.summarised", {"date": "2013-07-18", "readings": 1440, "temperature_mean_c": None},
         "Day 2013-07-18: nothing that can be trusted was read"),
        ("fan.failed", {"fault": "not_turning", "rpm": 0.0, "speed": 0.4},
         "Fan commanded but not turning: speed 40 %, rpm 0"),
        ("some.novelty", {"temperature_c": 20.0, "age_s": 90.0, "is_odd": True, "n": 3, "x": None},
         "some.novelty: temperature 20.0 °C, age 1 min 30 s, is odd yes, n 3"),
        ("record.pruned", {"before_ms": 1_374_150_600_000, "readings": 7},
         "Old readings and events deleted: before 2013-07-18 14:30, readings 7"),
    ],
)  # fmt: skip
def test_an_event_says_what_happened_with_its_numbers(
    name: str, data: dict[str, object], words: str
) -> None:
    assert event_words(name, data, "si", ROME) == words


def test_changes_of_the_timetable_are_listed() -> None:
    assert change_words(("lights_on", "fan_hours_begin")) == "lights on, fan hours begin"
    assert change_words("purge_ends") == "purge ends"


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(), inner, max_size=2),
    max_leaves=5,
)
keys = st.sampled_from(
    ["speed", "was", "rule", "reasons", "until", "until_ms", "by_s", "sensor", "fault", "value",
     "limit", "unit", "quantity", "intake", "temperature_c", "x"]
)  # fmt: skip
event_names = st.sampled_from(
    ["fan.changed", "override.engaged", "override.locked_out", "hold.set", "clock.stepped",
     "sensor.failed", "day.summarised", "anything.else"]
)  # fmt: skip


@given(event_names, st.dictionaries(keys, values))
@example("fan.changed", {"speed": False, "was": None, "reasons": "0"})
def test_whatever_a_record_holds_is_reported_in_one_line(
    name: str, data: dict[str, object]
) -> None:
    words = event_words(name, data, "us", ROME)
    assert words
    assert len(words.splitlines()) == 1
