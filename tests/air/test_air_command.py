"""`lungwort air`: what it prints, draws and refuses."""

import argparse
import datetime as dt
import json
from zoneinfo import ZoneInfo

import pytest

from controller.commands import air as command
from controller.errors import UserError
from controller.record import ReadingRow, RecordWriter

CONFIG = """\
tent: {{name: Test tent, width: 32 in, depth: 32 in, height: 63 in, elevation: {elevation}}}
place: {{timezone: Europe/Rome}}
lamp: {{power: 150 W, photoperiod: {{on: "06:00", off: "22:00"}}}}
fan: {{drive: pwm, pin: 12}}
sensors: [{{name: tent, role: tent, driver: dht22, pin: 4}}]
targets:
  day: {{temperature: [21 °C, 24 °C], humidity: [40 %, 70 %], vpd: [0.6 kPa, 1.6 kPa]}}
  night: {{temperature: [16 °C, 20 °C], humidity: [40 %, 80 %], vpd: [0.3 kPa, 1.6 kPa]}}
record: {{path: "{record}"}}
"""


def lungwort_air(*arguments):
    parser = argparse.ArgumentParser()
    command.add(parser.add_subparsers())
    args = parser.parse_args(["air", *map(str, arguments)])
    return args.run(args)


def refusal(*arguments):
    with pytest.raises(UserError) as caught:
        lungwort_air(*arguments)
    return caught.value


@pytest.fixture
def tent(tmp_path):
    """A config beside a record with the hours of 18 July 2013, local time."""
    record = tmp_path / "tent.sqlite3"
    config = tmp_path / "tent.yaml"
    config.write_text(CONFIG.format(record=record, elevation="500 m"), encoding="utf-8")
    midnight = dt.datetime(2013, 7, 18, tzinfo=ZoneInfo("Europe/Rome")).timestamp()
    with RecordWriter(record, durable=False) as writer:
        for hour in range(1, 25):
            writer.reading(
                ReadingRow(
                    at_ms=round((midnight + hour * 3600) * 1000),
                    interval_s=3600.0,
                    tent_temperature_c=18.0 + hour / 3.0 if hour != 5 else None,
                    tent_humidity_pct=70.0 - hour if hour != 5 else None,
                    fan_speed=0.5,
                    fan_on_s=3600.0,
                    lamp_on=6 < hour <= 22,
                    lamp_on_s=3600.0,
                    in_fan_hours=True,
                    rule="schedule",
                )
            )
    return config


def test_json_has_the_documented_keys_and_the_right_air(capsys):
    assert lungwort_air("--temperature", "25 °C", "--humidity", "50 %", "--json") == 0
    values = json.loads(capsys.readouterr().out)
    # psychrolib 2.5.0 at 25 °C, 50 %, sea level.
    assert values["dew_point_c"] == pytest.approx(13.864, abs=1e-3)
    assert values["wet_bulb_c"] == pytest.approx(17.889, abs=1e-3)
    assert values["humidity_ratio_kg_per_kg"] == pytest.approx(0.00988104, rel=1e-6)
    assert values["enthalpy_j_per_kg"] == pytest.approx(50322.0, abs=1.0)
    assert values["specific_volume_m3_per_kg"] == pytest.approx(0.858043, rel=1e-6)
    assert values["vpd_pa"] == pytest.approx(1584.61, abs=0.01)
    assert values["density_kg_per_m3"] == pytest.approx(1.00988104 / 0.858043, rel=1e-6)
    assert values["temperature_c"] == 25.0
    assert values["humidity_pct"] == 50.0
    assert values["absolute_humidity_kg_per_m3"] == pytest.approx(0.01151, rel=1e-3)
    assert values["leaf_vpd_pa"] is None


def test_table_comes_in_fahrenheit_when_asked_in_fahrenheit(capsys):
    lungwort_air("--temperature", "77 °F", "--humidity", "50 %")
    lines = capsys.readouterr().out.splitlines()
    shown = {line[:19].strip(): line[19:].strip() for line in lines}
    assert shown["temperature"] == "77.0 °F"
    assert shown["dew point"] == "57.0 °F"  # 13.864 °C
    # ASHRAE Fundamentals (IP) 2017 ch. 1: h = 0.240 t + W (1061 + 0.444 t), 0.00988 lb/lb.
    assert shown["enthalpy"].startswith("29.3 Btu/lb")
    assert shown["humidity ratio"].startswith("69.2 gr/lb")
    assert shown["specific volume"].startswith("13.74 ft³/lb")
    assert shown["pressure"].startswith("29.92 inHg")


def test_table_comes_in_celsius_otherwise(capsys):
    lungwort_air("--dew-point", "13.864 °C", "--vpd", "1.5846 kPa")
    out = capsys.readouterr().out
    assert "25.0 °C" in out
    assert "50.0 %" in out
    assert "°F" not in out


def test_leaf_offset_gives_the_leafs_vpd(capsys):
    lungwort_air("--temperature", "25 °C", "--humidity", "60 %", "--leaf-offset=-2 K", "--json")
    values = json.loads(capsys.readouterr().out)
    assert values["leaf_temperature_c"] == 23.0
    assert values["leaf_vpd_pa"] == pytest.approx(908.9, abs=0.1)


