"""One tick after another: what reaches the fan, and what is recorded of it."""

from __future__ import annotations

import json

import pytest
from daemon_builders import CONFIG, Bench, FakeCurrentSwitch, FakePhotocell, FakeTachometer, utc_s

from controller.config import settings_from_text
from controller.control import Memory
from controller.daemon.tick import MEMORY_KEY
from controller.measurement import Measurement
from controller.record import MemoryRecord
from controller.record.status import KEY, DaemonStatus


def test_the_fan_runs_from_lead_before_lights_on_to_lag_after_lights_off() -> None:
    # 06:00 and 22:00 in Rome are 04:00 and 20:00 UTC in June.
    bench = Bench("2025-06-03 03:30")
    speeds: dict[str, float] = {}
    for minute in range(18 * 60):
        # Air never stands still; a sensor that says so for hours is taken for stuck.
        bench.tent.air = Measurement(23.0 + 0.1 * (minute % 7), 55.0)
        bench.intake.air = Measurement(18.0 + 0.1 * (minute % 5), 50.0)
        bench.controller.tick()
        speeds[f"{(210 + minute) // 60:02}:{(210 + minute) % 60:02}"] = bench.speed
        bench.clock.advance(60.0)
    on = [time for time, speed in speeds.items() if speed > 0]
    assert (on[0], on[-1]) == ("03:45", "20:14")
    assert len(on) == 16 * 60 + 30
    assert bench.names().count("fan_hours.began") == bench.names().count("fan_hours.ended") == 1


def test_every_tick_writes_the_output_even_when_nothing_changed() -> None:
    bench = Bench()
    bench.run(20.0)
    assert bench.fan.applied == [1.0] * 10


def test_heat_at_night_starts_the_fan_and_says_why() -> None:
    bench = Bench("2025-06-03 00:00")
    bench.run(10.0)
    assert bench.speed == 0.0
    bench.tent.air = Measurement(25.0, 55.0)
    bench.run(90.0)
    assert bench.speed == 1.0
    names = [n for n in bench.names() if n.startswith(("override", "fan"))]
    assert names == ["fan.changed", "override.engaged", "fan.changed"]
    _, data = bench.events("fan.changed")[-1]
    assert data["rule"] == "too_hot"
    assert data["reasons"][0] == {  # type: ignore[index]
        "rule": "too_hot",
        "status": "deciding",
        "quantity": "temperature",
        "value": 25.0,
        "limit": 24.0,
        "unit": "°C",
    }


def test_an_override_is_locked_out_while_the_intake_is_hotter_and_resumes_after() -> None:
    bench = Bench("2025-06-03 00:00")
    bench.tent.air, bench.intake.air = Measurement(28.0, 50.0), Measurement(29.0, 50.0)
    bench.run(120.0)
    assert bench.speed == 0.0
    assert "override.locked_out" in bench.names()
    bench.intake.air = Measurement(22.0, 50.0)
    bench.run(120.0)
    assert bench.speed == 1.0
    assert "override.resumed" in bench.names()


def test_a_dead_tent_sensor_leads_to_failsafe_within_stale_after_and_is_reported_once() -> None:
    bench = Bench("2025-06-03 00:00")
    bench.run(30.0)
    assert bench.speed == 0.0
    bench.tent.air = None
    bench.run(130.0)
    assert bench.speed == 1.0
    bench.run(3600.0)
    assert bench.names().count("failsafe.entered") == 1
    assert bench.names().count("sensor.failed") == 1
    bench.tent.air = Measurement(22.0, 55.0)
    bench.run(30.0)
    assert bench.names().count("failsafe.left") == 1
    assert bench.names().count("sensor.recovered") == 1
    assert bench.speed == 0.0


def test_no_temperature_is_recorded_while_none_can_be_trusted() -> None:
    bench = Bench()
    bench.run(60.0)
    bench.tent.air = None
    bench.run(600.0)
    assert bench.record.readings[0].tent_temperature_c == 23.0
    assert bench.record.readings[-1].tent_temperature_c is None
    assert bench.record.readings[-1].sensors[0].failures > 10


