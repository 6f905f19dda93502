"""Published weather formats, each from files written here as its description says.

EPW: US DOE, "Auxiliary Programs", EnergyPlus Weather File (EPW) Data Dictionary.
Global hourly: NOAA/NCEI, Integrated Surface Dataset, CSV and format documentation.
LCD: NOAA/NCEI, Local Climatological Data documentation.
TMY3: Wilcox & Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156.
All four from memory: layout, names of columns, units, markers for missing and suspect values.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest
from examples import examples
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from controller import air
from simulators.weather import TypicalYear, Weather, WeatherError, load_weather

HOUR = 3600.0
EASTERN = dt.timezone(dt.timedelta(hours=-5))


class Air(NamedTuple):
    """Outdoor air at an instant [°C]."""

    at: dt.datetime
    temperature_c: float
    dew_point_c: float

    @property
    def humidity_pct(self) -> float:
        return (
            100.0
            * air.saturation_over_water_pa(self.dew_point_c)
            / air.saturation_over_water_pa(self.temperature_c)
        )


def in_fahrenheit(value_c: float) -> float:
    return value_c * 1.8 + 32.0


def epw(hours: Iterable[Air], utc_offset_h: float = -5.0) -> str:
    """Eight header lines, then 35 values an hour; the hour is counted by its end, 1 to 24."""
    lines = [
        f"LOCATION,Somewhere,ST,XXX,Custom,999999,40.0,-74.0,{utc_offset_h},10.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,made for a test",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]
    zone = dt.timezone(dt.timedelta(hours=utc_offset_h))
    for hour in hours:
        begins = hour.at.astimezone(zone) - dt.timedelta(hours=1)
        lines.append(
            f"{begins.year},{begins.month},{begins.day},{begins.hour + 1},60,?9?9?9,"
            f"{hour.temperature_c:.1f},{hour.dew_point_c:.1f},{hour.humidity_pct:.0f},101300"
            + ",0"
            * 25
        )
    return "\n".join(lines) + "\n"


def global_hourly(hours: Iterable[Air], code: str = "1") -> str:
    """Every value quoted; tenths of a degree with sign, a comma and a quality code; UTC."""
    lines = ['"STATION","DATE","SOURCE","REPORT_TYPE","WND","TMP","DEW","SLP"']
    lines += [
        f'"99999999999","{hour.at.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%S}","4","FM-15",'
        f'"190,1,N,0015,1","{round(hour.temperature_c * 10):+05d},{code}",'
        f'"{round(hour.dew_point_c * 10):+05d},{code}","10132,1"'
        for hour in hours
    ]
    return "\n".join(lines) + "\n"


def lcd(hours: Iterable[Air], *, fahrenheit: bool) -> str:
    """Local standard time; whole °F or tenths of °C by export; a summary at the end of a day."""
    lines = [
        '"STATION","DATE","REPORT_TYPE","HourlyDewPointTemperature","HourlyDryBulbTemperature",'
        '"HourlyRelativeHumidity","DailyMaximumDryBulbTemperature"'
    ]
    for hour in hours:
        local = hour.at.astimezone(EASTERN)
        dry, dew = (
            f"{in_fahrenheit(value):.0f}" if fahrenheit else f"{value:.1f}"
            for value in (hour.temperature_c, hour.dew_point_c)
        )
        lines.append(
            f'"99999999999","{local:%Y-%m-%dT%H:%M:%S}","FM-15","{dew}","{dry}",'
            f'"{hour.humidity_pct:.0f}",""'
        )
        if local.hour == 23:
            lines.append(f'"99999999999","{local:%Y-%m-%d}T23:59:00","SOD","","","","88"')
    return "\n".join(lines) + "\n"


def lcd_fahrenheit(hours: Iterable[Air]) -> str:
    return lcd(hours, fahrenheit=True)


def lcd_celsius(hours: Iterable[Air]) -> str:
    return lcd(hours, fahrenheit=False)


def tmy3(hours: Iterable[Air]) -> str:
    """Two header lines; local standard time, 01:00 to 24:00."""
    lines = [
        '999999,"SOMEWHERE",NJ,-5.0,40.000,-74.000,10',
        "Date (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),Dry-bulb (C),Dry-bulb source,Dew-point (C)",
    ]
    for hour in hours:
        begins = hour.at.astimezone(EASTERN) - dt.timedelta(hours=1)
        lines.append(
            f"{begins:%m/%d/%Y},{begins.hour + 1:02}:00,0,{hour.temperature_c:.1f},A,"
            f"{hour.dew_point_c:.1f}"
        )
    return "\n".join(lines) + "\n"


def loaded(folder: Path, text: str, zone: str | None = "America/New_York") -> Weather:
    path = folder / "w.csv"
    path.write_text(text, "utf-8")
    weather = load_weather(path, zone)
    assert isinstance(weather, Weather)
    return weather


def hours_from(start: dt.datetime, values: Sequence[tuple[float, float]]) -> list[Air]:
    return [
        Air(start + dt.timedelta(hours=i), temperature, temperature - spread)
        for i, (temperature, spread) in enumerate(values)
    ]


def whole_year(seed: int = 1) -> list[Air]:
    dice = random.Random(seed)
    values = [(dice.uniform(-30.0, 40.0), dice.uniform(6.0, 15.0)) for _ in range(8760)]
    return hours_from(dt.datetime(2001, 1, 1, 1, tzinfo=EASTERN), values)


# Starts at hours of the whole day and year, of summer time too.
STARTS = st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2030, 1, 1)).map(
    lambda time: time.replace(minute=0, second=0, microsecond=0, tzinfo=dt.UTC)
)
VALUES = st.lists(st.tuples(st.floats(-35.0, 40.0), st.floats(6.0, 20.0)), min_size=12, max_size=60)


@pytest.mark.parametrize(
    ("written", "resolution_k"),
    [(epw, 0.1), (global_hourly, 0.1), (lcd_celsius, 0.1), (lcd_fahrenheit, 1.0 / 1.8)],
)
@given(start=STARTS, values=VALUES)
@examples(16, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_weather_comes_back_from_each_format_within_its_resolution(
    tmp_path: Path,
    written: Callable[[Iterable[Air]], str],
    resolution_k: float,
    start: dt.datetime,
    values: list[tuple[float, float]],
) -> None:
    hours = hours_from(start, values)
    weather = loaded(tmp_path, written(hours))
    assert list(weather.times_s) == [hour.at.timestamp() for hour in hours]
    for i, hour in enumerate(hours):
        assert weather.temperatures_c[i] == pytest.approx(
            hour.temperature_c, abs=0.5 * resolution_k + 1e-6
        )
        low, high = (
            air.saturation_over_water_pa(hour.dew_point_c + sign * (0.5 * resolution_k + 1e-6))
            for sign in (-1, 1)
        )
        assert low <= weather.vapour_pa[i] <= high


@pytest.mark.parametrize("written", [epw, tmy3])
def test_a_year_of_mixed_years_comes_back_on_the_year_asked_for(
    tmp_path: Path, written: Callable[[Iterable[Air]], str]
) -> None:
    hours = whole_year()
    lines = written(hours).splitlines()
    if written is epw:  # as months of several years, which is what such files hold
        lines = [
            line.replace("2001,", f"{1980 + int(line.split(',')[1]) * 7 % 11},", 1)
            if line.startswith("2001,")
            else line
            for line in lines
        ]
    path = tmp_path / "year"
    path.write_text("\n".join(lines), "utf-8")
    typical = load_weather(path)
    assert isinstance(typical, TypicalYear)
    assert typical.utc_offset_s == -5 * HOUR
    start_s = dt.datetime(2023, 1, 1, 1, tzinfo=EASTERN).timestamp()
    weather = typical.covering(start_s, start_s + 8759 * HOUR)
    assert any("typical year" in note for note in weather.notes)
    for i, hour in enumerate(hours):
        assert weather.at(start_s + i * HOUR)[0] == pytest.approx(hour.temperature_c, abs=0.0501)


@pytest.mark.parametrize(
    ("written", "line", "missing"),
    [(epw, 108, "99.9,99.9,999"), (tmy3, 102, "-9900,?0,-9900")],
)
def test_a_typical_year_bridges_short_gaps_and_names_the_line_of_long_ones(
    tmp_path: Path, written: Callable[[Iterable[Air]], str], line: int, missing: str
) -> None:
    lines = written(whole_year()).replace("\n2001,1,", "\n1999,1,").splitlines()
    path = tmp_path / "year"

    def without(count: int) -> None:
        for i in range(line, line + count):
            cells = lines[i].split(",")
            where = 6 if written is epw else 3
            lines[i] = ",".join([*cells[:where], missing, *cells[where + 3 :]])
        path.write_text("\n".join(lines), "utf-8")

    without(5)
    typical = load_weather(path)
    assert isinstance(typical, TypicalYear)
    start_s = dt.datetime(2023, 1, 1, 1, tzinfo=EASTERN).timestamp()
    assert "1 gap in its file bridged" in "; ".join(typical.covering(start_s, start_s + HOUR).notes)
    without(6)
    with pytest.raises(WeatherError, match=rf"year:{line}: nothing for 7 h after this line"):
        load_weather(path)


START = dt.datetime(2018, 7, 1, 5, tzinfo=dt.UTC)
DAY = hours_from(START, [(20.0 + i / 2, 8.0) for i in range(24)])


def test_an_epw_file_of_a_single_year_keeps_its_dates(tmp_path: Path) -> None:
    weather = loaded(tmp_path, epw(DAY))
    assert weather.times_s[0] == START.timestamp()


def test_an_epw_hour_may_be_written_with_minute_0(tmp_path: Path) -> None:
    weather = loaded(tmp_path, epw(DAY).replace(",60,?", ",0,?"))
    assert weather.times_s[0] == START.timestamp()


def test_an_epw_file_may_have_latin_letters_of_old(tmp_path: Path) -> None:
    path = tmp_path / "w.epw"
    path.write_bytes(epw(DAY).replace("Somewhere", "Perpétuité").encode("latin-1"))
    assert isinstance(load_weather(path), Weather)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (",-5.0,10.0", ",x,10.0", r"w.csv:1: expected the station's line"),
        ("DATA PERIODS", "DATA", r"w.csv: no line DATA PERIODS"),
        ("2018,7,1,1,60", "2018,7,1,25,60", r"w.csv:\d+: expected year, month, day, hour"),
        ("20.0,12.0", "70.5,12.0", r"w.csv:\d+: dry bulb 70.5 °C is out of range"),
        ("20.0,12.0", "cold,12.0", r"w.csv:\d+: dry bulb 'cold' is not a number"),
    ],
)
def test_errors_in_epw_name_the_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    hours = hours_from(dt.datetime(2018, 7, 1, 6, tzinfo=dt.UTC), [(20.0, 8.0)] * 3)
    text = epw(hours)
    assert old in text
    with pytest.raises(WeatherError, match=said):
        loaded(tmp_path, text.replace(old, new, 1))


def test_global_hourly_reads_tenths_of_a_degree_in_utc(tmp_path: Path) -> None:
    text = (
        '"STATION","DATE","SOURCE","TMP","DEW"\n'
        '"1","2018-01-01T00:51:00","7","+0123,1","-0056,5"\n'
        '"1","2018-01-01T01:51:00","7","-0011,A","-0061,C"\n'
    )
    weather = loaded(tmp_path, text, None)
    assert weather.times_s[0] == dt.datetime(2018, 1, 1, 0, 51, tzinfo=dt.UTC).timestamp()
    assert list(weather.temperatures_c) == pytest.approx([12.3, -1.1])
    assert weather.vapour_pa[0] == pytest.approx(air.saturation_over_water_pa(-5.6))


@pytest.mark.parametrize("code", ["2", "3", "6", "7"])
def test_doubted_values_of_global_hourly_are_left_out_and_counted(
    tmp_path: Path, code: str
) -> None:
    lines = global_hourly(DAY).splitlines()
    lines[3] = lines[3].replace('+0210,1"', f'+0210,{code}"')
    weather = loaded(tmp_path, "\n".join(lines))
    assert len(weather.times_s) == 23
    assert any("1 value left out: suspect or wrong" in note for note in weather.notes)


def test_missing_values_of_global_hourly_are_gaps(tmp_path: Path) -> None:
    lines = global_hourly(DAY).splitlines()
    lines[3] = lines[3].replace("+0210,1", "+9999,9")
    lines[5] = lines[5].replace("+0140,1", "+9999,9")
    assert len(loaded(tmp_path, "\n".join(lines)).times_s) == 22


def test_of_several_reports_for_one_time_the_last_valid_counts(tmp_path: Path) -> None:
    lines = global_hourly(DAY).splitlines()
    again = [
        lines[1].replace("+0200,1", "+0250,1"),
        lines[1].replace("+0200,1", "+9999,9").replace("FM-15", "SOD"),
    ]
    weather = loaded(tmp_path, "\n".join([lines[0], lines[1], *again, *lines[2:]]))
    assert weather.temperatures_c[0] == pytest.approx(25.0)
    assert weather.lines[0] == 3
    assert any("1 line repeats" in note and "the last one counts" in note for note in weather.notes)


def test_a_value_of_global_hourly_without_its_code_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match=r"w.csv:2: TMP '20.0'; expected tenths of a degree"):
        loaded(tmp_path, global_hourly(DAY).replace("+0200,1", "20.0"))


def test_an_lcd_file_is_read_in_standard_time_and_says_so(tmp_path: Path) -> None:
    weather = loaded(tmp_path, lcd_fahrenheit(DAY))
    assert weather.times_s[0] == START.timestamp()  # 00:00 EST, 01:00 EDT
    assert "taken to be in °F and in the standard time of America/New_York" in weather.notes[0]


def test_an_lcd_file_needs_the_tents_zone(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match=r"by its place\.timezone"):
        loaded(tmp_path, lcd_celsius(DAY), None)


def test_suspect_and_missing_values_of_lcd_are_left_out(tmp_path: Path) -> None:
    lines = lcd_fahrenheit(DAY).splitlines()
    lines[2] = lines[2].replace('"69"', '"69s"')
    lines[4] = lines[4].replace('"71"', '""')
    weather = loaded(tmp_path, "\n".join(lines))
    assert len(weather.times_s) == 22
    assert any("1 value left out: marked suspect" in note for note in weather.notes)


def test_an_lcd_file_without_a_humidity_that_tells_the_unit_is_refused(tmp_path: Path) -> None:
    foggy = [Air(hour.at, hour.temperature_c, hour.temperature_c) for hour in DAY]
    with pytest.raises(WeatherError, match=r"can't tell whether its temperatures are °F or °C"):
        loaded(tmp_path, lcd_celsius(foggy))


def test_an_lcd_file_without_hourly_dew_points_is_refused(tmp_path: Path) -> None:
    text = lcd_celsius(DAY).replace("HourlyDewPointTemperature", "Other")
    with pytest.raises(WeatherError, match=r"w.csv:1: .*without the column HourlyDewPoint"):
        loaded(tmp_path, text)


@pytest.mark.parametrize("written", [epw, global_hourly, lcd_celsius])
def test_a_long_gap_is_refused_with_its_line(
    tmp_path: Path, written: Callable[[Iterable[Air]], str]
) -> None:
    weather = loaded(tmp_path, written([*DAY[:10], *DAY[18:]]))
    with pytest.raises(WeatherError, match=rf"w.csv:{weather.lines[9]}: nothing between"):
        weather.covering(DAY[0].at.timestamp(), DAY[-1].at.timestamp())
