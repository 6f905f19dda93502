"""A lamp far too strong for its tent: said by `check` and `rehearse`, never a fault of ours."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.__main__ import main

TENT = """\
tent: {{name: oven, width: 30 cm, depth: 80 cm, height: 120 cm}}
place: {{timezone: America/New_York}}
lamp: {{power: {lamp_w} W, photoperiod: {{on: "17:30", off: "01:30"}}}}
fan: {{drive: pwm, pin: 18, free_flow: 66 m³/h, max_pressure: 635 Pa, power: 16 W}}
sensors: [{{name: canopy, role: tent, driver: hwmon, device: sht4x}}]
schedule: {{day_speed: {speed} %}}
"""


def checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], lamp_w: int, speed: int
) -> tuple[Path, dict[str, object], list[str]]:
    config = tmp_path / "oven.yaml"
    config.write_text(TENT.format(lamp_w=lamp_w, speed=speed), encoding="utf-8")
    assert main(["check", str(config), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    heat = [w["message"] for w in answer["warnings"] if "fire hazard" in w["message"]]
    return config, answer, heat


def test_an_ordinary_lamp_is_no_danger(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, answer, heat = checked(tmp_path, capsys, 40, 100)
    assert heat == []
    assert answer["dead_fan"] is None  # without an intake sensor nothing would tell
    assert isinstance(answer["rehearsed_starts_per_day"], float)


def test_a_tent_that_gets_dangerously_hot_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config, _, heat = checked(tmp_path, capsys, 2000, 100)
    assert len(heat) == 1
    assert "hotter than 60.0 °C" in heat[0]
    assert main(["rehearse", str(config), "--from", "2013-07-18", "--days", "1"]) == 0
    assert "fire hazard" in capsys.readouterr().out


def test_a_tent_hotter_than_any_model_is_said_and_not_simulated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config, answer, heat = checked(tmp_path, capsys, 5000, 0)
    assert len(heat) == 1
    assert answer["rehearsed_starts_per_day"] is None
    assert main(["rehearse", str(config), "--from", "2013-07-18", "--days", "1"]) == 1
    said = capsys.readouterr().err
    assert "hotter than 140 °C" in said
    assert "lamp.power" in said
    assert main(["check", str(config)]) == 0
    assert "starts" not in capsys.readouterr().out.splitlines()[-1]


def test_a_fan_too_weak_for_its_lamp_is_said_where_figures_tell(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for lamp_w, is_said in ((40, False), (2000, True)):
        config = tmp_path / "oven.yaml"
        config.write_text(TENT.format(lamp_w=lamp_w, speed=100), encoding="utf-8")
        assert main(["check", str(config)]) == 0
        assert ("The fan is too weak" in capsys.readouterr().out) is is_said
