"""Every sensor that the kernel reads, from a tree as its driver makes it, to a judged reading.

What each driver prints: Documentation/ABI/testing/sysfs-bus-iio, sysfs-class-hwmon and
sysfs-driver-w1_therm for the units, the drivers' sources for names, scales and offsets, as they
stand in Linux 6.12 (Debian's linux-source-6.12). The expected values are worked out from the
formulas of the data sheets, from memory, not from the tree's scale and offset.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest
from sysfs_tree import add_hwmon, add_iio, add_w1

from controller.config import settings_from_text
from controller.config.sections.sensors import Sensor
from controller.control.plausibility import FRESH, judge, trusted
from controller.kernel_sensors import I2C_PARTS, KERNEL_SENSORS, how_to_enable, known_sensor
from controller.sensors.data_sheets import figures_for, profile_of, usual_loss_pct
from controller.sensors.driver import ErrorKind, SensorError
from controller.sensors.open_sensors import open_driver
from controller.wiring.sheet import wiring_sheet

HEAD = """
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {pin: 18}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 17}
"""


class Tree(NamedTuple):
    """A device as its driver shows it, and what its data sheet makes of the raw numbers."""

    chip: str
    parent: str
    driver_name: str
    files: dict[str, str]
    temperature_c: float
    humidity_pct: float | None
    co2_ppm: float | None = None
    role: str = "tent"


# Raw numbers 0x6666 = 26214 and 0x8000 = 32768 of 65536 where a sensor has 16 bits.
TREES = (
    Tree(
        "SHT3x",
        "1-0044",
        "sht3x",
        {"name": "sht3x", "temp1_input": "25000", "humidity1_input": "50001"},
        -45.0 + 175.0 * 0.4,  # SHT3x-DIS, 4.13: T = −45 + 175 S/(2^16 − 1)
        50.0,
    ),
    Tree(
        "SHT4x",
        "1-0044",
        "sht4x",
        {"name": "sht4x", "temp1_input": "25000", "humidity1_input": "56500"},
        25.0,
        -6.0 + 125.0 * 0.5,  # SHT4x, 4.6: RH = −6 + 125 S/(2^16 − 1)
    ),
    Tree(
        "SHTC3",
        "1-0070",
        "shtc1",
        {"name": "shtc3", "temp1_input": "24000", "humidity1_input": "51000"},
        24.0,
        51.0,
    ),
    Tree(
        "AHT10",
        "1-0038",
        "aht10",
        {"name": "aht10", "temp1_input": "24875", "humidity1_input": "50000"},
        200.0 * 392_692 / 2**20 - 50.0,  # AHT10, 6.2: T = 200 S/2^20 − 50
        50.0,
    ),
    Tree(
        "AHT20",
        "1-0038",
        "aht10",
        {"name": "aht20", "temp1_input": "24875", "humidity1_input": "50000"},
        24.9,
        50.0,
    ),
    Tree(
        "DHT20",
        "1-0038",
        "aht10",
        {"name": "dht20", "temp1_input": "24870", "humidity1_input": "50000"},
        24.87,
        50.0,
    ),
    Tree(
        "HDC1000 to HDC1080",
        "1-0040",
        "hdc100x",
        {
            "name": "1-0040",  # this driver gives its device the I2C device's name
            "in_temp_raw": "26214",
            "in_temp_offset": "-15887.515151",
            "in_temp_scale": "2.517700195",
            "in_humidityrelative_raw": "32768",
            "in_humidityrelative_scale": "1.525878906",
        },
        165.0 * 26214 / 65536 - 40.0,  # HDC1080, 8.6.1
        50.0,
    ),
    Tree(
        "BME280",
        "1-0076",
        "bmp280",
        {
            "name": "bme280",
            "in_temp_input": "25080",
            "in_humidityrelative_input": "49833.984375000",
            "in_pressure_input": "100.653265625",
        },
        25.08,  # BST-BME280-DS002, 4.2.3: the worked value 2508 of the compensation's comment
        51030 / 1024.0,
    ),
    Tree(
        "BME680",
        "1-0077",
        "bme680",
        {
            "name": "bme680",
            "in_temp_input": "24370",
            "in_humidityrelative_input": "49.833",
            "in_pressure_input": "1006.53",
            "in_resistance_input": "12946",
        },
        24.37,
        49.833,
    ),
    Tree(
        "SCD30",
        "1-0061",
        "scd30_i2c",
        {
            "name": "scd30",
            "in_temp_input": "27240",
            "in_humidityrelative_input": "48800",
            "in_concentration_co2_raw": "43909",
            "in_concentration_co2_scale": "0.000001",
        },
        27.24,
        48.8,
        439.09,  # SCD30 interface description, 1.4.4: 0x43DB 0x8C2E is 439.09 ppm
    ),
    Tree(
        "SCD40 or SCD41",
        "1-0062",
        "scd4x",
        {
            "name": "scd41",
            "in_temp_raw": str(0x6667),
            "in_temp_offset": "-16852.114286",
            "in_temp_scale": "2.670288085",
            "in_humidityrelative_raw": str(0x5EB9),
            "in_humidityrelative_scale": "1.525878906",
            "in_concentration_co2_raw": "500",
            "in_concentration_co2_scale": "0.000100000",
        },
        25.0,  # SCD4x, 3.6.2: 0x6667 is 25.0 °C, 0x5EB9 37.0 %, 0x01F4 500 ppm
        37.0,
        500.0,
    ),
    Tree(
        "DS18B20",
        "28-0316a2795cd1",
        "w1_slave_driver",
        {"temperature": "25062", "name": "28-0316a2795cd1"},
        25.0625,  # DS18B20, table 1: 0x0191
        None,
    ),
    Tree(
        "MLX90614",
        "1-005a",
        "mlx90614",
        {
            "name": "mlx90614",
            "in_temp_ambient_raw": "14958",
            "in_temp_object_raw": "14908",
            "in_temp_offset": "-13657.500000",
            "in_temp_scale": "20",
        },
        0.02 * 14908 - 273.15,  # MLX90614, 8.4.5: T [K] = 0.02 × RAM
        None,
        role="leaf",
    ),
)


def _add(root: Path, tree: Tree) -> None:
    known = next(row for row in KERNEL_SENSORS if row.chip == tree.chip)
    if known.driver == "w1":
        add_w1(root, tree.parent, tree.files)
        return
    add = add_iio if known.driver == "iio" else add_hwmon
    # Others that every Pi has, or could have: none may be taken for the sensor.
    add_hwmon(root, 0, "thermal", {"name": "cpu_thermal", "temp1_input": "51121"})
    add(root, 1, tree.parent, tree.files, driver=tree.driver_name)


def _sensor(tree: Tree, device: str) -> Sensor:
    known = next(row for row in KERNEL_SENSORS if row.chip == tree.chip)
    line = (
        f"  - {{name: under_test, role: {tree.role}, driver: {known.driver}, device: {device}}}\n"
    )
    return settings_from_text(HEAD + line).settings.sensors[-1]


@pytest.mark.parametrize("tree", TREES, ids=[tree.chip for tree in TREES])
def test_a_chip_is_read_under_each_of_its_names_as_its_data_sheet_says(
    tree: Tree, tmp_path: Path
) -> None:
    _add(tmp_path, tree)
    known = next(row for row in KERNEL_SENSORS if row.chip == tree.chip)
    there = {tree.files["name"], tree.driver_name, tree.parent}
    names = [name for name in known.names if name in there or known.driver == "w1"]
    assert names
    for name in names:
        sensor = _sensor(tree, name)
        measured = open_driver(sensor, tmp_path).read()
        assert measured.temperature_c == pytest.approx(tree.temperature_c, abs=0.03)
        assert (measured.humidity_pct is None) == (tree.humidity_pct is None)
        if tree.humidity_pct is not None:
            assert measured.humidity_pct == pytest.approx(tree.humidity_pct, abs=0.01)
        assert (measured.co2_ppm is None) == (tree.co2_ppm is None)
        if tree.co2_ppm is not None:
            assert measured.co2_ppm == pytest.approx(tree.co2_ppm, abs=0.01)
        fault, history = judge(profile_of(sensor), FRESH, 0.0, measured)
        assert fault is None
        assert trusted(profile_of(sensor), history) == (0.0, *measured)


def test_every_chip_of_the_table_has_a_tree_here() -> None:
    stand_ins = {"HTU21D", "Si7020", "DHT22 or DHT11"}  # read in test_sysfs_sensors.py, or likewise
    assert {tree.chip for tree in TREES} | stand_ins == {row.chip for row in KERNEL_SENSORS}


@pytest.mark.parametrize("row", KERNEL_SENSORS, ids=[row.chip for row in KERNEL_SENSORS])
def test_every_chip_has_its_data_sheet_and_a_way_to_be_enabled(row: object) -> None:
    assert row in KERNEL_SENSORS
    for name in row.names:  # type: ignore[attr-defined]
        assert known_sensor(row.driver, name) is row  # type: ignore[attr-defined]
        figures = figures_for(row.driver, name)  # type: ignore[attr-defined]
        assert figures.low_c < 0.0 < 50.0 < figures.high_c
    assert ("dtoverlay=" in how_to_enable(row)) != (I2C_PARTS in how_to_enable(row))  # type: ignore[arg-type]


@pytest.mark.parametrize("tree", TREES, ids=[tree.chip for tree in TREES])
def test_the_wiring_sheet_says_what_makes_the_kernel_read_it(tree: Tree) -> None:
    known = next(row for row in KERNEL_SENSORS if row.chip == tree.chip)
    device = known.names[0]
    line = (
        f"  - {{name: under_test, role: {tree.role}, driver: {known.driver}, device: {device}}}\n"
    )
    sheet = wiring_sheet(settings_from_text(HEAD + line).settings)
    text = " ".join((*sheet.overlays, *(note for part in sheet.parts for note in part.notes)))
    expected = known.new_device or (known.overlay or "").partition(",gpiopin")[0]
    assert expected in text


def test_a_sheet_without_a_figure_never_costs_a_sensor_its_readings() -> None:
    assert usual_loss_pct(_sensor(TREES[-2], "28-")) == (0.0, 1.0)


def test_co2_that_cannot_be_is_left_out_and_the_air_still_read(tmp_path: Path) -> None:
    tree = next(tree for tree in TREES if tree.chip == "SCD30")
    # Before its first measurement the sensor gives zero (interface description, from memory).
    _add(tmp_path, tree._replace(files={**tree.files, "in_concentration_co2_raw": "0"}))
    sensor = _sensor(tree, "scd30")
    fault, history = judge(profile_of(sensor), FRESH, 0.0, open_driver(sensor, tmp_path).read())
    assert fault is None
    assert trusted(profile_of(sensor), history) == (0.0, 27.24, 48.8, None)


# As w1_therm.c of Linux 6.12 does: a scratchpad of zeros has the checksum 0 and passes; for one
# that fails, and for no answer at all, it returns no error but nothing.
@pytest.mark.parametrize(
    ("shown", "words", "kind"),
    [
        ("85000", "85 °C.*loss of power", ErrorKind.GARBLED),
        ("0", "0 °C.*data wire lies on ground", ErrorKind.GARBLED),
        ("", "did not answer, or its checksum was wrong", ErrorKind.NO_ANSWER),
    ],
)
def test_what_a_thermometer_shows_in_trouble_is_not_believed(
    tmp_path: Path, shown: str, words: str, kind: ErrorKind
) -> None:
    add_w1(tmp_path, "28-0316a2795cd1", {"temperature": shown})
    with pytest.raises(SensorError, match=words) as caught:
        open_driver(_sensor(TREES[-2], "28-0316a2795cd1"), tmp_path).read()
    assert caught.value.kind is kind


def test_a_thermometer_that_is_gone_is_named_and_found_again(tmp_path: Path) -> None:
    home = add_w1(tmp_path, "28-0316a2795cd1", {"temperature": "21000"})
    driver = open_driver(_sensor(TREES[-2], "28-"), tmp_path)
    (home / "temperature").unlink()
    with pytest.raises(SensorError, match="has gone") as caught:
        driver.read()
    assert caught.value.kind is ErrorKind.MISSING
    (home / "temperature").write_text("22000\n")
    assert driver.read() == (22.0, None, None)


def test_two_thermometers_are_distinguished_by_their_numbers(tmp_path: Path) -> None:
    add_w1(tmp_path, "28-000000000001", {"temperature": "21000"})
    add_w1(tmp_path, "28-000000000002", {"temperature": "22000"})
    with pytest.raises(SensorError, match="28-000000000001, 28-000000000002"):
        open_driver(_sensor(TREES[-2], "28-"), tmp_path)
    assert open_driver(_sensor(TREES[-2], "28-000000000002"), tmp_path).read()[0] == 22.0
    with pytest.raises(SensorError, match="dtoverlay=w1-gpio") as caught:
        open_driver(_sensor(TREES[-2], "28-000000000003"), tmp_path)
    assert caught.value.kind is ErrorKind.MISSING
