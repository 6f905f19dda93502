"""`lungwort review` as it is typed."""

import argparse
import json
from pathlib import Path

import pytest

from controller.commands import review
from controller.config import ConfigError, load_settings
from controller.errors import UserError
from controller.record import RecordWriter
from controller.record.rows import ReadingRow

START_MS = 1_374_105_600_000  # 2013-07-18 00:00 UTC
CONFIG = """\
tent: {{name: test tent, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: UTC}}
lamp: {{power: 150 W, photoperiod: {{on: "06:00", off: "22:00"}}}}
fan: {{drive: relay, pin: 17, power: 20 W}}
sensors: [{{name: canopy, role: tent, driver: simulated}}]
targets: {{day: {{temperature: [21 °C, 25 °C]}}}}
record: {{path: {path}}}
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "tent.yaml"
    path.write_text(CONFIG.format(path=tmp_path / "record.sqlite3"), encoding="utf-8")
    loaded = load_settings(path)
    with RecordWriter(tmp_path / "record.sqlite3", durable=False) as writer, writer.together():
        writer.config(START_MS, loaded.text, loaded.sha256)
        for minute in range(1, 1441):
            lit = 360 < minute <= 1320
            writer.reading(
                ReadingRow(
                    at_ms=START_MS + minute * 60_000, interval_s=60.0,
                    tent_temperature_c=26.0 if 720 < minute <= 780 else 23.0,
                    tent_humidity_pct=55.0, tent_vpd_pa=1260.0, fan_speed=float(lit),
                    fan_on_s=60.0 * lit, lamp_on=lit, lamp_on_s=60.0 * lit, in_fan_hours=lit,
                    rule="schedule",
                )
            )  # fmt: skip
        writer.event(START_MS + 1000, "daemon.started")
    return path


def call(*argv: object) -> int:
    parser = argparse.ArgumentParser(prog="lungwort")
    review.add(parser.add_subparsers())
    args = parser.parse_args(["review", *map(str, argv)])
    status: int = args.run(args)
    return status


def test_the_newest_day_on_the_screen(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(config) == 0
    out = capsys.readouterr().out
    assert out.startswith("Thursday 18 July 2013: 26.0 °C at 12:01, 1 h too hot")


def test_json_is_one_object_in_si(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(config, "--json", "--day", "2013-07-18") == 0
    made = json.loads(capsys.readouterr().out)
    assert made["temperature"]["minutes_above"] == 60.0
    assert (made["fan_hours"], made["fan_starts"]) == (16.0, 1)
    assert made["energy_kwh"] == pytest.approx(0.32)
    assert made["cost"] is None


def test_a_page_is_written_whole(
    config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "day.html"
    assert call(config, "--html", target) == 0
    assert target.read_text("utf-8").startswith("<!DOCTYPE html>")
    assert "Written to" in capsys.readouterr().err
    assert [path.name for path in tmp_path.glob("*.part")] == []


def test_a_page_that_cannot_be_written_is_one_line(config: Path, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot write"):
        call(config, "--html", tmp_path / "no such folder" / "day.html")


def test_csv_goes_to_the_output(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(config, "--csv", "readings") == 0
    assert capsys.readouterr().out.count("\n") == 1441
    assert call(config, "--csv", "events") == 0
    assert "daemon.started" in capsys.readouterr().out


def test_several_days_have_a_row_each(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(config, "--from", "2013-07-17", "--to", "2013-07-19") == 0
    out = capsys.readouterr().out
    assert "Thu 18 Jul" in out and "Fri 19 Jul" in out


def test_another_record_can_be_named(config: Path, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no record yet"):
        call(config, "--record", tmp_path / "other.sqlite3")


def test_a_bad_config_is_reported_with_its_place(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text("tent: {}\n", encoding="utf-8")
    with pytest.raises((ConfigError, UserError)):
        call(path)


def test_forms_exclude_each_other(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        call(config, "--json", "--csv", "events")
    assert "not allowed with" in capsys.readouterr().err
