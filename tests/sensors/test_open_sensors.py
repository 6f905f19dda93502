"""From the configuration to running sensors."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from sysfs_tree import add_hwmon, add_iio

from controller.clock import SystemClock
from controller.config import Settings, settings_from_text
from controller.config.sections.sensors import Sensor
from controller.control.plausibility import SensorFault
from controller.sensors import Measurement, SensorError
from controller.sensors.data_sheets import DHT11, DHT22, profile_of
from controller.sensors.dht import DhtDriver
from controller.sensors.driver import Driver, ErrorKind
from controller.sensors.open_sensors import open_driver, open_sensors
from controller.sensors.simulated import SimulatedDriver

HEAD = """
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {pin: 18}
sensors:
"""
CANOPY = "  - {name: canopy, role: tent, driver: dht22, pin: 4, temperature_offset: -0.5 K}\n"
INLET = "  - {name: inlet, role: intake, driver: hwmon, device: sht4x}\n"


def settings(*sensors: str) -> Settings:
    return settings_from_text(HEAD + "".join(sensors)).settings


def entry(text: str) -> Sensor:
    return settings(f"  - {{name: canopy, role: tent, {text}}}\n").sensors[0]


class Steady:
    def measurement(self) -> Measurement:
        return Measurement(24.0, 55.0)


def steady(sensor: Sensor) -> Driver:
    return SimulatedDriver(Steady())


def test_sensors_are_read_in_line_with_the_clock_given() -> None:
    array = open_sensors(settings(CANOPY, INLET), SystemClock(), make_driver=steady, inline=True)
    array.poll(0.0)
    readings = array.readings(0.0)
    assert readings.tent is not None
    assert readings.intake is not None
    assert (readings.tent.temperature_c, readings.intake.temperature_c) == (23.5, 24.0)
    assert [s.name for s in array.states(0.0)] == ["canopy", "inlet"]
    array.close()


def test_each_sensor_has_a_thread_of_its_own() -> None:
    clock = SystemClock()
    array = open_sensors(settings(CANOPY, INLET), clock, make_driver=steady)
    names = {t.name for t in threading.enumerate()}
    assert {"sensor-canopy", "sensor-inlet"} <= names
    pause = threading.Event()
    for _ in range(30_000):
        now_s = clock.monotonic_s()
        array.poll(now_s)
        readings = array.readings(now_s)
        if readings.tent is not None and readings.intake is not None:
            break
        pause.wait(0.002)
    array.close()
    assert readings.tent is not None
    assert readings.intake is not None
    assert not {"sensor-canopy", "sensor-inlet"} & {t.name for t in threading.enumerate()}


def test_a_sensor_that_is_not_there_does_not_keep_the_daemon_from_starting(
    tmp_path: Path,
) -> None:
    array = open_sensors(
        settings("  - {name: canopy, role: tent, driver: iio, device: dht11}\n"),
        SystemClock(),
        make_driver=lambda sensor: open_driver(sensor, tmp_path),
        inline=True,
    )
    array.poll(0.0)
    assert array.readings(0.0).tent is None
    state = array.states(0.0)[0]
    assert state.fault is SensorFault.DEAD
    assert "dtoverlay=dht11,gpiopin=4" in state.message


def test_each_driver_is_opened_by_its_name(tmp_path: Path) -> None:
    add_iio(
        tmp_path,
        0,
        "dht11@4",
        {"name": "dht11", "in_temp_input": "21000", "in_humidityrelative_input": "50000"},
    )
    add_hwmon(
        tmp_path, 2, "1-0044", {"name": "sht4x", "temp1_input": "22000", "humidity1_input": "51000"}
    )
    assert open_driver(entry("driver: iio, device: dht11"), tmp_path).read()[:2] == (21.0, 50.0)
    assert open_driver(entry("driver: hwmon, device: sht4x"), tmp_path).read()[:2] == (22.0, 51.0)
    dht = open_driver(entry("driver: dht22, pin: 4"))
    assert isinstance(dht, DhtDriver)
    dht.close()


def test_a_simulated_sensor_outside_a_simulation_says_so() -> None:
    with pytest.raises(SensorError, match="--simulate") as caught:
        open_driver(entry("driver: simulated"))
    assert caught.value.kind is ErrorKind.UNSUPPORTED


@pytest.mark.parametrize(
    ("text", "low_c", "high_c"),
    [
        ("driver: dht22, pin: 4", DHT22.low_c, DHT22.high_c),
        ("driver: dht11, pin: 4", DHT11.low_c, DHT11.high_c),
        ("driver: iio, device: dht11", -40.0, 80.0),  # a DHT22 goes by that name too
        ("driver: iio, device: dht11@4", -40.0, 80.0),
        ("driver: hwmon, device: sht4x", -40.0, 125.0),
        ("driver: iio, device: scd4x", -10.0, 60.0),
        ("driver: hwmon, device: 1-0044", -40.0, 125.0),
    ],
)
def test_what_is_plausible_depends_on_the_sensor(text: str, low_c: float, high_c: float) -> None:
    profile = profile_of(entry(text))
    assert (profile.low_c, profile.high_c) == (low_c, high_c)
