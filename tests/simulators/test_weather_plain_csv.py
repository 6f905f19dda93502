"""Plain CSV: local times over the changes of the clocks, missing values, units mistaken."""

from __future__ import annotations

import datetime as dt
import functools
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from examples import examples
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from controller import air
from simulators.weather import Weather, WeatherError, load_weather


def loaded(folder: Path, text: str, zone: str | None = "Europe/Rome") -> Weather:
    path = folder / "w.csv"
    path.write_text(text, "utf-8")
    weather = load_weather(path, zone)
    assert isinstance(weather, Weather)
    return weather


def utc(weather: Weather) -> list[str]:
    return [f"{dt.datetime.fromtimestamp(t, dt.UTC):%d %H:%M}" for t in weather.times_s]


def local(*times: str, rest: str = "20,10") -> str:
    return "time,temperature_c,dew_point_c\n" + "".join(f"{time},{rest}\n" for time in times)


@pytest.mark.parametrize(
    ("zone", "step_min"),
    [
        ("Europe/Rome", 60),
        ("America/New_York", 60),
        ("America/New_York", 10),
        ("Asia/Kolkata", 60),
        # Its clocks change by half an hour: hours would not tell the two passes apart.
        ("Australia/Lord_Howe", 30),
    ],
)
@given(
    data=st.data(),
    values=st.lists(
        st.tuples(st.integers(-400, 350), st.integers(0, 200)), min_size=30, max_size=80
    ),
)
@examples(25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_local_times_come_back_over_both_changes_of_the_clocks(
    tmp_path: Path, zone: str, step_min: int, data: st.DataObject, values: list[tuple[int, int]]
) -> None:
    start = data.draw(st.sampled_from(_days_of_change(zone)))
    instants = [start + dt.timedelta(minutes=step_min * i) for i in range(len(values))]
    rows = [
        f"{at.astimezone(ZoneInfo(zone)):%d.%m.%Y %H:%M};{t / 10:.1f};{(t - d) / 10:.1f}"
        for at, (t, d) in zip(instants, values, strict=True)
    ]
    text = "time;temperature_c;dew_point_c\n" + "\n".join(rows).replace(".", ",")
    weather = loaded(tmp_path, _dotted_dates(text), zone)
    assert list(weather.times_s) == [at.timestamp() for at in instants]
    assert list(weather.temperatures_c) == pytest.approx([t / 10 for t, _ in values])


@functools.cache
def _days_of_change(zone: str) -> list[dt.datetime]:
    """08:00 UTC of days before the clocks change: in no zone used here an hour that comes twice."""
    first = dt.datetime(2005, 1, 1, 8, tzinfo=dt.UTC)
    days = [first + dt.timedelta(days=i) for i in range(20 * 365)]
    offsets = [day.astimezone(ZoneInfo(zone)).utcoffset() for day in days]
    return [days[i] for i in range(len(days) - 1) if offsets[i] != offsets[i + 1]] or days


def _dotted_dates(text: str) -> str:
    """Give the dates, the first value of each line, their points back."""
    lines = [line.split(";", 1) for line in text.splitlines()]
    return "\n".join(f"{first.replace(',', '.')};{rest}" for first, rest in lines)


def test_the_hour_that_comes_twice_is_reported_by_the_order_of_lines(tmp_path: Path) -> None:
    # 25 October 2020, 03:00 CEST back to 02:00 CET (Directive 2000/84/EC: 01:00 UTC).
    text = local(*(f"2020-10-25 {h}" for h in ("01:00", "02:00", "02:00", "03:00")))
    weather = loaded(tmp_path, text)
    assert utc(weather) == ["24 23:00", "25 00:00", "25 01:00", "25 02:00"]
    halves = local(*(f"2020-10-25 {h}" for h in ("02:00", "02:30", "02:00", "02:30", "03:00")))
    assert utc(loaded(tmp_path, halves))[1:4] == ["25 00:30", "25 01:00", "25 01:30"]


def test_an_hour_that_is_skipped_is_refused_with_what_the_file_may_be(tmp_path: Path) -> None:
    text = local("2020-03-29 01:00", "2020-03-29 02:30", "2020-03-29 03:00")
    with pytest.raises(WeatherError, match=r"w.csv:3: .*is skipped in Europe/Rome.*time_standard"):
        loaded(tmp_path, text)
    weather = loaded(tmp_path, text.replace("time,", "time_standard,"))
    assert utc(weather) == ["29 00:00", "29 01:30", "29 02:00"]
    assert weather.notes == ("the weather file's times are read as standard time of Europe/Rome",)


def test_it_is_said_that_times_were_read_by_the_tents_zone(tmp_path: Path) -> None:
    weather = loaded(tmp_path, local("2020-06-01 12:00", "2020-06-01 13:00"))
    assert utc(weather) == ["01 10:00", "01 11:00"]
    assert weather.notes == ("the weather file's times are read as local time of Europe/Rome",)


@pytest.mark.parametrize(
    "preamble",
    [
        "latitude,longitude,utc_offset_seconds,timezone\n52.5,13.4,3600,Europe/Berlin\n\n",
        "place,home\nutc_offset_seconds,3600\n",
        "# source: my service\n# utc_offset_seconds: 3600\n",
        "# timezone: Etc/GMT-1\n",
    ],
)
def test_lines_before_the_column_names_may_give_the_zone(tmp_path: Path, preamble: str) -> None:
    text = (
        f"{preamble}time,temperature_2m (°C),relative_humidity_2m (%),dew_point_2m (°C)\n"
        "2020-06-01T12:00,20.0,52,10.0\n2020-06-01T13:00,21.0,50,10.2\n"
    )
    weather = loaded(tmp_path, text, "America/New_York")
    assert utc(weather) == ["01 11:00", "01 12:00"]
    assert weather.vapour_pa[0] == pytest.approx(air.saturation_over_water_pa(10.0))
    assert weather.lines[0] == preamble.count("\n") + 2


def test_a_zone_before_the_column_names_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match=r"timezone 'Mars/Base'"):
        loaded(tmp_path, "# timezone: Mars/Base\n" + local("2020-06-01 12:00", "2020-06-01 13:00"))


