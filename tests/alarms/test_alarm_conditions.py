"""Which conditions hold, seen through the daemon's own tick."""

from __future__ import annotations

import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "daemon"))

import pytest
from daemon_builders import CONFIG, Bench, FakePhotocell, FakeTachometer

from controller.measurement import Measurement
from controller.wording.events import event_words


def raised(bench: Bench) -> list[object]:
    return [data["alarm"] for _, data in bench.events("alarm.raised")]


def test_a_good_day_raises_nothing() -> None:
    bench = Bench()
    bench.run(7200.0, 10.0)
    assert raised(bench) == []


@pytest.mark.parametrize(
    ("air", "hours", "alarms"),
    [
        ((27.5, 50.0), 0.1, ["heat"]),
        ((33.0, 40.0), 0.1, ["severe_heat", "heat"]),
        ((61.0, 10.0), 0.1, ["fire_hazard", "severe_heat", "heat"]),
        ((8.0, 60.0), 0.3, ["cold"]),
        ((23.0, 87.0), 0.8, ["high_humidity"]),
        ((23.0, 93.0), 0.8, ["severe_humidity", "high_humidity"]),
    ],
)
def test_air_out_of_its_limits_raises_its_alarms(
    air: tuple[float, float], hours: float, alarms: list[str]
) -> None:
    bench = Bench()
    bench.tent.air, bench.intake.air = Measurement(*air), Measurement(22.5, 50.0)
    bench.run(hours * 3600.0, 10.0)
    assert sorted(map(str, raised(bench))) == sorted(alarms)


def test_a_sensor_at_the_end_of_its_range_tells_of_fire_all_the_same() -> None:
    """A DHT11's data sheet ends at 60 °C: it shows no more, however hot it is."""
    bench = Bench(config=CONFIG.replace("tent, driver: simulated", "tent, driver: dht11, pin: 4"))
    bench.tent.air, bench.intake.air = Measurement(60.0, 10.0), Measurement(22.5, 50.0)
    bench.run(360.0, 10.0)
    assert "fire_hazard" in raised(bench)


def test_co2_above_the_limit_for_people_is_an_alarm_until_it_is_well_below() -> None:
    # 5,000 ppm: limit value for eight hours of work, Directive 2006/15/EC and 29 CFR 1910.1000
    # table Z-1 (from memory).
    bench = Bench()
    bench.tent.air = Measurement(23.0, 55.0, 4990.0)
    bench.run(600.0, 10.0)
    assert raised(bench) == []
    bench.tent.air = Measurement(23.0, 55.0, 5600.0)
    bench.run(600.0, 10.0)
    assert raised(bench) == ["high_co2"]
    (_, data), *_ = bench.events("alarm.raised")
    assert (data["value"], data["limit"], data["unit"]) == (5600.0, 5000.0, "ppm")
    bench.tent.air = Measurement(23.0, 55.0, 4900.0)
    bench.run(600.0, 10.0)
    assert not bench.events("alarm.cleared")
    bench.tent.air = Measurement(23.0, 55.0, 4000.0)
    bench.run(600.0, 10.0)
    assert [data["alarm"] for _, data in bench.events("alarm.cleared")] == ["high_co2"]


def test_a_sensor_of_co2_that_falls_silent_leaves_the_alarm_standing() -> None:
    bench = Bench()
    bench.tent.air = Measurement(23.0, 55.0, 9000.0)
    bench.run(600.0, 10.0)
    bench.tent.air = Measurement(23.0, 55.0)
    bench.run(1200.0, 10.0)
    assert raised(bench) == ["high_co2"]
    assert not bench.events("alarm.cleared")


def test_co2_is_recorded_with_its_sensor_and_moves_no_fan() -> None:
    bench, plain = Bench(), Bench()
    bench.tent.air = Measurement(23.0, 55.0, 9000.0)
    for each in (bench, plain):
        each.run(300.0, 2.0)
    assert bench.fan.applied == plain.fan.applied
    row = bench.record.readings[-1]  # type: ignore[attr-defined]
    assert [sensor.co2_ppm for sensor in row.sensors] == [9000.0, None]