def test_elevation_thins_the_air(capsys):
    lungwort_air("--temperature", "25 °C", "--humidity", "50 %", "--elevation", "1000 m", "--json")
    values = json.loads(capsys.readouterr().out)
    assert values["humidity_ratio_kg_per_kg"] == pytest.approx(0.0111625, rel=1e-5)
    assert values["pressure_pa"] == pytest.approx(89875.0, abs=1.0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--temperature", "20 °C", "--dew-point", "21 °C"], "above the temperature (20.0 °C)"),
        (["--temperature", "68 °F", "--dew-point", "70 °F"], "above the temperature (68.0 °F)"),
        (["--temperature", "24", "--humidity", "60 %"], "--temperature: 24 has no unit"),
        (["--temperature", "24 °C", "--humidity", "160 %"], "0 to 100 %"),
        (["--temperature", "24 °C"], "exactly two"),
        ([], "exactly two"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--vpd", "1 kPa"], "got 3"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--elevation", "20000 m"], "11000 m"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--leaf-offset", "40 K"], "-15 to 15 K"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--plot", "air.gif"], ".png, .svg, .pdf"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--plot", "none/a.png"], "no directory"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--day", "today"], "--plot and --config"),
        (["--temperature", "24 °C", "--humidity", "60 %", "--record", "x"], "needs --config"),
    ],
)
def test_what_makes_no_sense_is_refused_with_status_2(arguments, words):
    error = refusal(*arguments)
    assert words in error.message
    assert error.status == 2


def test_newest_reading_is_taken_with_only_a_config(tent, capsys):
    assert lungwort_air("--config", tent, "--json") == 0
    values = json.loads(capsys.readouterr().out)
    assert values["time"] == "2013-07-19T00:00:00+02:00"
    assert values["temperature_c"] == 26.0
    assert values["humidity_pct"] == 46.0
    assert values["elevation_m"] == 500.0


def test_table_says_where_the_crops_bands_put_the_air(tent, capsys):
    lungwort_air("--config", tent, "--temperature", "22 °C", "--humidity", "85 %")
    out = capsys.readouterr().out
    assert "in the day band, above the night band" in out
    assert "above the day band, above the night band" in out
    assert "below the day band, in the night band" in out  # VPD 0.40 kPa


def test_a_planned_tents_chart_shows_its_bands_alone(tmp_path, capsys):
    config = tmp_path / "tent.yaml"
    record = tmp_path / "none.sqlite3"
    config.write_text(CONFIG.format(record=record, elevation="0 m"), encoding="utf-8")
    assert lungwort_air("--config", config, "--plot", tmp_path / "a.svg") == 0
    assert (tmp_path / "a.svg").exists()
    assert "bands alone" in capsys.readouterr().err


def test_a_record_without_readings_is_reported(tmp_path):
    record = tmp_path / "tent.sqlite3"
    config = tmp_path / "tent.yaml"
    config.write_text(CONFIG.format(record=record, elevation="0 m"), encoding="utf-8")
    with RecordWriter(record, durable=False):
        pass
    assert "no reading yet" in refusal("--config", config).message


@pytest.mark.parametrize("chart", ["psychrometric", "vpd"])
@pytest.mark.parametrize(
    ("suffix", "magic"), [(".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF")]
)
def test_chart_is_written_in_the_format_of_its_suffix(tent, tmp_path, chart, suffix, magic, capsys):
    picture = tmp_path / f"air{suffix}"
    lungwort_air("--config", tent, "--day", "2013-07-18", "--plot", picture, "--chart", chart)
    assert picture.read_bytes().startswith(magic)
    assert str(picture) in capsys.readouterr().out
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


def test_a_day_is_the_local_one_without_its_untrusted_readings(tent):
    from controller.config import load_settings

    settings = load_settings(tent).settings
    readings, name = command._readings(settings, settings.record_path, "2013-07-18")
    assert name == "Thursday 18 July 2013"
    assert len(readings) == 23
    assert readings[0].temperature_c == pytest.approx(18.0 + 1 / 3.0)
    assert readings[-1].temperature_c == 26.0  # the hour that ends at midnight
    assert sum(reading.lit for reading in readings) == 16
    # A time beside the first reading of each quarter of the day; 05:00 is missing.
    assert [r.mark for r in readings if r.mark] == ["01:00", "06:00", "12:00", "18:00"]


def test_a_reading_that_ends_at_midnight_belongs_to_the_day_before(tent, tmp_path):
    picture = tmp_path / "a.svg"
    assert lungwort_air("--config", tent, "--day", "newest", "--plot", picture) == 0


def test_a_day_without_readings_is_reported(tent, tmp_path):
    error = refusal("--config", tent, "--day", "2013-07-20", "--plot", tmp_path / "a.png")
    assert "no reading on 2013-07-20" in error.message


def test_cold_airs_enthalpy_has_the_sign_that_temperatures_have(capsys):
    # By hand: 1.006 · −5 + 0.00198 · (2501 − 1.86 · 5) = −0.1 kJ/kg.
    lungwort_air("--temperature=-5 °C", "--humidity", "80 %")
    assert "−0.1 kJ/kg" in capsys.readouterr().out
