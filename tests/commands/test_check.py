"""`lungwort check`: problems by place, the day's timeline, and what each override will do."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import pytest

from controller.commands import check
from controller.commands.check_brief import brief_text, verdict_lines
from controller.commands.check_law import law_table
from controller.commands.check_rules import override_rows
from controller.commands.check_starts import Starts, starts_words
from controller.commands.check_text import as_text
from controller.config import settings_from_text
from controller.config.problems import Problem
from controller.control import Rule
from controller.errors import UserError
from controller.timetable import Timetable

CONFIG = """\
tent: {name: basil, width: 60 cm, depth: 90 cm, height: 140 cm}
place: {timezone: Europe/Rome}
lamp:
  power: 120 W
  photoperiod: {on: "20:00", off: "12:00"}
fan: {drive: pwm, pin: 18, min_speed: 25 %}
schedule:
  pre_run: 10 min
  run_on: 20 min
  day_speed: 60 %
  purge: {every: 6 h, length: 5 min, speed: 80 %}
sensors:
  - {name: leaves, role: tent, driver: hwmon, device: sht4x}
targets:
  day: {temperature: [20 °C, 24 °C]}
overrides:
  temperature: {hysteresis: 1 K, delay: 90 s, speed: 90 %}
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "basil.yaml"
    path.write_text(CONFIG, encoding="utf-8")
    return path


def run(*arguments: str | Path) -> int:
    parser = argparse.ArgumentParser()
    check.add(parser.add_subparsers())
    args = parser.parse_args(["check", *map(str, arguments)])
    status: int = args.run(args)
    return status


