"""Weather files: the shipped ones, a user's own, typical years, gaps and errors."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from controller import air
from simulators.weather import TypicalYear, Weather, WeatherError, load_weather
from simulators.weather.heat_wave import lines as heat_wave_lines

HOUR, DAY = 3600.0, 86_400.0


def utc(text: str) -> float:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC).timestamp()


def written(folder: Path, text: str, name: str = "w.csv") -> Weather:
    path = folder / name
    path.write_text(text, "utf-8")
    weather = load_weather(path)
    assert isinstance(weather, Weather)
    return weather


def test_the_hot_july_is_as_hot_as_its_source_says() -> None:
    weather = load_weather("coastal-city-2013-07")
    assert isinstance(weather, Weather)
    assert max(weather.temperatures_c) == pytest.approx(37.2)
    assert weather.at(utc("2013-07-01T00:00"))[0] == pytest.approx(23.9)
    dew_c = air.dew_point_of_vapour_pressure_c(weather.at(utc("2013-07-01T00:00"))[1])
    assert dew_c == pytest.approx(20.6, abs=1e-6)


def test_hours_are_interpolated() -> None:
    weather = load_weather("coastal-city-2013-07")
    assert isinstance(weather, Weather)
    between = weather.at(utc("2013-07-01T00:45"))
    first, second = weather.at(utc("2013-07-01T00:00")), weather.at(utc("2013-07-01T01:00"))
    for one, two, middle in zip(first, second, between, strict=True):
        assert middle == pytest.approx(one + 0.75 * (two - one))


def test_a_whole_local_year_is_covered_and_what_was_made_up_is_said() -> None:
    weather = load_weather("airfield-2013").covering(
        utc("2013-01-01T05:00"), utc("2014-01-01T05:00")
    )
    said = "; ".join(weather.notes)
    assert "14 gaps in the weather bridged by a straight line, the longest of 6 h" in said
    assert "no data for the first 1 h" in said
    assert "no data for the last 1 d 6 h; they repeat the day before" in said
    assert weather.times_s[0] <= utc("2013-01-01T05:00")
    assert weather.times_s[-1] >= utc("2014-01-01T05:00")
    # The made-up evening is that of the day before.
    assert weather.at(utc("2013-12-31T12:00")) == pytest.approx(weather.at(utc("2013-12-30T12:00")))


def test_days_without_weather_are_refused_with_the_days_there_are() -> None:
    with pytest.raises(WeatherError, match=r"covers 2013-07-01 00:00 UTC to 2013-07-31 23:00 UTC"):
        load_weather("coastal-city-2013-07").covering(
            utc("2014-07-01T00:00"), utc("2014-07-02T00:00")
        )


def test_an_unknown_file_names_the_shipped_ones() -> None:
    with pytest.raises(WeatherError, match="invented-heat-wave") as raised:
        load_weather("no-such-weather")
    assert raised.value.status == 2


def test_a_users_file_may_be_in_fahrenheit_with_humidity_and_semicolons(tmp_path: Path) -> None:
    weather = written(
        tmp_path,
        "\ufeff# from my own station\nTime;Humidity_pct;temperature_F;rain\n"
        "2020-06-01T12:00:00+02:00;50;77;0\n\n2020-06-01T13:00:00+02:00;55;86;1\n",
    )
    at = utc("2020-06-01T10:00")
    assert weather.at(at) == pytest.approx((25.0, 0.5 * air.saturation_vapour_pressure_pa(25.0)))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("time,temperature_c\n2020-06-01T12:00Z,20\n", "w.csv:1: no column for a humidity"),
        ("when,temperature_c,dew_point_c\n", "w.csv:1: no column for a time"),
        (
            "time,temperature_c,temperature_f,dew_point_c\n",
            "w.csv:1: several columns for a temperature",
        ),
        ("time,temperature_c,dew_point_c\n2020-06-01T12:00,20,10\n", "w.csv:2: .*lacks its zone"),
        ("time,temperature_c,dew_point_c\nyesterday,20,10\n", "w.csv:2: 'yesterday' is not a time"),
        (
            "time,temperature_c,dew_point_c\n2020-06-01T12:00Z,68,10\n",
            "w.csv:2: temperature_c 68 °C.*say temperature_f",
        ),
        ("time,temperature_c,dew_point_c\n2020-06-01T12:00Z,20,25\n", "w.csv:2: dew_point_c 25 °C"),
        (
            "time,temperature_c,dew_point_c\n2020-06-01T12:00Z,2O,10\n",
            "w.csv:2: temperature_c '2O'",
        ),
        (
            "time,temperature_c,dew_point_c\n2020-06-01T12:00Z,inf,10\n",
            "w.csv:2: temperature_c 'inf'",
        ),
        ("time,temperature_c,dew_point_c\n2020-06-01T12:00Z,20\n", "w.csv:2: 2 values; expected 3"),
        (
            "time,temperature_c,dew_point_c\n2020-06-01T12:00Z,20,10\n2020-06-01T11:00Z,20,10\n",
            "w.csv:3: this time is before that of line 2",
        ),
        ("time,temperature_c,dew_point_c\n2020-06-01T12:00Z,20,10\n", "1 usable lines"),
    ],
)
def test_errors_name_the_line_and_what_was_expected(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(WeatherError, match=said):
        written(tmp_path, text)


def _hours(*hours: int) -> str:
    rows = "".join(f"2020-06-{1 + h // 24:02}T{h % 24:02}:00Z,{20 + h},10\n" for h in hours)
    return "time,temperature_c,dew_point_c\n" + rows


def test_gaps_are_bridged_up_to_a_bound_and_longer_ones_refused(tmp_path: Path) -> None:
    short = written(tmp_path, _hours(0, 1, 2, 3, 4, 10, 11))
    covered = short.covering(utc("2020-06-01T00:00"), utc("2020-06-01T11:00"))
    assert any("the longest of 6 h" in note for note in covered.notes)
    assert covered.at(utc("2020-06-01T07:00"))[0] == pytest.approx(27.0)
    long = written(tmp_path, _hours(0, 1, 2, 3, 4, 11, 12))
    with pytest.raises(WeatherError, match=r"w.csv:6: nothing between .*04:00 UTC and .*11:00 UTC"):
        long.covering(utc("2020-06-01T00:00"), utc("2020-06-01T12:00"))
    # A gap outside the days asked for is nobody's business.
    long.covering(utc("2020-06-01T00:00"), utc("2020-06-01T04:00"))


def test_an_empty_value_is_a_gap(tmp_path: Path) -> None:
    weather = written(tmp_path, _hours(0, 1) + "2020-06-01T02:00Z,,10\n2020-06-01T03:00Z,26,10\n")
    assert len(weather.times_s) == 3


def test_weather_that_ships_says_when_its_heat_comes_in_another_zone() -> None:
    """15:00 in New York, UTC-4 in July, is 19:00 UTC: 21:00 in Rome, UTC+2."""
    (note,) = load_weather("coastal-city-2013-07", "Europe/Rome").notes
    assert "by this tent's clock its hottest hour is about 21:00" in note
    assert load_weather("coastal-city-2013-07", "America/Chicago").notes == ()


def test_the_heat_wave_says_that_it_is_invented() -> None:
    weather = load_weather("invented-heat-wave")
    assert isinstance(weather, Weather)
    assert "INVENTED" in weather.notes[0]
    assert 37.0 < max(weather.temperatures_c) < 38.5


def test_the_heat_wave_file_is_what_its_module_writes() -> None:
    import simulators.weather

    folder = Path(simulators.weather.__file__).parent
    shipped = (folder / "invented-heat-wave.csv").read_text("utf-8").splitlines()
    assert shipped == list(heat_wave_lines())


def _typical_year(folder: Path, hours: int = 8760) -> Path:
    """A made-up file in the TMY3 layout; the months come from different years."""
    head = '723170,"SOMEWHERE",NC,-5.0,36.100,-79.950,273\n'
    columns = "Date (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),Dry-bulb (C),Dew-point (C)\n"
    rows = []
    first = dt.datetime(2001, 1, 1)
    for hour in range(hours):
        day = first + dt.timedelta(hours=hour)
        year = 1980 + day.month
        rows.append(f"{day:%m/%d}/{year},{day.hour + 1:02}:00,0,{hour / 1000:.3f},-5.0\n")
    path = folder / "typical.csv"
    path.write_text(head + columns + "".join(rows))
    return path


def test_a_typical_year_is_put_on_the_year_asked_for(tmp_path: Path) -> None:
    typical = load_weather(_typical_year(tmp_path))
    assert isinstance(typical, TypicalYear)
    weather = typical.covering(utc("2024-02-28T05:00"), utc("2024-03-02T05:00"))
    # 28 February, 01:00 local, is the first hour of day 59: the 58 days before it have 1392.
    assert weather.at(utc("2024-02-28T06:00"))[0] == pytest.approx(1.392)
    assert weather.at(utc("2024-02-29T06:00"))[0] == pytest.approx(1.392)
    assert weather.at(utc("2024-03-01T06:00"))[0] == pytest.approx(1.416)
    assert any("typical year" in note for note in weather.notes)


def test_a_typical_year_that_is_cut_off_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match="8000 hours; expected a year of 8760"):
        load_weather(_typical_year(tmp_path, 8000))


@pytest.mark.parametrize(
    ("column", "value", "expected_pa"),
    [
        # WMO-No. 8 chapter 4: stations report over water, in frost too. Vapour pressures over
        # supercooled water from the Smithsonian table 94 (from memory): 286.27 Pa at −10 °C.
        ("dew_point_c", "-10", 286.27),
        ("humidity_pct", "80", 0.80 * 421.48),
    ],
)
def test_what_stations_report_in_frost_is_over_water(
    tmp_path: Path, column: str, value: str, expected_pa: float
) -> None:
    rows = f"2020-01-01T12:00Z,-5,{value}\n2020-01-01T13:00Z,-5,{value}\n"
    weather = written(tmp_path, f"time,temperature_c,{column}\n{rows}")
    assert weather.vapour_pa[0] == pytest.approx(expected_pa, rel=4e-3)
