"""`lungwort tomorrow`: what a person reads, what a program does, and files that can't be used."""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

sys.path.append(str(Path(__file__).parents[1] / "expectation"))

from tent_bodies import CONFIG, START_S, changed

from controller.__main__ import main
from controller.config import settings_from_text
from controller.daemon.learning_child import _night
from controller.errors import UserError
from controller.record import InlineRecord, ReadingRow, RecordReader
from controller.tomorrow.as_json import schema
from controller.tomorrow.from_record import hours_of, outdoor_air, report_of
from controller.tomorrow.report import OutdoorFile, TomorrowReport
from controller.tomorrow.source import read_rows
from controller.tomorrow.tomorrow_words import as_text, sentences
from controller.tomorrow.tonight import TOO_HOT
from simulators.learned_tent import ModelledTent
from simulators.weather.series import WeatherError

DAYS, STEP_S = 14.0, 900.0
HOUR_S, DAY_S = 3600.0, 86_400.0
UNTIL_S = START_S + DAYS * DAY_S - 4 * HOUR_S  # at 20:00


def outside_c(at_s: float) -> float:
    hours = (at_s - START_S) / HOUR_S
    return 16.0 + 5.0 * math.sin(hours / 40.0) + 6.0 * math.cos((hours % 24 - 15) / 24 * math.tau)


def reading(at_s: float) -> ReadingRow:
    """A room that follows outdoors three hours later, a tent that is warmer while it is lit."""
    hour = (at_s - START_S) / HOUR_S % 24.0
    lit = 6.0 <= hour < 22.0
    room_c = 10.0 + 0.7 * outside_c(at_s - 3 * HOUR_S)
    return ReadingRow(
        at_ms=round(1000.0 * (at_s + STEP_S)),
        interval_s=STEP_S,
        tent_temperature_c=room_c + (4.0 if lit else 0.5),
        tent_humidity_pct=55.0,
        intake_temperature_c=room_c,
        intake_humidity_pct=50.0,
        fan_speed=1.0 if lit else 0.0,
        fan_on_s=STEP_S if lit else 0.0,
        lamp_on=lit,
        lamp_on_s=STEP_S if lit else 0.0,
        in_fan_hours=lit,
        rule="schedule",
    )


def weather_lines(first_s: float, until_s: float) -> str:
    lines = ["time_utc,temperature_c,humidity_pct"]
    at_s = first_s
    while at_s <= until_s:
        stamp = math.floor(at_s)
        hour = f"{stamp - stamp % 3600}"
        lines.append(f"{_iso(float(hour))},{outside_c(at_s):.2f},60")
        at_s += HOUR_S
    return "\n".join(lines) + "\n"


def _iso(at_s: float) -> str:
    return dt.datetime.fromtimestamp(at_s, dt.UTC).strftime("%Y-%m-%dT%H:%M")