def test_fabric_below_the_dew_point_is_an_alarm() -> None:
    bench = Bench()
    # Dew point 20.2 °C at 23 °C and 84 %; the fabric is midway to a room at 15 °C.
    bench.tent.air, bench.intake.air = Measurement(23.0, 84.0), Measurement(15.0, 50.0)
    bench.run(1000.0, 10.0)
    assert raised(bench) == ["condensation"]


def test_heat_that_the_fan_cannot_cure_is_reported_after_an_hour() -> None:
    bench = Bench()
    bench.tent.air, bench.intake.air = Measurement(26.5, 50.0), Measurement(27.5, 45.0)
    bench.run(3500.0, 10.0)
    assert "ventilation_limit" not in raised(bench)
    bench.run(300.0, 10.0)
    assert "ventilation_limit" in raised(bench)


def test_a_fan_that_does_not_turn_is_not_said_to_do_all_it_can() -> None:
    bench = Bench(tachometer=FakeTachometer(0.0))
    bench.tent.air, bench.intake.air = Measurement(26.5, 50.0), Measurement(27.5, 45.0)
    bench.run(3800.0, 10.0)
    assert raised(bench) == ["fan_not_turning"]


def test_a_fan_that_quiet_hours_keep_slow_is_not_said_to_do_all_it_can() -> None:
    quiet = 'quiet: {from: "09:00", to: "16:00", speed: 0 %}\n'
    bench = Bench(config=CONFIG.replace("26 °C]", "24 °C]", 1) + quiet)
    bench.tent.air, bench.intake.air = Measurement(24.8, 50.0), Measurement(18.0, 45.0)
    bench.run(5000.0, 10.0)
    assert "ventilation_limit" not in raised(bench)


def test_a_fan_slowed_against_the_cold_is_not_to_be_looked_at_for_damp() -> None:
    fan = "fan: {drive: pwm, pin: 18, free_flow: 190 m³/h, max_pressure: 250 Pa, power: 25 W}"
    bench = Bench(config=CONFIG.replace(CONFIG[CONFIG.index("fan:") : CONFIG.index("\nsch")], fan))
    bench.tent.air, bench.intake.air = Measurement(12.0, 66.0), Measurement(11.5, 62.0)
    bench.run(5400.0, 10.0)
    assert bench.controller.decision is not None
    assert bench.controller.decision.rule == "too_cold"
    (data,) = [d for _, d in bench.events("alarm.raised") if d["alarm"] == "ventilation_limit"]
    assert str(data["response"]).startswith("warm the room, which dries its air, too: it is")


def test_an_override_that_does_its_work_calls_nobody() -> None:
    """Too hot for a while, then held inside the band, not yet back by the hysteresis."""
    bench = Bench()
    bench.intake.air = Measurement(18.0, 50.0)
    bench.tent.air = Measurement(26.5, 50.0)
    bench.run(1200.0, 10.0)
    assert bench.controller.decision.rule == "too_hot"  # type: ignore[union-attr]
    bench.tent.air = Measurement(25.3, 50.0)
    bench.run(4800.0, 10.0)
    assert bench.controller.decision.rule == "too_hot"  # type: ignore[union-attr]
    assert "ventilation_limit" not in raised(bench)


def test_one_override_that_does_its_work_hides_no_other_that_does_not() -> None:
    """Humidity is back inside its limit and rules still; the heat is another matter."""
    bench = Bench()
    bench.intake.air = Measurement(18.0, 50.0)
    for air in ((24.0, 76.0), (25.0, 68.0), (26.4, 66.5)):
        bench.tent.air = Measurement(*air)
        bench.run(1200.0, 10.0)
    bench.run(3600.0, 10.0)
    assert "ventilation_limit" in raised(bench)


