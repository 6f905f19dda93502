"""Forecast files: JSON beside CSV, and what can't be a forecast, named with its line."""

from __future__ import annotations

import datetime as dt
import json
import math
from pathlib import Path

import pytest

from controller.tomorrow.hours import HOUR_S, RoomHours
from simulators.weather import Weather, load_weather
from simulators.weather.ahead import outdoor_hours
from simulators.weather.series import WeatherError

START = dt.datetime(2031, 5, 1, tzinfo=dt.UTC)
DAYS, NOW = 10, 24 * 8
PRESSURE_PA = 101_325.0
HOURS = RoomHours(START.timestamp(), [20.0] * NOW, [8.0] * NOW, [0.0] * (24 * DAYS))


def rows(first: int = 0, until: int = 24 * DAYS) -> list[tuple[str, float, float]]:
    return [
        (
            (START + dt.timedelta(hours=hour)).isoformat(),
            round(15.0 + 5.0 * math.cos(hour / 24.0 * math.tau), 2),
            8.0,
        )
        for hour in range(first, until)
    ]


def csv(entries: list[tuple[str, float, float]]) -> str:
    return "\n".join(["time,temperature_c,dew_point_c", *(f"{t},{c},{d}" for t, c, d in entries)])


def read(folder: Path, name: str, text: str) -> Weather:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    weather = load_weather(path, "Europe/Rome")
    assert isinstance(weather, Weather)
    return weather


def of_objects(entries: list[tuple[str, float, float]]) -> str:
    objects = [{"time": t, "temperature_c": c, "dew_point_c": d} for t, c, d in entries]
    return json.dumps(objects, indent=1)


def of_lists(entries: list[tuple[str, float, float]]) -> str:
    times, temperatures, dew_points = zip(*entries, strict=True)
    lists = {"time": times, "temperature_2m": temperatures, "dew_point_2m": dew_points}
    units = {"time": "iso8601", "temperature_2m": "°C", "dew_point_2m": "°C"}
    return json.dumps({"utc_offset_seconds": 0, "units": units, "hours": lists}, indent=1)


def unix(entries: list[tuple[str, float, float]]) -> str:
    objects = [
        {"time": dt.datetime.fromisoformat(t).timestamp(), "temperature_c": c, "dew_point_c": d}
        for t, c, d in entries
    ]
    return json.dumps(objects)


@pytest.mark.parametrize("form", [of_objects, of_lists, unix])
def test_json_says_what_a_csv_says(form, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    expected = read(tmp_path, "w.csv", csv(rows()))
    found = read(tmp_path, "w.json", form(rows()))
    assert found.times_s == expected.times_s
    assert found.temperatures_c == expected.temperatures_c
    assert found.vapour_pa == pytest.approx(expected.vapour_pa)


def test_a_broken_json_is_named_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match=r"w\.json:3: not JSON"):
        read(tmp_path, "w.json", of_objects(rows())[:40])
    absurd = of_objects(rows()).replace('"temperature_c": 20.0', '"temperature_c": 293.1', 1)
    line = absurd[: absurd.index("293.1")].count("\n") - 1  # of its object's first one
    with pytest.raises(WeatherError, match=rf"w\.json:{line}: temperature_c 293.1 °C"):
        read(tmp_path, "w.json", absurd)
    lists = of_lists(rows()).replace("20.0", "293.1", 1)
    with pytest.raises(WeatherError, match=r"w\.json:\d+: temperature_2m \(°C\) 293.1 °C"):
        read(tmp_path, "w.json", lists)


@pytest.mark.parametrize(
    "text",
    [
        "[1, 2]",
        "{}",
        "[" + "9" * 5000 + "]",
        "[" * 5000,
        '{"a": [1]}',
        '{"time": [1, 2], "x": [1]}',
        "[]",
    ],
)
def test_other_json_is_refused_in_words(text: str, tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match=r"w\.json:1: "):
        read(tmp_path, "w.json", text)


def test_past_and_hours_to_come_are_on_the_records_grid(tmp_path: Path) -> None:
    outdoors = outdoor_hours(read(tmp_path, "w.csv", csv(rows(30))), HOURS, NOW, PRESSURE_PA)
    assert outdoors.temperature_c[:30] == [None] * 30
    assert outdoors.temperature_c[36] == pytest.approx(0.5 * (rows()[36][1] + rows()[37][1]))
    # Humidity ratio at a dew point of 8 °C: 6.683 g/kg (ASHRAE Fundamentals 2017, ch. 1, table 2,
    # from memory); the table's air is real, which makes 0.4 %.
    assert outdoors.ratio_g_kg[-1] == pytest.approx(6.683, rel=0.005)


@pytest.mark.parametrize(
    ("entries", "line", "words"),
    [
        (rows(until=24 * 9), 217, "before tomorrow does"),
        (rows(24 * 6), 2, "learned from the file's own past"),
        (rows(until=100) + rows(108), 101, "nothing between"),
        ([*rows(until=210), (rows()[210][0], 45.0, 8.0), *rows(211)], 212, "check units and place"),
    ],
)
def test_what_is_no_forecast_is_named_with_its_line(
    entries: list[tuple[str, float, float]], line: int, words: str, tmp_path: Path
) -> None:
    weather = read(tmp_path, "w.csv", csv(entries))
    with pytest.raises(WeatherError, match=words) as refused:
        outdoor_hours(weather, HOURS, NOW, PRESSURE_PA)
    assert refused.value.message.startswith(f"w.csv:{line}: ")


def test_a_file_that_ends_two_hours_short_of_tomorrow_will_do(tmp_path: Path) -> None:
    weather = read(tmp_path, "w.csv", csv(rows(until=24 * DAYS - 2)))
    outdoors = outdoor_hours(weather, HOURS, NOW, PRESSURE_PA)
    assert outdoors.temperature_c[-1] == weather.temperatures_c[-1]
    assert HOURS.middle_s(0) == START.timestamp() + 0.5 * HOUR_S
