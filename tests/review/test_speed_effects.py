"""What a review says that modulated speeds brought and cost: only what the record bears out."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import jsonschema
import pytest
from rehearsed_records import FIRST, swinging, write_record

from controller.config import settings_from_text
from controller.record import RecordReader
from controller.review.open_record import Asked, open_source
from controller.review.overrides import Override
from controller.review.report import Review, build
from controller.review.views.cause_words import override_effect, speed_effect_words
from controller.review.views.json_schema import schema
from controller.review.views.json_view import document

CONFIG = """\
tent: {name: modulated, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, power: 20 W, free_flow: 187 m³/h, max_pressure: 150 Pa}
duct: {diameter: 10 cm, length: 2 m, bends: 1, arrangement: both_outside}
schedule: {pre_run: 0 min, run_on: 0 min, day_speed: 30 %, night_speed: 0 %}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
  - {name: inlet, role: intake, driver: dht22, pin: 17}
targets:
  day: {temperature: [21 °C, 26 °C], humidity: [20 %, 90 %], vpd: [0.3 kPa, 3 kPa]}
  night: {temperature: [16 °C, 30 °C], humidity: [20 %, 90 %], vpd: [0.3 kPa, 3 kPa]}
  heat_warning: 35 °C
alarms: {severe_heat: 40 °C}
crop: {kind: pepper, plants: 4, stage: fruiting}
"""


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day in air that stays as it is: too hot as long as the lamp is lit."""
    path = tmp_path_factory.mktemp("speeds") / "record.sqlite3"
    write_record(path, settings_from_text(CONFIG), swinging(25.5, 0.0, 50.0), 1)
    return path


def reviewed(path: Path) -> Review:
    with open_source(settings_from_text(CONFIG), path, Asked(day=str(FIRST))) as source:
        return build(source, settings_from_text(CONFIG).settings)


def longest(review: Review) -> Override:
    return max(review.overrides, key=lambda override: override.minutes)


def test_what_speeds_brought_and_cost_is_said_beside_the_schedule_and_full_speed(
    steady: Path,
) -> None:
    review = reviewed(steady)
    override = longest(review)
    effect = override.speed_effect
    assert effect is not None
    assert effect.modelled == pytest.approx(effect.observed, abs=0.5)
    assert effect.at_scheduled > effect.modelled > effect.at_fastest
    assert effect.scheduled_kwh < effect.energy_kwh < effect.fastest_kwh
    # By hand: 20 W, at three tenths of the speed 0.027 of it, for as long as the override ruled.
    hours = override.deciding_minutes / 60.0
    assert effect.fastest_kwh == pytest.approx(0.020 * hours, rel=0.06)
    assert effect.scheduled_kwh == pytest.approx(0.020 * 0.027 * hours, rel=0.06)
    words = speed_effect_words(review, override)
    assert words.startswith("at speeds worth their power ")
    assert " cooler on average than at the scheduled one, for " in words
    assert "; at 100 % " in words
    assert "(modelled " in words


def test_what_full_speed_would_bring_is_what_it_brings_in_the_simulated_tent(
    steady: Path, tmp_path: Path
) -> None:
    effect = longest(reviewed(steady)).speed_effect
    assert effect is not None
    path = tmp_path / "full.sqlite3"
    full = CONFIG.replace("day_speed: 30 %", "day_speed: 100 %")
    write_record(path, settings_from_text(full), swinging(25.5, 0.0, 50.0), 1)

    def afternoon_c(record: Path) -> float:
        with RecordReader(record) as reader:
            rows = [row for row in reader.readings() if 0.5 < row.at_ms / 86.4e6 % 1.0 < 0.8]
        values = [row.tent_temperature_c for row in rows if row.tent_temperature_c is not None]
        return sum(values) / len(values)

    brought_k = afternoon_c(steady) - afternoon_c(path)
    assert effect.modelled - effect.at_fastest == pytest.approx(brought_k, abs=0.1)


@pytest.mark.parametrize(
    "spoil",
    [
        # Three hours away: the simulation would leap over them.
        "DELETE FROM readings WHERE at_ms % 86400000 BETWEEN 36000000 AND 46800000",
        # Hotter than the model lets expect: not the tent of the config.
        "UPDATE readings SET tent_temperature_c = tent_temperature_c + 3.0",
        # Nothing to simulate in.
        "UPDATE readings SET intake_temperature_c = NULL",
        # As warm without the lamp as with it.
        "UPDATE readings SET lamp_on_s = 0.0",
        # Speeds that the law did not choose.
        "UPDATE configs SET sha256 = 'another', yaml = yaml || 'overrides: {law: fixed}'",
        """UPDATE configs SET sha256 = 'another',
           yaml = yaml || 'quiet: {from: "00:00", to: "23:59", speed: 30 %}'""",
    ],
)
def test_nothing_is_said_where_the_record_does_not_bear_it_out(
    steady: Path, tmp_path: Path, spoil: str
) -> None:
    path = tmp_path / "spoilt.sqlite3"
    path.write_bytes(steady.read_bytes())
    with sqlite3.connect(path) as connection:
        connection.execute(spoil)
    connection.close()
    review = reviewed(path)
    assert longest(review).speed_effect is None
    assert speed_effect_words(review, longest(review)) == ""


def test_quiet_hours_cap_the_scheduled_speed_and_the_fastest(steady: Path, tmp_path: Path) -> None:
    """The cap is the 70 % that the law ran all day; the schedule would have asked for more."""
    path = tmp_path / "quiet.sqlite3"
    path.write_bytes(steady.read_bytes())
    with sqlite3.connect(path) as connection:
        connection.execute(
            """UPDATE configs SET sha256 = 'another', yaml = replace(
                yaml, 'day_speed: 30 %', 'day_speed: 90 %'
            ) || 'quiet: {from: "00:00", to: "23:59", speed: 70 %}'"""
        )
        connection.execute("UPDATE readings SET rule = 'quiet' WHERE fan_speed > 0.69")
    connection.close()
    review = reviewed(path)
    override = longest(review)
    effect = override.speed_effect
    assert effect is not None
    assert effect.fastest == pytest.approx(0.7)
    # But for the minutes in which the law ran it slower yet, all three are alike.
    assert effect.scheduled_kwh == pytest.approx(effect.energy_kwh, rel=0.06)
    assert effect.at_scheduled == pytest.approx(effect.modelled, abs=0.05)
    assert override.quiet_minutes > 600.0
    assert "kept to the quiet speed for " in override_effect(review, override)


def test_the_document_has_it_as_its_schema_says(steady: Path) -> None:
    made = document(reviewed(steady))
    jsonschema.validate(made, schema())
    effects = [override["speed_effect"] for override in made["overrides"]]
    (found,) = [effect for effect in effects if effect is not None]
    assert found["text"].startswith("at speeds worth their power")
    assert found["at_fastest"] < found["modelled"] < found["at_scheduled"]