@pytest.mark.parametrize(
    "missing", ["", "NA", "n/a", "NaN", "null", "-9999", "9999", "-9999.0", "9999,0", "-999"]
)
@pytest.mark.parametrize("column", [1, 2])
def test_missing_values_are_gaps(tmp_path: Path, missing: str, column: int) -> None:
    lines = ["time_utc;temperature_c;humidity_pct"]
    lines += [f"2020-06-01T{hour:02}:00;20,5;50" for hour in range(4)]
    cells = lines[2].split(";")
    cells[column] = missing
    lines[2] = ";".join(cells)
    weather = loaded(tmp_path, "\n".join(lines))
    assert utc(weather) == ["01 00:00", "01 02:00", "01 03:00"]
    assert weather.temperatures_c[0] == 20.5


def test_decimal_commas_between_commas_are_refused_with_a_hint(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match=r"w.csv:2: 5 values; expected 3.*need semicolons"):
        loaded(tmp_path, "time_utc,temperature_c,dew_point_c\n2020-06-01T00:00,20,5,10,1\n")


def test_the_last_valid_of_repeated_lines_counts(tmp_path: Path) -> None:
    text = (
        "time_utc,temperature_c,dew_point_c\n2020-06-01T00:00,20,10\n2020-06-01T00:00,21,11\n"
        "2020-06-01T00:00,,12\n2020-06-01T01:00,22,10\n"
    )
    weather = loaded(tmp_path, text)
    assert list(weather.temperatures_c) == [21.0, 22.0]
    assert weather.notes == ("1 line repeats the time of the line before: the last one counts",)


def _hours(header: str, *rows: str) -> str:
    lines = [
        f"{dt.datetime(2020, 6, 1) + dt.timedelta(hours=i):%Y-%m-%dT%H:%M},{row}"
        for i, row in enumerate(rows)
    ]
    return "\n".join([f"time_utc,{header}", *lines])