def test_noise_around_the_limit_does_not_put_the_alarm_off() -> None:
    bench = Bench()
    bench.intake.air = Measurement(18.0, 50.0)
    noise = random.Random(7)
    for _ in range(1000):  # a mean of 0.1 K above the limit, the spread of a DHT22
        bench.tent.air = Measurement(round(26.1 + noise.gauss(0.0, 0.2), 1), 50.0)
        bench.run(10.0, 10.0)
    assert "ventilation_limit" in raised(bench)


def test_air_back_in_its_band_is_not_called_out_of_it_for_an_hour() -> None:
    """A minute past the limit, then an hour inside it by less than the hysteresis."""
    for hot, settled in (((26.5, 50.0), (25.8, 50.0)), ((23.0, 72.0), (23.0, 69.0))):
        bench = Bench()
        bench.intake.air = Measurement(18.0, 50.0)
        bench.tent.air = Measurement(*hot)
        bench.run(1200.0, 10.0)
        bench.tent.air = Measurement(*settled)
        bench.run(4800.0, 10.0)
        assert bench.controller.decision.rule in ("too_hot", "too_humid")  # type: ignore[union-attr]
        assert "ventilation_limit" not in raised(bench)


def test_noise_below_the_limit_raises_nothing() -> None:
    bench = Bench()
    bench.intake.air = Measurement(18.0, 50.0)
    noise = random.Random(7)
    bench.tent.air = Measurement(26.5, 50.0)
    bench.run(600.0, 10.0)
    for _ in range(1000):
        bench.tent.air = Measurement(round(25.8 + noise.gauss(0.0, 0.2), 1), 50.0)
        bench.run(10.0, 10.0)
    assert "ventilation_limit" not in raised(bench)


@pytest.mark.parametrize(
    ("air", "intake", "words"),
    [
        ((26.5, 50.0), (18.0, 50.0), "26.5 °C (limit 26.0 °C)"),
        ((22.5, 80.0), (20.0, 50.0), "80 % (limit 70 %)"),
        ((21.5, 65.0), (18.0, 50.0), "VPD 0.90 kPa (limit 1.00 kPa)"),
        ((20.5, 60.0), (4.6, 50.0), "coldest surface 0.1 K above the dew point (limit 1.0 K)"),
    ],
)
def test_the_alarm_of_air_out_of_its_band_says_which_value_is(
    air: tuple[float, float], intake: tuple[float, float], words: str
) -> None:
    low_vpd = "1.0 kPa" if "VPD" in words else "0.5 kPa"
    bench = Bench(config=CONFIG.replace("vpd: [0.5 kPa", f"vpd: [{low_vpd}"))
    bench.tent.air, bench.intake.air = Measurement(*air), Measurement(*intake)
    bench.run(4200.0, 10.0)
    (data,) = (d for _, d in bench.events("alarm.raised") if d["alarm"] == "ventilation_limit")
    assert f"whatever the fan does, {words}." in event_words("alarm.raised", data)


def test_stale_air_is_not_called_too_humid() -> None:
    bench = Bench(config=CONFIG + "overrides: {co2: {delay: 60 s}}\n")
    bench.tent.air = Measurement(23.0, 55.0, 200.0)
    bench.run(5000.0, 10.0)
    assert bench.controller.decision.rule == "too_stale"  # type: ignore[union-attr]
    assert raised(bench) == []


def test_damp_that_the_fan_works_against_in_vain_is_reported_after_an_hour() -> None:
    bench = Bench()
    bench.tent.air, bench.intake.air = Measurement(22.5, 80.0), Measurement(20.0, 50.0)
    bench.run(4200.0, 10.0)
    assert "ventilation_limit" in raised(bench)


def test_a_dead_sensor_is_an_alarm_and_a_dead_intake_a_lesser_one() -> None:
    bench = Bench()
    bench.run(60.0)
    bench.tent.air = None
    bench.run(200.0)
    assert raised(bench) == ["tent_sensor"]
    bench = Bench()
    bench.run(60.0)
    bench.intake.air = None
    bench.run(1000.0)
    assert raised(bench) == ["sensor"]


