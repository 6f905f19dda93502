"""How often `check` says the fan would start: the rehearsal's own number, and what helps."""

from __future__ import annotations

import argparse
import functools
import json
from pathlib import Path
from typing import Any

import pytest

from controller.commands import check, rehearse
from controller.commands.check_starts import (
    DAYS,
    FIRST,
    MOST_PER_DAY,
    WEATHER,
    Starts,
    _by_overrides,
    rehearsed_starts,
    why_more_starts,
)
from controller.config import Settings, load_settings, settings_from_text
from controller.control.types import Rule

# A relay that may switch every minute, beside a hysteresis as narrow as the sensor allows.
CHATTERING = """\
tent: {width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: America/New_York}
lamp: {power: 150 W, photoperiod: {on: 06:00, off: 22:00}}
fan: {drive: relay, pin: 17, min_on: 1 min, min_off: MIN_OFF, most_starts: 999, free_flow: 190 m³/h}
crop: {kind: tomato, plants: 4, stage: flowering}
schedule: {day_speed: 0 %, night_speed: 0 %}
sensors: [{name: canopy, role: tent, driver: hwmon, device: sht4x}]
overrides:
  temperature: {hysteresis: 0.3 K, delay: 0 s}
  humidity: {hysteresis: 2 %, delay: 0 s}
  vpd: {hysteresis: 80 Pa, delay: 0 s}
"""


def answer(
    module: Any, capsys: pytest.CaptureFixture[str], name: str, *arguments: str
) -> dict[str, Any]:
    parser = argparse.ArgumentParser()
    module.add(parser.add_subparsers())
    args = parser.parse_args([name, *arguments, "--json"])
    assert args.run(args) == 0
    shown: dict[str, Any] = json.loads(capsys.readouterr().out)
    return shown


def settings(min_off: str) -> Settings:
    return settings_from_text(CHATTERING.replace("MIN_OFF", min_off)).settings


@functools.cache
def starts_per_day(min_off: str) -> float:
    """What the rehearsal of the config makes of a rest, which several tests ask."""
    return rehearsed_starts(settings(min_off)).per_day


def write(path: Path, min_off: str) -> Path:
    path.write_text(CHATTERING.replace("MIN_OFF", min_off), encoding="utf-8")
    return path


def test_the_number_is_the_rehearsals(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = str(write(tmp_path / "tent.yaml", "1 min"))
    days = ("--weather", WEATHER, "--from", str(FIRST), "--days", str(DAYS))
    starts = answer(rehearse, capsys, "rehearse", config, *days)["fan_starts"]
    checked = answer(check, capsys, "check", config)
    assert checked["rehearsed_starts_per_day"] == pytest.approx(starts / DAYS, abs=1e-3)
    (warning,) = checked["warnings"]
    assert f"would start {starts / DAYS:.0f} times a day" in warning["message"]
    assert warning["line"] == 4
    for key in ("`fan.min_on`", "`fan.min_off`", "hysteresis", "delay", "`overrides."):
        assert key in warning["expected"]


def test_a_longer_rest_brings_it_down() -> None:
    per_day = [starts_per_day(rest) for rest in ("1 min", "10 min", "40 min")]
    assert per_day[0] > MOST_PER_DAY
    assert per_day[0] > 1.5 * per_day[1] > 2.0 * per_day[2] > 0.0


def test_what_longer_runs_and_rests_would_do_is_tried_and_not_guessed() -> None:
    starts = Starts(starts_per_day("1 min"), Rule.TOO_HUMID, 30.0)
    fan = settings("10 min").fan.changed(min_on_s=600.0)
    eased = rehearsed_starts(settings("1 min").changed(fan=fan)).per_day
    for enough, still in ((eased + 1.0, ""), (eased - 1.0, "still ")):
        _, remedy = _by_overrides(settings("1 min"), starts, enough)
        assert f"({still}{eased:.0f} a day with 10 min each)" in remedy


def test_a_fan_that_starts_seldom_is_not_warned_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = str(write(tmp_path / "tent.yaml", "60 min"))
    checked = answer(check, capsys, "check", config)
    assert 0.0 < checked["rehearsed_starts_per_day"] <= MOST_PER_DAY
    assert checked["warnings"] == []


def test_starts_by_purges_are_attributed_to_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = tmp_path / "tent.yaml"
    config.write_text(
        CHATTERING.replace("MIN_OFF", "1 min").replace(
            "night_speed: 0 %", "night_speed: 0 %, purge: {every: 10 min, length: 3 min}"
        ),
        encoding="utf-8",
    )
    checked = answer(check, capsys, "check", str(config))
    (warning,) = checked["warnings"]
    alone = rehearsed_starts(load_settings(config).settings, schedule_alone=True).per_day
    assert alone == pytest.approx(144.0)
    assert "144 of them by the schedule" in warning["message"]
    assert warning["expected"] == "`schedule.purge.every` longer"


def test_a_relay_starts_no_more_than_it_may_and_the_warning_says_what_that_costs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = tmp_path / "tent.yaml"
    text = CHATTERING.replace("MIN_OFF", "1 min").replace("most_starts: 999, ", "")
    config.write_text(text, encoding="utf-8")
    checked = answer(check, capsys, "check", str(config))
    (warning,) = checked["warnings"]
    wanted = starts_per_day("1 min")
    assert checked["rehearsed_starts_per_day"] <= 24.0 < MOST_PER_DAY < wanted
    assert f"would start {wanted:.0f} times a day" in warning["message"]
    held = checked["rehearsed_starts_per_day"]
    assert f"`fan.most_starts` 24 holds it to {held:.0f}, so that it runs on" in warning["message"]


def test_more_starts_in_a_week_than_a_day_may_have_are_explained() -> None:
    assert why_more_starts(24.4, 24) == ""
    assert why_more_starts(25.4, 24) == (
        " in a week (half a day's may come early, and heat waits for none)"
    )