def test_readings_come_once_a_minute_with_the_intake_and_each_sensor() -> None:
    bench = Bench()
    bench.run(600.0)
    assert 9 <= len(bench.record.readings) <= 10
    row = bench.record.readings[-1]
    assert (row.tent_temperature_c, row.intake_temperature_c) == (23.0, 18.0)
    assert row.fan_on_s == pytest.approx(60.0)
    assert [s.sensor for s in row.sensors] == ["canopy", "intake"]


def test_what_was_measured_since_the_last_reading_is_kept_at_a_stop_and_at_a_new_config() -> None:
    bench = Bench()
    bench.run(90.0)
    bench.controller.use(bench.loaded)
    bench.run(90.0)
    bench.controller.finish()
    whole_s = sum(row.interval_s for row in bench.record.readings)
    assert whole_s == pytest.approx(178.0, abs=4.0)  # all but what was before the first tick
    ends_ms = [row.at_ms for row in bench.record.readings]
    assert ends_ms == sorted(set(ends_ms))
    # A restarted daemon counts on from there, whatever its clock says.
    state = bench.record.load_state(MEMORY_KEY)
    assert state is not None and state["at_ms"] == ends_ms[-1]


def test_a_fan_that_does_not_turn_is_reported_and_so_is_its_recovery() -> None:
    tachometer = FakeTachometer(0.0)
    bench = Bench(tachometer=tachometer)
    bench.run(60.0)
    assert bench.events("fan.failed") == [
        ("fan.failed", {"fault": "not_turning", "rpm": 0.0, "speed": 1.0})
    ]
    tachometer.value = 1800.0
    bench.run(10.0)
    assert bench.names().count("fan.recovered") == 1


def test_a_fan_that_turns_when_it_should_not_is_reported() -> None:
    bench = Bench("2025-06-03 00:00", tachometer=FakeTachometer(900.0))
    bench.run(120.0)
    assert [data["fault"] for _, data in bench.events("fan.failed")] == ["turning_when_off"]


def test_a_fan_that_draws_no_current_is_reported_and_so_is_its_recovery() -> None:
    switch = FakeCurrentSwitch(draws=False)
    bench = Bench(current_switch=switch)
    bench.run(60.0)
    assert [data["fault"] for _, data in bench.events("fan.failed")] == ["not_turning"]
    switch.draws = True
    bench.run(10.0)
    assert bench.names().count("fan.recovered") == 1
    switch.draws = None
    bench.run(60.0)
    assert [data["input"] for _, data in bench.events("input.failed")] == ["current_switch"]
    assert bench.names().count("fan.failed") == 1, "nothing is known, nothing is said"


def test_a_fan_that_draws_current_when_it_should_rest_is_reported() -> None:
    bench = Bench("2025-06-03 00:00", current_switch=FakeCurrentSwitch(draws=True))
    bench.run(120.0)
    assert [data["fault"] for _, data in bench.events("fan.failed")] == ["turning_when_off"]


def test_a_tachometer_tells_more_than_a_current_switch() -> None:
    bench = Bench(tachometer=FakeTachometer(0.0), current_switch=FakeCurrentSwitch(draws=True))
    bench.run(60.0)
    assert [data["fault"] for _, data in bench.events("fan.failed")] == ["not_turning"]


def test_a_lamp_lit_out_of_hours_keeps_to_the_fan_hours() -> None:
    bench = Bench("2025-06-03 00:00", photocell=FakePhotocell(lit=True))
    bench.run(10.0)
    assert bench.speed == 1.0


def test_an_output_that_fails_is_reported_once_and_the_ticks_go_on() -> None:
    bench = Bench()
    bench.fan.error = OSError("GPIO busy")
    bench.run(60.0)
    assert bench.names().count("output.failed") == 1
    bench.fan.error = None
    bench.run(4.0)
    assert bench.names().count("output.recovered") == 1
    assert bench.speed == 1.0


def test_a_lamp_relay_follows_its_hours_and_is_cut_in_lasting_heat() -> None:
    config = CONFIG.replace("off: 22:00}", "off: 22:00}\n  switched_by: relay\n  pin: 27")
    bench = Bench("2025-06-03 10:00", config)
    bench.run(10.0)
    assert bench.lamp.applied[-1] is True
    bench.tent.air = Measurement(37.0, 40.0)
    bench.run(600.0)
    assert bench.lamp.applied[-1] is False
    assert bench.names().count("lamp.cut") == 1
    bench.tent.air = Measurement(25.0, 50.0)
    bench.run(2000.0)
    assert bench.lamp.applied[-1] is True
    assert bench.names().count("lamp.restored") == 1


