"""The kernel's sensors, read from a tree like /sys.

The values are what the kernel's drivers print, as laid down in its Documentation/ABI/testing/
sysfs-bus-iio and Documentation/hwmon/sysfs-interface.rst; those of single chips from memory.
"""

from __future__ import annotations

import errno
import shutil
from pathlib import Path
from typing import NoReturn

import pytest
from sysfs_tree import add_hwmon, add_iio

from controller.sensors.driver import ErrorKind, SensorError
from controller.sensors.hwmon import HwmonDriver
from controller.sensors.iio import IioDriver

DHT = {
    "name": "dht11",
    "in_temp_input": "24500",
    "in_humidityrelative_input": "56300",
}
SHT4X = {"name": "sht4x", "temp1_input": "23417", "humidity1_input": "48233"}
CPU = {"name": "cpu_thermal", "temp1_input": "51121"}


@pytest.mark.parametrize(
    ("files", "temperature_c", "humidity_pct"),
    [
        (DHT, 24.5, 56.3),
        # Whatever is printed is read as a number: integers, decimals, below zero.
        ({**DHT, "in_temp_input": "490", "in_humidityrelative_input": "99900"}, 0.49, 99.9),
        ({**DHT, "in_temp_input": "25080.000000000"}, 25.08, 56.3),
        ({**DHT, "in_temp_input": "-10100"}, -10.1, 56.3),
        # bme280: humidity as a fraction of 1024ths, already in thousandths.
        (
            {
                "name": "bme280",
                "in_temp_input": "24370",
                "in_humidityrelative_input": "49833.984375000",
            },
            24.37,
            49.833984375,
        ),
        # bme680: humidity in percent; a kernel that put it right prints thousandths.
        (
            {"name": "bme680", "in_temp_input": "24370", "in_humidityrelative_input": "49.833"},
            24.37,
            49.833,
        ),
        (
            {"name": "bme680", "in_temp_input": "24370", "in_humidityrelative_input": "49833"},
            24.37,
            49.833,
        ),
        # An offset or a scale that is neutral is left out.
        (
            {"name": "plain", "in_temp_raw": "24370", "in_humidityrelative_raw": "49833"},
            24.37,
            49.833,
        ),
        # scd4x: (raw + offset) × scale. Sensirion's own formulas, −45 + 175 × raw / 65536 °C and
        # 100 × raw / 65536 %, give 25.0 °C and 37.0 % for the data sheet's example 0x6667, 0x5EB9.
        (
            {
                "name": "scd4x",
                "in_temp_raw": str(0x6667),
                "in_temp_offset": "-16852.114286",
                "in_temp_scale": "2.670288085",
                "in_humidityrelative_raw": str(0x5EB9),
                "in_humidityrelative_scale": "1.525878906",
            },
            pytest.approx(25.0, abs=0.005),
            pytest.approx(37.0, abs=0.005),
        ),
    ],
    ids=[
        "dht11",
        "small",
        "decimals",
        "below zero",
        "bme280",
        "bme680",
        "bme680 new",
        "plain",
        "scd4x",
    ],
)
def test_iio_sensors_are_read_in_their_own_scales(
    tmp_path: Path, files: dict[str, str], temperature_c: float, humidity_pct: float
) -> None:
    add_iio(tmp_path, 0, "somewhere", files)
    assert IioDriver(files["name"], tmp_path).read()[:2] == (temperature_c, humidity_pct)


def test_a_hwmon_sensor_is_read_in_thousandths(tmp_path: Path) -> None:
    add_hwmon(tmp_path, 0, "thermal", CPU)
    add_hwmon(tmp_path, 3, "1-0044", SHT4X)
    assert HwmonDriver("sht4x", tmp_path).read()[:2] == (23.417, 48.233)


@pytest.mark.parametrize("name", ["sht4x", "tent air", "1-0044"])
def test_a_device_is_found_by_name_label_or_address(tmp_path: Path, name: str) -> None:
    add_hwmon(tmp_path, 1, "1-0044", {**SHT4X, "label": "tent air"})
    assert HwmonDriver(name, tmp_path).read().temperature_c == 23.417


@pytest.mark.parametrize("name", ["hwmon1", "0", "sht", ""])
def test_a_device_is_not_found_by_its_number_or_a_part_of_its_name(
    tmp_path: Path, name: str
) -> None:
    add_hwmon(tmp_path, 1, "1-0044", SHT4X)
    with pytest.raises(SensorError):
        HwmonDriver(name, tmp_path)


