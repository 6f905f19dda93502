"""Sensors of the kernel that fail for an hour, hang, or vanish amid a read, and come back."""

from __future__ import annotations

import errno
import os
import shutil
import threading
from pathlib import Path

import pytest
from sysfs_tree import add_hwmon, add_iio
from test_sensor_pollers import HandClock, until

from controller.config import Settings, settings_from_text
from controller.control.plausibility import SensorFault
from controller.sensors.discover import discover
from controller.sensors.driver import ErrorKind, SensorError
from controller.sensors.hwmon import HwmonDriver
from controller.sensors.iio import IioDriver
from controller.sensors.open_sensors import open_driver, open_sensors

SHT4X = {"name": "sht4x", "temp1_input": "23417", "humidity1_input": "48233"}
TEXT = """
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {pin: 18}
sensors:
  - {name: canopy, role: tent, driver: hwmon, device: sht4x}
"""


def settings() -> Settings:
    return settings_from_text(TEXT).settings


class Passing:
    """The kernel's answers to reads of a sensor's files: an error while one is set."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.error: int | None = None
        plain = Path.read_text

        def read_text(path: Path, *args: str) -> str:
            if self.error is not None and path.name.endswith("_input"):
                raise OSError(self.error, os.strerror(self.error))
            return plain(path, *args)

        monkeypatch.setattr(Path, "read_text", read_text)


@pytest.mark.parametrize("number", [errno.EIO, errno.EAGAIN, errno.ENODEV])
def test_after_an_hour_of_errors_a_sensor_is_read_again_under_another_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    home = add_hwmon(tmp_path, 2, "1-0044", SHT4X)
    kernel = Passing(monkeypatch)
    array = open_sensors(
        settings(), HandClock(), make_driver=lambda s: open_driver(s, tmp_path), inline=True
    )
    array.poll(0.0)
    assert array.readings(0.0).tent is not None
    kernel.error = number
    for minute in range(1, 61):
        array.poll(60.0 * minute)
        if number == errno.ENODEV and minute == 30:
            shutil.rmtree(home)
            (tmp_path / "class" / "hwmon" / "hwmon2").unlink()
    assert array.readings(3600.0).tent is None
    assert array.states(3600.0)[0].fault is SensorFault.DEAD
    kernel.error = None
    if number == errno.ENODEV:
        add_hwmon(tmp_path, 7, "1-0044", SHT4X)
    array.poll(3602.0)
    reading = array.readings(3602.0).tent
    assert reading is not None and reading.temperature_c == 23.417
    events = [(t.event, t.fault) for t in array.take_transitions()]
    assert events == [
        ("sensor.failed", SensorFault.DEAD),
        ("sensor.recovered", SensorFault.DEAD),
    ]


def test_a_device_that_vanishes_between_its_two_values_is_missing_and_found_again(
    tmp_path: Path,
) -> None:
    home = add_hwmon(tmp_path, 1, "1-0044", SHT4X)
    driver = HwmonDriver("sht4x", tmp_path)
    (home / "humidity1_input").unlink()
    with pytest.raises(SensorError, match="has gone") as caught:
        driver.read()
    assert caught.value.kind is ErrorKind.MISSING
    shutil.rmtree(home)
    (tmp_path / "class" / "hwmon" / "hwmon1").unlink()
    with pytest.raises(SensorError, match="no device called 'sht4x'"):
        driver.read()
    add_hwmon(tmp_path, 4, "1-0044", {**SHT4X, "temp1_input": "20000"})
    assert driver.read()[:2] == (20.0, 48.233)


def test_a_device_that_vanishes_while_it_is_looked_for_is_no_surprise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = {"name": "bme680", "in_temp_input": "24370", "in_humidityrelative_input": "49.8"}
    home = add_iio(tmp_path, 0, "1-0077", files)
    plain = Path.exists

    def exists(path: Path) -> bool:
        there = plain(path)
        if path.name == "in_humidityrelative_input":
            shutil.rmtree(home)
        return there

    monkeypatch.setattr(Path, "exists", exists)
    driver = IioDriver("bme680", tmp_path)
    with pytest.raises(SensorError, match="has gone") as caught:
        driver.read()
    assert caught.value.kind is ErrorKind.MISSING


def test_a_device_without_a_name_of_its_own_is_read_by_its_address_and_listed(
    tmp_path: Path,
) -> None:
    files = {"in_temp_input": "24370", "in_humidityrelative_input": "49833"}
    add_iio(tmp_path, 0, "1-0077", files)
    assert IioDriver("1-0077", tmp_path).read()[:2] == (24.37, 49.833)
    (found,) = discover(tmp_path).sensors
    assert (found.chip, found.device, found.problem) == ("iio:device0", "1-0077", "")


def test_ticks_go_on_beside_a_bus_that_hangs_for_half_a_minute(tmp_path: Path) -> None:
    """A pipe in place of the file: reading it waits for its writer, as the kernel for the bus."""
    home = add_hwmon(tmp_path, 1, "1-0044", SHT4X)
    (home / "temp1_input").unlink()
    os.mkfifo(home / "temp1_input")
    bus = os.open(home / "temp1_input", os.O_RDWR)
    clock = HandClock()
    hung = settings_from_text(TEXT.replace("canopy", "hung")).settings
    array = open_sensors(hung, clock, make_driver=lambda s: open_driver(s, tmp_path))
    worker = next(t for t in threading.enumerate() if t.name == "sensor-hung")
    until(lambda: worker.busy_since_s is not None)  # type: ignore[attr-defined]
    for _ in range(15):
        clock.advance(2.0)
        array.poll(clock.monotonic_s())
    assert array.readings(clock.monotonic_s()).tent is None
    (home / "temp1_input").unlink()
    (home / "temp1_input").write_text("23417\n")
    os.write(bus, b"23417\n")  # the bus comes back
    os.close(bus)

    def is_read() -> bool:
        array.poll(clock.monotonic_s())
        return array.readings(clock.monotonic_s()).tent is not None

    until(is_read)
    array.close()
    worker.join(60.0)
    assert not worker.is_alive()