@pytest.mark.parametrize("by_s", [3600.0, -3600.0, 30 * 86400.0, -400 * 86400.0])
def test_a_clock_step_is_an_event_and_the_fan_is_right_at_the_next_tick(by_s: float) -> None:
    bench = Bench("2025-06-03 10:00")  # noon in Rome
    bench.run(60.0)
    bench.clock.step_wall(by_s)
    bench.run(4.0)
    assert bench.events("clock.stepped") == [("clock.stepped", {"by_s": by_s})]
    hour = (12 + by_s / 3600.0) % 24
    assert bench.speed == (1.0 if 5.75 <= hour < 22.25 else 0.0)


def test_a_step_of_the_clock_does_not_shorten_a_delay() -> None:
    bench = Bench("2025-06-03 00:00")
    bench.tent.air = Measurement(25.0, 55.0)
    bench.run(20.0)
    bench.clock.step_wall(3600.0)
    bench.run(30.0)
    assert bench.speed == 0.0
    bench.run(20.0)
    assert bench.speed == 1.0


def test_a_clock_behind_the_record_is_not_trusted_and_air_is_moved_meanwhile() -> None:
    bench = Bench("2000-01-01 00:00", not_before_s=utc_s("2025-06-03 23:00"))
    bench.run(60.0)
    assert bench.speed == 1.0
    assert "clock.distrusted" in bench.names()
    assert bench.record.events[0].at_ms >= utc_s("2025-06-03 23:00") * 1000
    bench.clock.step_wall(utc_s("2025-06-03 23:10") - bench.clock.wall_s())
    bench.run(4.0)
    assert "clock.trusted" in bench.names()
    assert bench.speed == 0.0


def test_a_hold_is_obeyed_survives_a_restart_and_expires() -> None:
    bench = Bench("2025-06-03 10:00")
    bench.run(10.0)
    bench.controller.hold(0.0, 1800.0)
    bench.run(70.0)
    assert bench.speed == 0.0
    saved = json.loads(json.dumps(bench.record.states[MEMORY_KEY]))
    memory = Memory.restore(saved, 0.0, away_s=100.0)
    again = Bench("2025-06-03 10:03", record=MemoryRecord(), memory=memory)
    again.run(1000.0)
    assert again.speed == 0.0
    again.run(1000.0)
    assert again.speed == 1.0
    assert again.names().count("hold.expired") == 1


def test_a_released_hold_is_reported() -> None:
    bench = Bench()
    bench.controller.hold(0.0, 1800.0)
    bench.run(4.0)
    assert bench.controller.release()
    bench.run(4.0)
    assert bench.names().count("hold.released") == 1
    assert bench.speed == 1.0
    assert not bench.controller.release()


def test_the_saved_situation_says_speed_reasons_and_next_change() -> None:
    bench = Bench("2025-06-03 10:00")
    bench.run(70.0)
    now = DaemonStatus.from_json(bench.record.states[KEY])
    assert now is not None
    assert (now.speed, now.lamp_on, now.in_fan_hours) == (1.0, True, True)
    assert now.reasons[0]["rule"] == "schedule"
    assert now.next_change is not None
    assert now.next_change.at_ms == utc_s("2025-06-03 20:00") * 1000
    assert now.next_change.what == ("lights_off",)


def test_a_new_config_is_in_force_at_the_next_tick() -> None:
    bench = Bench("2025-06-03 20:10")  # 22:10 in Rome, within the run-on
    bench.run(4.0)
    assert bench.speed == 1.0
    bench.controller.use(settings_from_text(CONFIG.replace("run_on: 15 min", "run_on: 5 min")))
    bench.run(2.0)
    assert bench.speed == 0.0


def test_ramps_are_one_event_and_not_one_a_step() -> None:
    config = CONFIG.replace(
        "fan: {drive: relay, pin: 17,", "fan: {drive: pwm, pin: 17, ramp: 60 s,"
    )
    bench = Bench("2025-06-03 03:44", config)
    bench.run(180.0)
    assert len(set(bench.fan.applied)) > 10
    assert len(bench.events("fan.changed")) == 2  # the start's, and the fan hours'


