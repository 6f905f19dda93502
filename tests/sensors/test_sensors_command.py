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


def test_a_converter_is_listed_for_the_fan_and_not_among_the_rest(
    tree: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add_iio(tree, 1, "1-0060", {"name": "mcp4725", "out_voltage0_raw": "0"}, driver="mcp4725")
    assert main(["sensors", "--sysfs", str(tree)]) == 0
    printed = capsys.readouterr().out
    assert "No sensors of air: cpu_thermal." in printed
    lines = [line.removeprefix("# ") for line in printed.splitlines()]
    text = HEAD.replace("fan: {pin: 18}\n", "\n".join(lines[lines.index("fan:") :][:3]) + "\n")
    fan = settings_from_text(text + printed).settings.fan
    assert (fan.drive, fan.dac and fan.dac.device) == ("dac", "mcp4725")
    add_iio(tree, 2, "1-0061", {"name": "mcp4725", "out_voltage0_raw": "0"}, driver="mcp4725")
    assert main(["sensors", "--sysfs", str(tree), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["converters"]
    assert [converter["device"] for converter in found] == ["1-0060", "1-0061"]


def test_what_is_particular_about_a_sensor_is_said_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Plants draw a tent's air below what self-calibration takes for fresh air."""
    files = {
        "in_temp_raw": "17476", "in_temp_scale": "2.670288", "in_temp_offset": "-16852.29",
        "in_humidityrelative_raw": "32768", "in_humidityrelative_scale": "1.525879",
        "in_concentration_co2_raw": "560", "in_concentration_co2_scale": "0.0001",
    }  # fmt: skip
    add_iio(tmp_path, 0, "1-0062", {"name": "scd41", **files}, driver="scd4x")
    assert main(["sensors", "--sysfs", str(tmp_path)]) == 0
    printed = capsys.readouterr().out
    assert "calibration_auto_enable" in printed
    assert max(map(len, printed.splitlines())) < 80
    assert settings_from_text(HEAD + printed).settings.sensors[0].device == "scd4x"


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
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert main(["sensors", "--sysfs", str(tmp_path)]) == 1
    printed = capsys.readouterr().out
    # What is to be pasted stays whole, behind two blanks.
    assert all(len(line) <= 40 for line in printed.splitlines() if not line.startswith("  "))
    assert "dtoverlay=i2c-sensor,sht4x" in printed
    assert "echo scd41 0x62" in printed