@pytest.mark.parametrize(
    ("header", "rows", "said"),
    [
        ("temperature_c,humidity_pct", ["20,0.5", "21,0.98"], "2: humidity_pct is never above "
         "0.98 %.*0 to 1: say humidity_fraction as the column name"),
        ("temperature_c,humidity_fraction", ["20,0.5", "21,50"], "3: humidity_fraction 50 .*looks "
         "like %: say humidity_pct"),
        ("temperature_c,humidity_pct", ["59,50", "77,50"],
         "2: a dew point of .*from temperature_c 59 °C.*looks like °F: say temperature_f"),
        ("temperature_c,dew_point_c", ["59,30", "77,30"], "3: temperature_c 77 °C is out of "
         "range.*looks like °F: say temperature_f"),
        ("temperature_c,dew_point_c", ["45,10", "50,10"] * 13, "2: temperature_c is above 43 °C "
         "for 24 h on end.*looks like °F: say temperature_f"),
        ("temperature_c,dew_point_c", ["293.1,283", "294,283"], "2: temperature_c 293.1 °C.*looks "
         "like K: say temperature_k"),
        ("temperature_c,dew_point_c", ["20,50", "21,50"], "2: dew_point_c 50 °C is above "
         "temperature_c 20 °C.*if it is in °F, say dew_point_f"),
        ("temperature_c,dew_point_c", ["20,283", "21,283"], "2: dew_point_c 283 °C.*looks like K: "
         "say dew_point_k"),
        ("temperature_f,dew_point_f", ["293,283", "294,283"], "2: temperature_f 293 °F.*-76 to "
         "140 °F; it looks like K: say temperature_k"),
        ("temperature_k,dew_point_c", ["20,10", "21,10"], "2: temperature_k 20 K.*looks like °C: "
         "say temperature_c"),
        ("temperature_c,humidity_pct", ["20,120", "21,50"], "2: humidity_pct 120 % is out of"),
        ("temperature_c,humidity_pct", ["-70,50", "21,50"], "2: temperature_c -70 °C is out of"),
    ],
)  # fmt: skip
def test_units_mistaken_are_refused_with_line_column_and_what_to_say(
    tmp_path: Path, header: str, rows: list[str], said: str
) -> None:
    with pytest.raises(WeatherError, match=rf"w.csv:{said}"):
        loaded(tmp_path, _hours(header, *rows))


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("temperature_f,humidity_fraction", "77,0.5"),
        ("temperature_k,humidity_pct", "298.15,50"),
        ("Temperature [°F],Relative humidity [%]", "77,50"),
        ("air_temperature (K),humidity (1)", "298.15,0.5"),
    ],
)
def test_what_the_hints_advise_is_read(tmp_path: Path, header: str, row: str) -> None:
    weather = loaded(tmp_path, _hours(header, row, row))
    expected = (25.0, 0.5 * air.saturation_over_water_pa(25.0))
    assert weather.at(weather.times_s[0]) == pytest.approx(expected)


def test_a_heat_wave_in_the_hottest_places_is_not_mistaken_for_fahrenheit(tmp_path: Path) -> None:
    # Death Valley, 12 July 2012: 53.3 °C by day and 41.7 °C by night, the warmest 24 h of its
    # record; Dhahran, 8 July 2003: dew point 35 °C at 42 °C (both from memory).
    rows = ["53.3,5" if hour % 24 in range(10, 20) else "41.7,5" for hour in range(72)]
    assert len(loaded(tmp_path, _hours("temperature_c,dew_point_c", *rows)).times_s) == 72
    assert loaded(tmp_path, _hours("temperature_c,dew_point_c", "42,35", "42,35"))


def test_an_unknown_header_says_what_was_seen_and_what_is_read(tmp_path: Path) -> None:
    with pytest.raises(WeatherError) as raised:
        loaded(tmp_path, "Datum,Temp,Feuchte\n2020-06-01,20,50\n")
    message = str(raised.value)
    assert "w.csv:1: no column for a time; expected time or time_utc or time_standard" in message
    assert "seen 'datum, temp, feuchte'" in message
    for known in ("EPW", "TMY3", "global-hourly", "LCD", "temperature_c"):
        assert known in message


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_lines_are_counted_as_an_editor_counts_them(tmp_path: Path, ending: str) -> None:
    path = tmp_path / "w.csv"
    lines = ["# a\x85b\x0cc", "time_utc,temperature_c,dew_point_c", "2020-06-01T00:00,cold,10"]
    path.write_bytes(ending.join(lines).encode("latin-1"))
    with pytest.raises(WeatherError, match=r"w.csv:3: temperature_c 'cold'"):
        load_weather(path)