@pytest.mark.parametrize(("rpm", "is_forecast"), [(1800.0, True), (0.0, False)])
def test_what_a_fan_that_stands_still_would_bring_is_no_reason(
    rpm: float, is_forecast: bool
) -> None:
    fan = "drive: pwm, free_flow: 190 m³/h, max_pressure: 250 Pa, power: 25 W"
    bench = Bench(config=CONFIG.replace("drive: relay", fan), tachometer=FakeTachometer(rpm))
    bench.tent.air, bench.intake.air = Measurement(28.0, 50.0), Measurement(22.0, 50.0)
    bench.run(180.0, 2.0)
    hot = next(reason for reason in bench.controller.reasons if reason.rule == "too_hot")
    assert (hot.forecast is not None) is is_forecast


@pytest.mark.parametrize(("purge_speed", "speeds"), [("80 %", [0.5, 0.8, 0.5]), ("50 %", [0.5])])
def test_a_purge_is_an_event_where_it_changes_the_fan_s_speed(
    purge_speed: str, speeds: list[float]
) -> None:
    purge = f"purge: {{every: 1 h, length: 5 min, speed: {purge_speed}}}"
    config = CONFIG.replace("drive: relay", "drive: pwm").replace(
        "schedule: {", f"schedule: {{day_speed: 50 %, {purge}, "
    )
    bench = Bench("2025-06-03 09:50", config)
    bench.run(1200.0, 10.0)
    assert [data["speed"] for _, data in bench.events("fan.changed")] == speeds
    assert not any(name.startswith("purge") for name in bench.names())


def test_a_missed_hour_of_ticks_leaves_the_fan_right() -> None:
    bench = Bench("2025-06-03 03:30")
    bench.run(10.0)
    assert bench.speed == 0.0
    bench.clock.advance(3600.0)
    bench.controller.tick()
    assert bench.speed == 1.0


def test_a_new_config_tells_what_it_changes_and_nothing_else() -> None:
    bench = Bench("2025-06-03 20:10")  # 22:10 in Rome, within the run-on
    bench.run(4.0)
    shown = len(bench.names())
    bench.controller.use(settings_from_text(CONFIG.replace("pre_run: 15 min", "pre_run: 40 min")))
    bench.run(4.0)
    assert bench.names()[shown:] == []
    bench.controller.use(settings_from_text(CONFIG.replace("run_on: 15 min", "run_on: 5 min")))
    bench.run(4.0)
    assert bench.names()[shown:] == ["fan_hours.ended", "fan.changed"]
    assert bench.events("fan.changed")[-1][1]["was"] == 1.0


def test_a_photocell_lamp_is_reported_as_it_is_seen_and_not_as_it_should_be() -> None:
    photocell = FakePhotocell(lit=False)
    bench = Bench("2025-06-03 03:58", photocell=photocell)  # lights-on is 04:00 UTC
    bench.run(600.0)
    assert bench.events("lamp.switched") == []
    photocell.lit = True
    bench.run(4.0)
    assert bench.events("lamp.switched") == [
        ("lamp.switched", {"on": True, "by": bench.loaded.settings.lamp.switched_by})
    ]


def test_fan_hours_by_a_lit_lamp_are_recorded_with_its_reason() -> None:
    photocell = FakePhotocell(lit=False)
    bench = Bench("2025-06-03 00:00", photocell=photocell)
    bench.run(4.0)
    photocell.lit = True
    bench.run(4.0)
    assert bench.events("fan_hours.began") == [("fan_hours.began", {"by": "lamp_lit"})]
    photocell.lit = False
    bench.run(4.0)
    assert bench.names().count("fan_hours.ended") == 1


RELAY_LAMP = CONFIG.replace("off: 22:00}", "off: 22:00}\n  switched_by: relay\n  pin: 27")


def test_a_lamp_cut_past_lights_off_is_not_reported_as_switched() -> None:
    bench = Bench("2025-06-03 19:50", RELAY_LAMP)  # lights-off is 20:00 UTC
    bench.tent.air = Measurement(37.0, 40.0)
    bench.run(400.0)
    bench.tent.air = Measurement(22.0, 50.0)
    bench.run(3600.0)
    names = [n for n in bench.names() if n.startswith("lamp")]
    assert names == ["lamp.cut", "lamp.restored"]
    assert bench.lamp.applied[-1] is False