@pytest.fixture(scope="module")
def tent(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a config, its record of two weeks, and the weather."""
    folder = tmp_path_factory.mktemp("tomorrow")
    (folder / "tent.yaml").write_text(
        f"{CONFIG}record: {{path: {folder / 'tent.sqlite3'}}}\n"
        f"forecast: {{file: {folder / 'here.csv'}}}\n",
        encoding="utf-8",
    )
    record = InlineRecord(folder / "tent.sqlite3", batch=10_000)
    record.config(round(START_S * 1000), CONFIG, "sha")
    at_s = START_S
    while at_s < UNTIL_S - 1.0:
        record.reading(reading(at_s))
        at_s += STEP_S
    record.close()
    return folder


@pytest.fixture(autouse=True)
def weather(tent: Path) -> Path:
    path = tent / "here.csv"
    path.write_text(weather_lines(START_S, START_S + 16 * DAY_S), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def report(tent: Path) -> TomorrowReport:
    weather_file = tent / "module.csv"
    weather_file.write_text(weather_lines(START_S, START_S + 16 * DAY_S), encoding="utf-8")
    settings = settings_from_text((tent / "tent.yaml").read_text("utf-8")).settings
    with RecordReader(tent / "tent.sqlite3") as reader:
        read = read_rows(reader, settings)
    return report_of(settings, read, ModelledTent(), str(weather_file))


def test_tomorrows_peak_is_near_what_the_same_weather_brought(report: TomorrowReport) -> None:
    """The tent of the record is 4 K over its room, and the room follows the file's weather."""
    hours = [START_S + DAYS * DAY_S + hour * HOUR_S for hour in range(24)]
    came_c = max(reading(at_s).tent_temperature_c or 0.0 for at_s in hours)
    peak = report.expected.peak_c
    assert peak.value == pytest.approx(came_c, abs=1.0)
    assert peak.low <= came_c <= peak.high
    assert report.date.isoformat() == "2025-06-16"
    assert len(report.expected.hindcasts) >= 10


@pytest.mark.parametrize("width", [80, 60, 40])
def test_the_text_fits_and_says_what_it_rests_on(width: int, report: TomorrowReport) -> None:
    lines = as_text(report, width)
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split())
    for words in ("Tomorrow, Monday 16 June 2025", "Out of band", "too hot", "90 %",
                  "The tent as configured", "module.csv", "worked out again from the record",
                  '"as today" by'):  # fmt: skip
        assert words in text


def test_what_helps_tonight_was_run_and_gains_enough(report: TomorrowReport) -> None:
    assert report.tonight
    kinds = [tried.change.what for tried in report.tonight]
    assert len(set(kinds)) == len(kinds)
    assert all(tried.gain_k >= 0.3 for tried in report.tonight)
    shifted = next(tried for tried in report.tonight if tried.change.what == "lamp_shifted")
    assert shifted.change.was == "06:00–22:00"
    assert abs(shifted.more_light_h) <= 16.0
    assert any("Tonight would help: lamp from" in said for said in sentences(report).tonight)
    hotter = shifted._replace(hot_min=report.expected.minutes[TOO_HOT].value + 90.0)
    (warned,) = sentences(report._replace(tonight=[hotter])).tonight
    assert "lower, but above its band for 1 h 30 min longer" in warned