def test_a_stalled_fan_a_failed_pin_and_a_wrong_clock_are_alarms() -> None:
    bench = Bench(tachometer=FakeTachometer(0.0))
    bench.run(60.0)
    assert raised(bench) == ["fan_not_turning"]
    bench = Bench()
    bench.fan.error = OSError("GPIO busy")
    bench.run(60.0)
    assert raised(bench) == ["output"]
    bench = Bench("2000-01-01 00:00", not_before_s=1.7e9)
    bench.run(1000.0)
    assert raised(bench) == ["clock"]


def test_a_lamp_out_of_step_with_its_hours_is_an_alarm() -> None:
    bench = Bench("2025-06-03 00:00", photocell=FakePhotocell(lit=True))
    bench.run(1000.0)
    assert raised(bench) == ["lamp_lit_out_of_hours"]
    bench = Bench("2025-06-03 10:00", photocell=FakePhotocell(lit=False))
    bench.run(1000.0)
    assert raised(bench) == ["lamp_dark_in_hours"]


def test_a_cut_lamp_is_an_alarm() -> None:
    config = CONFIG.replace("off: 22:00}", "off: 22:00}\n  switched_by: relay\n  pin: 27")
    bench = Bench("2025-06-03 10:00", config)
    bench.tent.air = Measurement(37.0, 40.0)
    bench.run(600.0)
    assert "lamp_cut" in raised(bench)


def test_acknowledging_is_recorded_and_saved() -> None:
    bench = Bench(tachometer=FakeTachometer(0.0))
    bench.run(60.0)
    assert bench.controller.acknowledge(None) == 1
    assert bench.names()[-1] == "alarm.acknowledged"
    saved = bench.record.states["alarms"]
    assert isinstance(saved, dict)
    assert [(a["alarm"], a["state"]) for a in saved["alarms"]] == [
        ("fan_not_turning", "acknowledged")
    ]


@pytest.mark.parametrize(
    ("alarm", "value", "limit", "unit", "words"),
    [
        ("less_air", 4.5, 2.1, "K", "4.5 K, at most 2.1 K expected"),
        ("little_rise", 0.3, 2.3, "K", "0.3 K, 2.3 K or more expected"),
        ("reduced_transpiration", 0.2, 1.5, "g/kg", "0.2 g/kg, 1.5 g/kg or more expected"),
        ("condensation", 23.5, 24.1, "°C", "fabric about 23.5 °C, dew point 24.1 °C"),
        ("heat", 27.5, 26.7, "°C", "27.5 °C (limit 26.7 °C)"),
    ],
)
def test_an_alarms_event_says_what_its_value_was_compared_with(
    alarm: str, value: float, limit: float, unit: str, words: str
) -> None:
    data = {"alarm": alarm, "title": "title", "value": value, "limit": limit, "unit": unit}
    assert f"title, {words}" in event_words("alarm.raised", data)


def test_a_fan_that_rests_because_air_is_not_worth_its_power_is_not_to_be_looked_at() -> None:
    """A VPD a hair below its band, by a fan of 300 W: its law lets it rest."""
    config = CONFIG.replace("vpd: [0.5 kPa", "vpd: [1.0 kPa")
    config = (
        config.replace(
            "drive: relay, pin: 17",
            "drive: pwm, pin: 12, power: 300 W, free_flow: 300 m³/h, max_pressure: 300 Pa",
        )
        .replace("run_on: 15 min", "run_on: 15 min, day_speed: 0 %")
        .replace("150 W", "5 W")
    )
    bench = Bench(
        config=config + "overrides: {vpd: {worth: 1 W/kPa}, humidity: {worth: 0.01 W/%}}\n"
    )
    bench.tent.air, bench.intake.air = Measurement(21.5, 63.0), Measurement(19.0, 50.0)
    bench.run(4200.0, 10.0)
    assert bench.controller.decision.speed == 0.0  # type: ignore[union-attr]
    (data,) = (d for _, d in bench.events("alarm.raised") if d["alarm"] == "ventilation_limit")
    assert "see that the fan turns" not in event_words("alarm.raised", data)
    assert "more air is not worth its power" in event_words("alarm.raised", data)