def test_twins_are_distinguished_by_where_they_sit(tmp_path: Path) -> None:
    add_iio(tmp_path, 0, "dht11@4", DHT)
    add_iio(tmp_path, 1, "dht11@17", {**DHT, "in_temp_input": "19000"})
    with pytest.raises(SensorError, match="dht11@17, dht11@4") as caught:
        IioDriver("dht11", tmp_path)
    assert caught.value.kind is ErrorKind.UNSUPPORTED
    assert IioDriver("dht11@17", tmp_path).read().temperature_c == 19.0


@pytest.mark.parametrize(
    ("wanted", "line"),
    [
        ("dht11", "dtoverlay=dht11,gpiopin=4"),
        ("dht11@4", "dtoverlay=dht11,gpiopin=4"),
        ("bme280", "dtparam=i2c_arm=on and dtoverlay=i2c-sensor,bme280"),
        ("unheard_of", "check the wiring and that its kernel driver is loaded"),
    ],
)
def test_a_missing_device_says_which_line_to_put_where(
    tmp_path: Path, wanted: str, line: str
) -> None:
    add_iio(tmp_path, 0, "1-0062", {**DHT, "name": "scd4x"})
    with pytest.raises(SensorError) as caught:
        IioDriver(wanted, tmp_path)
    assert caught.value.kind is ErrorKind.MISSING
    assert line in caught.value.message
    assert "there: 1-0062, scd4x" in caught.value.message


def test_a_machine_without_any_is_a_missing_device_too(tmp_path: Path) -> None:
    with pytest.raises(SensorError, match="there: none") as caught:
        HwmonDriver("sht4x", tmp_path)
    assert "dtoverlay=i2c-sensor,sht4x" in caught.value.message


def test_a_thermometer_alone_will_not_do(tmp_path: Path) -> None:
    add_hwmon(tmp_path, 0, "thermal", CPU)
    add_iio(tmp_path, 0, "1-0048", {"name": "tmp117", "in_temp_raw": "1"})
    with pytest.raises(SensorError, match="both temperature and humidity"):
        HwmonDriver("cpu_thermal", tmp_path)
    with pytest.raises(SensorError, match="both temperature and humidity"):
        IioDriver("tmp117", tmp_path)


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (errno.ETIMEDOUT, ErrorKind.NO_ANSWER),
        (errno.EIO, ErrorKind.NO_ANSWER),
        (errno.EAGAIN, ErrorKind.NO_ANSWER),
        (errno.EREMOTEIO, ErrorKind.NO_ANSWER),
        (errno.ENODEV, ErrorKind.MISSING),
        (errno.EACCES, ErrorKind.DENIED),
        (errno.ENOMEM, ErrorKind.CRASHED),
    ],
)
def test_the_kernels_errors_are_distinguished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, kind: ErrorKind
) -> None:
    add_hwmon(tmp_path, 0, "1-0044", SHT4X)
    driver = HwmonDriver("sht4x", tmp_path)

    def fail(*_: object) -> NoReturn:
        raise OSError(number, "so it says")

    monkeypatch.setattr(Path, "read_text", fail)
    with pytest.raises(SensorError, match="so it says") as caught:
        driver.read()
    assert caught.value.kind is kind


def test_an_io_error_of_a_real_file_is_no_answer(tmp_path: Path) -> None:
    home = add_hwmon(tmp_path, 0, "1-0044", SHT4X)
    driver = HwmonDriver("sht4x", tmp_path)
    (home / "humidity1_input").unlink()
    # Reading address 0 of a process fails with EIO on every Linux.
    (home / "humidity1_input").symlink_to("/proc/self/mem")
    with pytest.raises(SensorError) as caught:
        driver.read()
    assert caught.value.kind is ErrorKind.NO_ANSWER


@pytest.mark.parametrize("text", ["", "nan", "inf", "24,5", "\x00"])
def test_what_is_no_number_is_garbled(tmp_path: Path, text: str) -> None:
    home = add_hwmon(tmp_path, 0, "1-0044", SHT4X)
    driver = HwmonDriver("sht4x", tmp_path)
    (home / "temp1_input").write_text(text)
    with pytest.raises(SensorError, match="expected a number") as caught:
        driver.read()
    assert caught.value.kind is ErrorKind.GARBLED


def test_a_device_that_comes_back_under_another_number_is_found_again(tmp_path: Path) -> None:
    home = add_iio(tmp_path, 0, "dht11@4", DHT)
    driver = IioDriver("dht11", tmp_path)
    assert driver.read()[:2] == (24.5, 56.3)
    shutil.rmtree(home)
    (tmp_path / "bus" / "iio" / "devices" / "iio:device0").unlink()
    for _ in range(2):
        with pytest.raises(SensorError) as caught:
            driver.read()
        assert caught.value.kind is ErrorKind.MISSING
    add_iio(tmp_path, 5, "dht11@4", {**DHT, "in_temp_input": "21000"})
    assert driver.read()[:2] == (21.0, 56.3)
