"""The rig: the daemon's real outputs and drivers on a simulated tent."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from controller.config import Settings, settings_from_text
from controller.outputs import Outputs, open_outputs
from simulators.clock import FastClock
from simulators.rig.simulated_rig import Rig, build_rig
from simulators.weather import load_weather

TENT = """\
tent: {name: rig, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: America/New_York}
lamp: {LAMP power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {FAN, free_flow: 190 m³/h, max_pressure: 250 Pa, power: 30 W}
sensors:
  - {name: canopy, role: tent, SENSOR}
  - {name: room, role: intake, driver: simulated}
"""
HOUR = 3600.0


def settings(
    fan: str = "drive: relay, pin: 17", lamp: str = "", sensor: str = "driver: dht22, pin: 4"
) -> Settings:
    text = TENT.replace("FAN", fan).replace("LAMP", lamp).replace("SENSOR", sensor)
    return settings_from_text(text).settings


@contextmanager
def opened(config: Settings, hour: int = 12) -> Iterator[tuple[Rig, Outputs, FastClock]]:
    start_s = dt.datetime(2013, 7, 18, hour, tzinfo=ZoneInfo("America/New_York")).timestamp()
    clock = FastClock(start_s)
    weather = load_weather("coastal-city-2013-07").covering(start_s, start_s + 86_400.0)
    rig = build_rig(config, weather, clock)
    outputs = open_outputs(
        config,
        pin_factory=rig.pin_factory,
        pwm_root=rig.sysfs_root / "class" / "pwm",
        iio_root=rig.sysfs_root / "bus" / "iio" / "devices",
    )
    try:
        yield rig, outputs, clock
    finally:
        outputs.close()
        rig.close()
        assert not rig.sysfs_root.exists()


@pytest.mark.parametrize("active_low", ["true", "false"])
@pytest.mark.parametrize("contact", ["normally_open", "normally_closed"])
def test_a_relay_fan_does_as_its_wiring_says(active_low: str, contact: str) -> None:
    fan = f"drive: relay, pin: 17, active_low: {active_low}, contact: {contact}"
    with opened(settings(fan)) as (rig, outputs, clock):
        for speed in (1.0, 0.0, 1.0):
            outputs.fan.apply(speed)
            clock.advance(60.0)
            assert rig.truth().fan_speed == speed
            assert (rig.truth().flow_m3_s > 0.02) is (speed > 0.0)


@pytest.mark.parametrize("fan", ["drive: pwm, pin: 17", "drive: pwm, pin: 17, active_low: true"])
def test_a_software_pwm_fan_turns_as_fast_as_its_duty(fan: str) -> None:
    with opened(settings(fan)) as (rig, outputs, _):
        for speed in (0.4, 1.0, 0.25, 0.0):
            outputs.fan.apply(speed)
            assert rig.truth().fan_speed == pytest.approx(speed)


@pytest.mark.parametrize("more", ["", ", active_low: true"])
@pytest.mark.parametrize("pin", [12, 13, 14, 15, 18, 19])
def test_a_hardware_pwm_fan_is_driven_through_a_tree_like_sysfs(pin: int, more: str) -> None:
    with opened(settings(f"drive: hardware_pwm, pin: {pin}{more}")) as (rig, outputs, _):
        for speed in (0.4, 1.0, 0.0):
            outputs.fan.apply(speed)
            assert rig.truth().fan_speed == pytest.approx(speed, abs=1e-3)


@pytest.mark.parametrize("raw", ["raw_full: 4095", "raw_off: 4095, raw_full: 0"])
def test_a_fan_on_a_converter_is_driven_through_a_tree_like_sysfs(raw: str) -> None:
    with opened(settings(f"drive: dac, dac: {{device: mcp4725, {raw}}}")) as (rig, outputs, _):
        for speed in (0.4, 1.0, 0.0):
            outputs.fan.apply(speed)
            assert rig.truth().fan_speed == pytest.approx(speed, abs=1e-3)


@pytest.mark.parametrize(
    ("fan", "speed"),
    [
        ("drive: hardware_pwm, pin: 18", 0.0),  # the kernel holds the wire low
        ("drive: hardware_pwm, pin: 18, active_low: true", 1.0),  # the transistor is off
        ("drive: pwm, pin: 18", 0.0),
        ("drive: pwm, pin: 18, active_low: true", 1.0),
        ("drive: relay, pin: 18, active_low: true", 0.0),
        ("drive: relay, pin: 18, active_low: true, contact: normally_closed", 1.0),
    ],
)
def test_a_wire_that_nothing_drives_does_as_the_readme_says(fan: str, speed: float) -> None:
    config = settings(fan)
    start_s = 1374163200.0
    clock = FastClock(start_s)
    weather = load_weather("coastal-city-2013-07").covering(start_s, start_s + HOUR)
    rig = build_rig(config, weather, clock)
    assert rig.truth().fan_speed == speed
    outputs = open_outputs(
        config, pin_factory=rig.pin_factory, pwm_root=rig.sysfs_root / "class" / "pwm"
    )
    for driven in (1.0, 0.0):
        outputs.fan.apply(driven)
        assert rig.truth().fan_speed == driven
        outputs.fan.release()
        assert rig.truth().fan_speed == speed
    outputs.close()
    rig.close()


@pytest.mark.parametrize("active_low", ["true", "false"])
def test_the_current_switch_sees_the_fan(active_low: str) -> None:
    fan = f"drive: relay, pin: 17, current_switch: {{pin: 23, active_low: {active_low}}}"
    with opened(settings(fan)) as (_, outputs, clock):
        assert outputs.current_switch is not None
        for speed in (1.0, 0.0):
            outputs.fan.apply(speed)
            clock.advance(10.0)
            assert outputs.current_switch.draws_current() is (speed > 0.0)


def test_the_tachometer_sees_the_fan() -> None:
    with opened(settings("drive: pwm, pin: 17, tachometer: {pin: 23}")) as (rig, outputs, clock):
        del rig
        assert outputs.tachometer is not None
        for speed, rpm in ((1.0, 2600.0), (0.5, 1300.0), (0.0, 0.0)):
            outputs.fan.apply(speed)
            for _ in range(10):
                clock.advance(2.0)
                seen = outputs.tachometer.rpm(clock.monotonic_s())
            assert seen == pytest.approx(rpm, abs=15.0)


def test_the_lamp_relay_lights_and_heats_the_tent() -> None:
    lamp = "switched_by: relay, pin: 22,"
    with opened(settings(lamp=lamp)) as (rig, outputs, clock):
        assert outputs.lamp is not None
        outputs.fan.apply(0.0)
        clock.advance(2 * HOUR)
        dark_c = rig.truth().air_c
        assert not rig.truth().lamp_on
        outputs.lamp.apply(True)
        clock.advance(HOUR)
        assert rig.truth().lamp_on
        assert rig.truth().air_c > dark_c + 2.0


def test_the_photocell_sees_a_lamp_on_its_own_timer() -> None:
    lamp = "switched_by: photocell, pin: 22,"
    with opened(settings(lamp=lamp), hour=5) as (rig, outputs, clock):
        del rig
        assert outputs.photocell is not None
        seen = []
        for _ in range(80):
            clock.advance(60.0)
            seen.append(outputs.photocell.is_lit())
        # Lights-on is after an hour; a change counts after three looks.
        assert seen.index(True) in (60, 61, 62)
        assert seen == sorted(seen)


@pytest.mark.parametrize(
    "sensor",
    [
        "driver: dht22, pin: 4",
        "driver: dht11, pin: 4",
        "driver: hwmon, device: sht4x",
        "driver: iio, device: bme280",
        "driver: simulated",
    ],
)
def test_every_driver_reads_the_simulated_air(sensor: str) -> None:
    from controller.sensors import SensorError

    config = settings(sensor=sensor)
    with opened(config) as (rig, outputs, clock):
        outputs.fan.apply(1.0)
        canopy, room = (rig.driver_factory(s) for s in config.sensors)
        errors = []
        for _ in range(200):
            clock.advance(3.0)
            try:
                seen = canopy.read()
            except SensorError:
                continue
            if seen.humidity_pct > 0.0:  # the all-zero lie of a damaged frame is for plausibility
                errors.append(seen.temperature_c - rig.truth().air_c)
        assert len(errors) > 120
        assert sum(errors) / len(errors) == pytest.approx(0.0, abs=1.6)
        with contextlib.suppress(SensorError):  # one in ten gets lost
            assert room.read().temperature_c == pytest.approx(rig.truth().room_c, abs=1.0)


def test_the_tent_lives_on_between_looks_and_the_same_seed_is_the_same_run() -> None:
    def lived() -> tuple[float, ...]:
        with opened(settings()) as (rig, outputs, clock):
            for minute in range(240):
                outputs.fan.apply(float(minute % 20 < 10))
                clock.advance(60.0)
            state = rig.truth()
            assert state.wall_s == clock.wall_s()
            return (state.air_c, state.humidity_pct, state.co2_ppm, state.room_c)

    first = lived()
    assert first == lived()
    assert first[0] > 30.0


def test_a_rig_rewired_in_mid_run_carries_the_air_on() -> None:
    with opened(settings()) as (rig, outputs, clock):
        outputs.fan.apply(0.0)
        clock.advance(2 * HOUR)
        before = rig.truth()
    weather = load_weather("coastal-city-2013-07").covering(clock.wall_s(), clock.wall_s() + HOUR)
    fresh = build_rig(settings("drive: relay, pin: 22"), weather, clock)
    with contextlib.closing(fresh):
        assert abs(fresh.truth().air_c - before.air_c) > 1.0
        fresh.carry_on_from(rig)
        assert fresh.truth() == before
        clock.advance(60.0)
        assert fresh.truth().air_c == pytest.approx(before.air_c, abs=0.5)


def test_a_strong_fan_and_its_room_come_to_rest_with_each_other() -> None:
    """With half-hour steps taken from the difference of an instant, the intake used to swing."""
    text = TENT.replace("190 m³/h, max_pressure: 250 Pa, power: 30 W", "680 m³/h, power: 60 W")
    text = text.replace("FAN", "drive: pwm, pin: 17").replace("LAMP", "")
    text = text.replace("SENSOR", "driver: simulated") + "room: {kind: closet}\n"
    with opened(settings_from_text(text).settings, hour=8) as (rig, outputs, clock):
        outputs.fan.apply(1.0)
        seen = []
        for _ in range(24):
            clock.advance(1800.0)
            seen.append(rig.truth())
        assert seen[-1].flow_m3_s > 405.0 / 3600.0
        changes = [b.room_humidity_pct - a.room_humidity_pct for a, b in pairwise(seen)]
        there_and_back = [min(abs(a), abs(b)) for a, b in pairwise(changes) if a * b < 0.0]
        assert max(map(abs, changes)) < 8.0
        assert max(there_and_back, default=0.0) < 2.0
