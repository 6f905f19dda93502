"""`lungwort sensors` on trees as the kernel makes them; see sysfs_tree.py."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sysfs_tree import add_hwmon, add_iio, add_w1

from controller.__main__ import main
from controller.config import settings_from_text

HEAD = """
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {pin: 18}
"""
SHT4X = {"name": "sht4x", "temp1_input": "23417", "humidity1_input": "48233"}


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    add_hwmon(tmp_path, 0, "thermal", {"name": "cpu_thermal", "temp1_input": "51121"})
    add_hwmon(tmp_path, 1, "1-0044", SHT4X, driver="sht4x")
    add_w1(tmp_path, "28-0316a2795cd1", {"temperature": "21062"})
    # The w1_therm driver shows each thermometer under hwmon as well.
    add_hwmon(tmp_path, 2, "28-0316a2795cd1", {"name": "w1_slave_temp", "temp1_input": "21062"})
    leaf = {"name": "mlx90614", "in_temp_object_raw": "14808"}
    scale = {"in_temp_offset": "-13657.5", "in_temp_scale": "20"}
    add_iio(tmp_path, 0, "1-005a", leaf | scale, driver="mlx90614")
    return tmp_path


def test_the_lines_printed_are_a_config_that_works(
    tree: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sensors", "--sysfs", str(tree)]) == 0
    printed = capsys.readouterr().out
    sensors = settings_from_text(HEAD + printed).settings.sensors
    assert [(s.role, s.driver, s.device) for s in sensors] == [
        ("tent", "hwmon", "sht4x"),
        ("leaf", "iio", "mlx90614"),
        ("tent", "w1", "28-0316a2795cd1"),
    ]
    assert "# SHT4x: 23.4 °C, 48 % just now" in printed
    assert "No sensors of air: cpu_thermal." in printed


def test_twins_are_named_by_where_they_sit(tree: Path, capsys: pytest.CaptureFixture[str]) -> None:
    add_hwmon(tree, 5, "1-0045", SHT4X, driver="sht4x")
    assert main(["sensors", "--sysfs", str(tree), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["sensors"]
    assert [s["device"] for s in found if s["chip"] == "SHT4x"] == ["1-0044", "1-0045"]


def test_a_sensor_that_does_not_answer_is_listed_with_its_trouble(
    tree: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tree / "bus/w1/devices/28-0316a2795cd1/temperature").write_text("85000\n")
    assert main(["sensors", "--sysfs", str(tree)]) == 0
    assert "DS18B20: not read: 28-0316a2795cd1 shows 85 °C" in capsys.readouterr().out


def test_without_any_the_ways_to_enable_one_are_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sensors", "--sysfs", str(tmp_path)]) == 1
    printed = capsys.readouterr().out
    assert "dtoverlay=i2c-sensor,sht4x" in printed
    assert "echo scd41 0x62" in printed