def test_the_json_fits_its_schema_and_uses_the_configs_file(
    tent: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    assert main(["tomorrow", str(tent / "tent.yaml"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema())
    assert found["outdoors"] == {"file": "here.csv", "used": True, "why_not": None}
    peak = found["peak_temperature_c"]
    assert peak["low"] < peak["value"] < peak["high"]
    assert found["model"]["tent"] == "configured"
    assert found["checked"]["peak_rms_k"] < found["checked"]["as_today_rms_k"]


def test_the_nightly_child_foresees_it_also_where_nothing_is_learned(tent: Path) -> None:
    with RecordReader(tent / "tent.sqlite3") as reader:
        night = _night(reader)
    assert "refused" in night  # readings of a quarter of an hour
    found = night["tomorrow"]
    jsonschema.validate(found, schema())
    assert found["date"] == "2025-06-16"
    assert found["model"]["tent"] == "configured"
    assert found["sentences"]["headline"][0].startswith("Tomorrow, Monday 16 June 2025: ")


def test_a_stale_or_broken_file_is_named_and_not_used(tent: Path, weather: Path) -> None:
    settings = settings_from_text((tent / "tent.yaml").read_text("utf-8")).settings
    with RecordReader(tent / "tent.sqlite3") as reader:
        hours = hours_of(settings, read_rows(reader, settings))
    outdoors, file = outdoor_air(settings, hours, None)
    assert outdoors is not None
    assert file.is_used
    weather.write_text("time_utc,temperature_c,humidity_pct\n2025-06-16T00:00,warm,60\n", "utf-8")
    outdoors, file = outdoor_air(settings, hours, None)
    assert outdoors is None
    assert file.why_not is not None
    assert file.why_not.startswith("here.csv:2: temperature_c 'warm' is not a number")
    with pytest.raises(WeatherError, match=r"here\.csv:2: "):
        outdoor_air(settings, hours, str(weather))
    weather.write_text(weather_lines(START_S, START_S + 16 * DAY_S), "utf-8")
    os.utime(weather, (START_S, START_S))
    _, file = outdoor_air(settings, hours, None)
    assert "longer than forecast.stale_after (12 h)" in str(file.why_not)
    assert outdoor_air(settings, hours, str(weather))[0] is not None
    weather.write_text(weather_lines(START_S, UNTIL_S), "utf-8")
    outdoors, file = outdoor_air(settings, hours, str(weather))
    assert outdoors is None
    assert file.why_not is not None
    assert file.why_not.startswith("here.csv:334: ends at")
    weather.unlink()
    _, file = outdoor_air(settings, hours, None)
    assert "No such file" in str(file.why_not)


def test_without_a_forecast_it_says_that_it_is_hardly_better(report: TomorrowReport) -> None:
    none = report._replace(outdoors=OutdoorFile("here.csv", "here.csv:2: broken"))
    text = " ".join(sentences(none).grounds)
    assert "The forecast of outdoors is not used: here.csv:2: broken" in text
    assert 'hardly better than "as today"' in text
    assert "No forecast of outdoors was given" in " ".join(
        sentences(report._replace(outdoors=OutdoorFile(None))).grounds
    )


def test_a_file_given_by_hand_that_cant_be_read_ends_it(
    tent: Path, weather: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weather.write_text("time_utc,temperature_c\n2025-06-16T00:00,20\n", "utf-8")
    assert main(["tomorrow", str(tent / "tent.yaml"), "--weather", str(weather)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("here.csv:1: no column for a humidity or dew point")


def test_a_tent_that_was_never_read_is_not_foreseen(tmp_path: Path) -> None:
    record = InlineRecord(tmp_path / "blind.sqlite3", batch=1000)
    record.config(round(START_S * 1000), CONFIG, "sha")
    for hour in range(4 * 24):
        row = reading(START_S + hour * HOUR_S)
        record.reading(replace(row, interval_s=HOUR_S, tent_temperature_c=None))
    record.close()
    settings = settings_from_text(CONFIG).settings
    with RecordReader(tmp_path / "blind.sqlite3") as reader, pytest.raises(UserError) as refused:
        read_rows(reader, settings)
    assert "less than a day of the tent's own temperature" in refused.value.message


def test_a_day_hotter_than_the_sensor_tells_is_no_ground_for_the_next(tmp_path: Path) -> None:
    record = InlineRecord(tmp_path / "clipped.sqlite3", batch=1000)
    record.config(round(START_S * 1000), CONFIG, "sha")
    for hour in range(4 * 24):
        row = replace(reading(START_S + hour * HOUR_S), interval_s=HOUR_S)
        record.reading(replace(row, tent_temperature_c=80.0) if hour == 90 else row)
    record.close()
    settings = settings_from_text(CONFIG).settings
    with RecordReader(tmp_path / "clipped.sqlite3") as reader, pytest.raises(UserError) as refused:
        read_rows(reader, settings)
    assert "at least as hot as its sensor tells (79.5 °C)" in refused.value.message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            changed(("  - {name: room, role: intake, driver: dht22, pin: 27}\n", "")),
            "no sensor with role: intake",
        ),
        (CONFIG, "tomorrow takes 3 at least"),
    ],
)
def test_what_is_missing_is_said_in_one_line(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config, path = tmp_path / "tent.yaml", tmp_path / "short.sqlite3"
    config.write_text(text, encoding="utf-8")
    record = InlineRecord(path, batch=1000)
    record.config(round(START_S * 1000), text, "sha")
    for minute in range(0, 2000, 10):
        record.reading(reading(START_S + 60.0 * minute))
    record.close()
    assert main(["tomorrow", str(config), "--record", str(path)]) == 1
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