def test_a_lamp_cut_and_given_back_in_its_hours_has_those_two_events_alone() -> None:
    bench = Bench("2025-06-03 10:00", RELAY_LAMP)
    bench.tent.air = Measurement(37.0, 40.0)
    bench.run(400.0)
    bench.tent.air = Measurement(22.0, 50.0)
    bench.run(3600.0)
    assert [n for n in bench.names() if n.startswith("lamp")] == ["lamp.cut", "lamp.restored"]
    assert bench.lamp.applied[-1] is True


def test_a_photocell_or_tachometer_that_fails_does_not_end_the_control() -> None:
    class Broken:
        error: Exception | None = OSError("line gone")

        def is_lit(self) -> bool:
            if self.error is not None:
                raise self.error
            return True

        def rpm(self, now_s: float) -> float | None:
            if self.error is not None:
                raise self.error
            return 1500.0

        def close(self) -> None: ...

    broken = Broken()
    bench = Bench(photocell=broken, tachometer=broken)  # type: ignore[arg-type]
    bench.run(60.0)
    assert bench.speed == 1.0  # by the hours of the schedule
    assert [data["input"] for _, data in bench.events("input.failed")] == [
        "photocell",
        "tachometer",
    ]
    broken.error = None
    bench.run(10.0)
    assert bench.names().count("input.recovered") == 2


def test_a_failsafe_says_since_when_nothing_was_read() -> None:
    bench = Bench("2025-06-03 00:00")
    bench.run(30.0)
    bench.tent.air = None
    bench.run(300.0)
    reason = bench.controller.reasons[0]
    assert reason.rule == "sensor_failsafe"
    assert reason.value == pytest.approx(300.0, abs=10.0)


def test_a_released_override_says_at_what_value() -> None:
    bench = Bench("2025-06-03 00:00")
    bench.tent.air = Measurement(25.0, 55.0)
    bench.run(90.0)
    bench.tent.air = Measurement(22.5, 55.0)
    bench.run(60.0)
    _, data = bench.events("override.released")[0]
    assert data["value"] < 23.0  # type: ignore[operator]
    assert (data["limit"], data["unit"]) == (24.0, "°C")


def test_a_reason_that_waits_for_the_minimum_run_is_reported_once_it_rules() -> None:
    config = CONFIG.replace("min_on: 0 s", "min_on: 5 min")
    bench = Bench("2025-06-03 00:00", config)
    bench.tent.air = Measurement(25.0, 55.0)
    bench.run(70.0)
    bench.tent.air = Measurement(22.5, 55.0)
    bench.run(60.0)
    assert bench.speed == 1.0
    assert [d["rule"] for _, d in bench.events("fan.changed")] == ["schedule", "too_hot"]
    bench.run(300.0)
    assert bench.speed == 0.0
    assert bench.events("fan.changed")[-1][1]["rule"] == "schedule"
    # The whole run is credited to the rule that began it, not to the one that waits for its end.
    running = [row.rule for row in bench.record.readings if row.fan_on_s >= 60.0]
    assert running.count("too_hot") >= 3
    assert set(running) == {"too_hot"}


def test_an_alarm_for_a_dead_sensor_stands_through_a_restart() -> None:
    first = Bench()
    first.run(10.0)
    first.tent.air = None
    first.run(200.0)
    saved = json.loads(json.dumps(first.record.states[MEMORY_KEY]))
    again = Bench(memory=Memory.restore(saved, 0.0, away_s=10.0))
    again.controller.alarms.restore(first.record.states["alarms"], 0.0, 10.0)
    again.tent.air = None
    again.run(600.0)
    assert not {"alarm.cleared", "alarm.raised", "failsafe.entered"} & set(again.names())
    assert again.speed == 1.0


def test_before_its_first_reading_a_daemon_clears_no_alarm_for_a_dead_sensor() -> None:
    first = Bench()
    first.run(10.0)
    first.tent.air = None
    first.run(200.0)
    again = Bench()
    again.controller.alarms.restore(first.record.states["alarms"], 0.0, 10.0)
    again.tent.air = None
    again.run(100.0)
    assert "alarm.cleared" not in again.names()