def as_object(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> dict[str, Any]:
    assert run(*arguments, "--json") == 0
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    return answer


def shown(text: str, date: dt.date, **options: Any) -> str:
    settings = settings_from_text(text).settings
    return as_text(settings, Timetable.from_settings(settings), date, **options)


def test_every_interval_that_touches_the_day_is_listed_in_full(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = as_object(capsys, config, "--date", "2026-07-18")
    assert answer["lamp"] == [
        {"on": "2026-07-17T20:00:00+02:00", "off": "2026-07-18T12:00:00+02:00"},
        {"on": "2026-07-18T20:00:00+02:00", "off": "2026-07-19T12:00:00+02:00"},
    ]
    assert answer["fan_hours"] == [
        {"start": "2026-07-17T19:50:00+02:00", "end": "2026-07-18T12:20:00+02:00"},
        {"start": "2026-07-18T19:50:00+02:00", "end": "2026-07-19T12:20:00+02:00"},
    ]
    assert [purge["start"] for purge in answer["purge"]] == [
        f"2026-07-18T{hour}:00:00+02:00" for hour in ("00", "06", "12", "18")
    ]


def test_offsets_follow_the_clocks_on_the_day_they_change(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = as_object(capsys, config, "--date", "2026-10-25")
    assert answer["day"] == {
        "start": "2026-10-25T00:00:00+02:00",
        "end": "2026-10-26T00:00:00+01:00",
    }
    assert answer["lamp"][0] == {
        "on": "2026-10-24T20:00:00+02:00",
        "off": "2026-10-25T12:00:00+01:00",
    }


def test_endless_light_has_null_for_its_ends(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config.write_text(CONFIG.replace('off: "12:00"', 'off: "20:00"'), encoding="utf-8")
    answer = as_object(capsys, config, "--date", "2026-07-18")
    assert answer["lamp"] == [{"on": None, "off": None}]
    assert answer["fan_hours"] == [{"start": None, "end": None}]


def test_no_light_has_empty_lists(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config.write_text(
        CONFIG.replace('off: "12:00"', 'off: "20:00", same_means: never'), encoding="utf-8"
    )
    answer = as_object(capsys, config, "--date", "2026-07-18")
    assert answer["lamp"] == answer["fan_hours"] == []


def test_overrides_tell_threshold_delay_release_and_speed(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = as_object(capsys, config, "--date", "2026-07-18")
    too_hot = answer["overrides"][0]
    assert (too_hot["phase"], too_hot["rule"], too_hot["engages"]) == ("day", "too_hot", "above")
    assert (too_hot["limit"], too_hot["release"], too_hot["unit"]) == (24.0, 23.0, "°C")
    assert (too_hot["delay_s"], too_hot["speed"]) == (90.0, 0.9)
    assert too_hot["locked_out_while"] is None
    assert too_hot["text"] == (
        "too hot: above 24.0 °C for 1 min 30 s: fan at 90 %, until below 23.0 °C"
    )
    assert len(answer["overrides"]) == 14


def test_intake_sensor_tells_what_withholds_an_override(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config.write_text(
        CONFIG.replace(
            "device: sht4x}",
            "device: sht4x}\n  - {name: room, role: intake, driver: dht22, pin: 4}",
        ),
        encoding="utf-8",
    )
    answer = as_object(capsys, config, "--date", "2026-07-18")
    assert answer["overrides"][0]["locked_out_while"] == (
        "the intake air is no cooler than the tent's"
    )


def test_problems_are_reported_by_place_all_at_once(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config.write_text(
        CONFIG.replace("Europe/Rome", "Europe/Romme").replace("pre_run: 10 min", "pre_run: 10"),
        encoding="utf-8",
    )
    assert run(config) == 2
    output = capsys.readouterr()
    assert output.out == ""
    lines = output.err.splitlines()
    assert lines[0].startswith(f"{config}:2:19: ")
    assert "Europe/Rome" in lines[0]
    assert lines[1].startswith(f"{config}:8:12: ")


def test_problems_are_reported_as_json_too(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config.write_text(CONFIG.replace("pre_run: 10 min", "pre_run: 10"), encoding="utf-8")
    assert run(config, "--json") == 2
    output = capsys.readouterr()
    (problem,) = json.loads(output.out)["problems"]
    assert (problem["line"], problem["column"]) == (8, 12)
    assert output.err.startswith(f"{config}:8:12: ")


def test_warnings_are_shown_and_leave_the_status_alone(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # A hysteresis finer than the sensor can repeat.
    config.write_text(
        CONFIG.replace("hysteresis: 1 K", "hysteresis: 0.1 K").replace(
            "driver: hwmon, device: sht4x", "driver: dht11, pin: 4"
        ),
        encoding="utf-8",
    )
    assert run(config) == 0
    output = capsys.readouterr()
    assert f"{config}:17:" in output.err
    assert ": warning: " in output.err
    assert "basil on" in output.out


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("18.7.2026", "not a date; expected such as 2013-07-18"),
        ("2026-02-30", "not a date"),
        ("1066-10-14", "out of range"),
    ],
)
def test_dates_that_are_none_are_reported(config: Path, text: str, message: str) -> None:
    with pytest.raises(UserError, match=message) as caught:
        run(config, "--date", text)
    assert caught.value.status == 2


def test_day_that_a_zone_skipped_is_reported(config: Path) -> None:
    config.write_text(CONFIG.replace("Europe/Rome", "Pacific/Apia"), encoding="utf-8")
    with pytest.raises(UserError, match="there was no 2011-12-30 in Pacific/Apia"):
        run(config, "--date", "2011-12-30")


def test_today_is_the_tents_day() -> None:
    auckland = Timetable("Pacific/Auckland", dt.time(6), dt.time(22))
    noon_utc = dt.datetime(2026, 7, 18, 12, tzinfo=dt.UTC).timestamp()
    assert check.parse_date("today", auckland, noon_utc) == dt.date(2026, 7, 19)
    assert check.parse_date("Yesterday", auckland, noon_utc) == dt.date(2026, 7, 18)
    assert check.parse_date("tomorrow", auckland, noon_utc) == dt.date(2026, 7, 20)


def test_text_draws_the_day_and_says_the_hours() -> None:
    lines = shown(CONFIG, dt.date(2026, 7, 18)).splitlines()
    assert lines[0] == "basil on Saturday, 18 July 2026, Europe/Rome"
    assert "           00    03    06    09    12    15    18    21" in lines
    assert f"Lamp       {'█' * 24}{'·' * 16}{'█' * 8}" in lines
    assert f"Fan hours  {'█' * 24}▄{'·' * 14}▄{'█' * 8}" in lines
    text = "\n".join(lines)
    assert "lit from 20:00 to 12:00 the next day, by" in text
    assert "from 19:50 to 12:20 the next day: fan at 60 %" in text
    assert "fan at 60 %" in text


def test_text_says_that_the_clocks_change_and_draws_that_many_hours() -> None:
    spring = shown(CONFIG, dt.date(2026, 3, 29)).splitlines()
    assert spring[1] == "The clocks change: this day has 23 hours."
    assert f"Lamp       {'█' * 22}{'·' * 16}{'█' * 8}" in spring
    autumn = shown(CONFIG, dt.date(2026, 10, 25)).splitlines()
    assert f"Lamp       {'█' * 26}{'·' * 16}{'█' * 8}" in autumn


def test_a_day_whose_hours_are_not_the_next_days_says_both() -> None:
    text = shown(CONFIG.replace('off: "12:00"', 'off: "02:30"'), dt.date(2026, 10, 25))
    assert (
        "from 20:00 the day before to 02:30 CET and from 20:00 to 02:30 the next day"
        in " ".join(text.split())
    )


def test_time_that_comes_twice_is_distinguished() -> None:
    text = shown(CONFIG.replace('off: "12:00"', 'off: "02:30"'), dt.date(2026, 10, 25))
    assert "to 02:30 CET" in text


def test_text_uses_the_users_units() -> None:
    us = CONFIG.replace("timezone: Europe/Rome", "timezone: Europe/Rome, units: us")
    assert "above 75.2 °F" in shown(us, dt.date(2026, 7, 18))


def test_terminal_without_utf_8_gets_letters() -> None:
    lines = shown(CONFIG, dt.date(2026, 7, 18), ascii_only=True).splitlines()
    assert f"Lamp       {'#' * 24}{'.' * 16}{'#' * 8}" in lines


def test_lines_fit_a_usual_terminal() -> None:
    widest = max(shown(CONFIG, dt.date(2026, 10, 25)).splitlines(), key=len)
    assert len(widest) <= 100


def test_speed_below_what_the_motor_can_is_reported_as_it_will_be_given() -> None:
    text = CONFIG.replace("speed: 90 %", "reduced_speed: 10 %")
    settings = settings_from_text(text).settings
    (too_cold,) = [
        row
        for row in override_rows(settings)
        if row.phase == "day" and row.kind.rule is Rule.TOO_COLD
    ]
    assert too_cold.acts() == "25 % at most"


def verdict(text: str) -> str:
    return " ".join(" ".join(verdict_lines(settings_from_text(text), 80)).split())


def test_no_fan_is_too_weak_for_a_lamp_that_is_never_lit() -> None:
    weak = CONFIG.replace("min_speed: 25 %", "free_flow: 30 m³/h, max_pressure: 60 Pa").replace(
        "power: 120 W", "power: 900 W"
    )
    assert "The fan is too weak for this tent and lamp" in verdict(weak)
    never = weak.replace('off: "12:00"', 'off: "20:00", same_means: never')
    assert "too weak" not in verdict(never)


NORMALLY_OPEN = re.sub("speed: [0-9]+ %", "speed: 100 %", CONFIG).replace(
    "drive: pwm, pin: 18, min_speed: 100 %", "drive: relay, pin: 4"
)


def test_the_verdict_says_what_needs_attention() -> None:
    safe = CONFIG.replace("min_speed: 25 %", "min_speed: 25 %, active_low: true")
    assert verdict(safe) == "The config can be used. Nothing in it needs your attention."
    assert "- With a dead Pi this fan stands still while the lamp stays on: " in verdict(CONFIG)
    unsure = verdict(NORMALLY_OPEN)
    assert "normally closed contact" in unsure
    assert "What the fan does is not known, until the first tick: GPIO 4 pulls itself up" in unsure
    warned = settings_from_text(safe)._replace(warnings=(Problem("f", 1, 1, "odd", ""),) * 2)
    assert "The 2 warnings above need your attention." in " ".join(verdict_lines(warned, 80))


def test_a_check_leads_with_its_verdict_and_leaves_the_rest_to_full(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(config) == 0
    brief = capsys.readouterr().out
    assert brief.startswith("The config can be used.")
    assert len(brief.splitlines()) <= 40
    for words in ("too hot         fan at 90 %", "Failsafe: no trusted reading", "Above 26.7 °C"):
        assert words in brief
    assert "until below" not in brief
    assert run(config, "--full") == 0
    full = capsys.readouterr().out
    assert full.startswith("The config can be used.")
    assert "until below 23.0 °C" in full


def test_brief_rows_are_apart_only_where_speeds_differ() -> None:
    text = CONFIG + "  humidity: {delay: 5 min, speed: 40 %}\n  vpd: {delay: 1 min, speed: 40 %}\n"
    settings = settings_from_text(text).settings
    day = (Timetable.from_settings(settings), dt.date(2026, 7, 18))
    assert "too humid       fan at 40 %   after 1 min to 5 min" in brief_text(settings, *day)
    settings = settings_from_text(text.replace("1 min, speed: 40 %", "1 min, speed: 50 %")).settings
    shown = brief_text(settings, *day)
    assert "too humid by humidity  fan at 40 %   after 5 min" in shown
    assert "too humid by VPD       fan at 50 %   after 1 min" in shown


def test_what_each_failure_does_to_the_fan_is_reported(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = as_object(capsys, config)
    rows = {row["failure"]: row["speed"] for row in answer["failures"]}
    assert rows == {
        "pi_dead": 0.0,
        "starting": 0.0,
        "undriven": 0.0,
        "stopped": 1.0,
        "fault": 1.0,
    }
    text = shown(CONFIG, dt.date(2026, 7, 18))
    assert re.search(r"Pi dead, no power +fan off", text)
    assert "With a dead Pi this fan stands still while the lamp stays on" in text


def test_a_four_wire_fan_without_a_transistor_is_warned_of(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    four_wire = CONFIG.replace("drive: pwm", "drive: hardware_pwm")
    config.write_text(four_wire, encoding="utf-8")
    answer = as_object(capsys, config)
    (warning,) = answer["warnings"]
    assert "a transistor between the pin and the fan's wire" in warning["expected"]
    assert {row["failure"]: row["speed"] for row in answer["failures"]}["starting"] == 0.0
    config.write_text(four_wire.replace("pin: 18", "pin: 18, active_low: true"), encoding="utf-8")
    answer = as_object(capsys, config)
    assert answer["warnings"] == []
    assert {row["failure"]: row["speed"] for row in answer["failures"]}["starting"] == 1.0


MODULATED = (
    CONFIG.replace("min_speed: 25 %", "min_speed: 20 %, free_flow: 350 m³/h")
    .replace("device: sht4x}", "device: sht4x}\n  - {name: room, role: intake, driver: w1}")
    .replace("driver: w1", "driver: hwmon, device: sht3x")
    .replace("speed: 90 %", "speed: 100 %")
)


@pytest.mark.parametrize("width", [80, 60, 40])
def test_the_speeds_chosen_are_shown_within_the_width_and_apart(width: int) -> None:
    text = "\n".join(law_table(settings_from_text(MODULATED).settings, width))
    assert max(map(len, text.splitlines())) <= width
    assert "lit and too hot by" in text
    assert text.count(" %") == 12
    assert not re.search(r"%\S", text.replace("%,", "%"))


def test_a_schedule_at_full_speed_leaves_no_choice_and_says_so() -> None:
    text = MODULATED.replace("day_speed: 60 %", "day_speed: 100 %")
    words = " ".join(law_table(settings_from_text(text).settings))
    assert words.startswith("In the fan hours the schedule asks for 100 % already")
    assert "lit and too hot by" not in words


@pytest.mark.parametrize(
    ("per_day", "words"),
    [(0.0, "less than once a day"), (1.0, "once a day"), (14.4, "14 times a day")],
)
def test_how_often_the_fan_starts_is_said_as_people_count(per_day: float, words: str) -> None:
    assert f"the fan starts {words}: lungwort rehearse" in starts_words(Starts(per_day, None, 25.0))


def test_record_that_the_next_boot_forgets_is_a_warning_with_its_place(
    config: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with config.open("a", encoding="utf-8") as file:
        file.write("record: {path: /tmp/basil.sqlite3}\n")
    why = "/tmp (tmpfs), which is memory: it is gone at the next boot"
    monkeypatch.setattr("controller.record.volatile.record_volatile", lambda _: why)
    assert run(config, "--date", "2013-07-18") == 0
    line = next(li for li in capsys.readouterr().err.splitlines() if "tmpfs" in li)
    assert line.startswith(f"{config}:{CONFIG.count(chr(10)) + 1}:16: warning: on this machine")
    assert "/tmp/basil.sqlite3" in line
    assert "USB stick" in line
