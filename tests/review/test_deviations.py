"""A review blames nothing that the record contradicts: whole days, each with its own fault."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

sys.path.insert(0, str(Path(__file__).parent.parent / "expectation"))

import jsonschema
import pytest
from review_records import HandRecord
from tent_bodies import CONFIG, START_S, changed, fault, live, room_knots

from controller.config import settings_from_text
from controller.review.excursions import Cause
from controller.review.open_record import Asked, open_source
from controller.review.report import Review, build
from controller.review.views.deviation_words import stronger_fan_words
from controller.review.views.glyphs import Glyphs
from controller.review.views.headline import also, headline
from controller.review.views.json_schema import schema
from controller.review.views.json_view import document
from controller.review.views.quality_words import quality_sentences
from controller.review.views.terminal import screen
from simulators.records import simulated_record
from simulators.rehearsal.faults import Fault

WEAK = changed(
    ("free_flow: 190 m³/h, max_pressure: 250 Pa", "free_flow: 60 m³/h, max_pressure: 120 Pa"),
    ("power: 150 W", "power: 250 W"),
)
NARROW = changed(
    ("temperature: [20 °C, 27 °C]", "temperature: [22.6 °C, 23.2 °C]"),
    ("relay, pin: 17", "relay, pin: 17, min_on: 2 min, min_off: 5 min"),
    ("day_speed: 100 %", "day_speed: 0 %"),
    ("crop:", "overrides: {temperature: {hysteresis: 0.3 K}}\ncrop:"),
)
SLOW_PWM = changed(("relay, pin: 17", "pwm, pin: 18"), ("day_speed: 100 %", "day_speed: 30 %"))
VALIDATOR = jsonschema.Draft202012Validator(schema())
PHOTOCELL = changed(('off: "22:00"}', 'off: "22:00"}, switched_by: photocell, pin: 22'))


class Day:
    """A day that was lived through, and its review in every form."""

    def __init__(self, folder: Path, text: str, **how: Any) -> None:
        path = folder / "day.sqlite3"
        record = simulated_record(path, round(START_S * 1000))
        loaded, _ = live(text, 1.0, record=record, **how)
        record.close()
        with open_source(loaded, path, Asked(day="2025-06-02")) as source:
            self.review: Review = build(source, loaded.settings)
        self.document: dict[str, Any] = json.loads(json.dumps(document(self.review)))
        VALIDATOR.validate(self.document)
        self.headline = headline(self.review)
        self.shown = "\n".join(screen(self.review, [], Glyphs())).replace("\n", " ")
        self.shown = " ".join(self.shown.split())

    def causes(self, quantity: str, side: str) -> dict[str, float]:
        """Minutes by cause of all excursions of a kind."""
        observed: dict[str, float] = {}
        for excursion in self.document["excursions"]:
            if (excursion["quantity"], excursion["side"]) == (quantity, side):
                for cause in excursion["causes"]:
                    observed[cause["cause"]] = observed.get(cause["cause"], 0.0) + cause["minutes"]
        return observed

    def kinds(self) -> set[str]:
        return {one["kind"] for one in self.document["deviations"]}


def test_a_good_day_has_no_deviation(tmp_path: Path) -> None:
    day = Day(tmp_path, CONFIG)
    assert day.kinds() == set()
    assert "expected" not in day.shown


def test_a_dead_fan_is_less_air_and_neither_full_speed_nor_lamp_nor_intake(tmp_path: Path) -> None:
    bare = {"physics": lambda physics: physics._replace(leaf_area_m2=0.0)}
    day = Day(tmp_path, CONFIG, faults=[fault("fan_dead", 0, 9.0)], **bare)
    hot = day.causes("temperature", "above")
    assert hot["less_air_than_expected"] > 500.0
    assert hot.get("fan_at_full_speed", 0.0) < 20.0
    assert "lamp_heat" not in hot
    assert "less air came through than the fan should move" in day.headline
    assert "Look, in this order: does the fan turn, is the filter loaded" in day.shown
    (one,) = day.document["deviations"]
    assert one["kind"] == "less_air"
    assert one["rise_k"] > one["expected_highest_k"] + 2.0
    assert one["air_share"] < 0.2
    # Heat that is slow to go at night is not another lamp.
    assert "dark" not in day.headline


def test_a_loaded_filter_is_less_air_though_nothing_is_out_of_band(tmp_path: Path) -> None:
    day = Day(tmp_path, CONFIG, faults=[fault("filter_clogging", 0, 9.0, 0.1, 40.0)])
    (one,) = day.document["deviations"]
    assert one["kind"] == "less_air"
    assert one["minutes"] > 600.0
    assert "less air came through" in day.headline


def test_a_lamp_stronger_than_the_config_names_the_config(tmp_path: Path) -> None:
    day = Day(tmp_path, CONFIG, truth=changed(("power: 150 W", "power: 375 W")))
    assert day.kinds() == {"less_air"}
    assert "or more heat was set free" in day.headline
    assert "whether lamp.power and fan in the config are right" in day.shown
    assert "sensor read alike side by side" in day.shown  # a drift of one would show the same


def test_an_open_tent_is_called_one_or_its_lamp_dark(tmp_path: Path) -> None:
    day = Day(tmp_path, SLOW_PWM, physics=lambda physics: physics._replace(infiltration_m3_s=0.3))
    assert day.kinds() == {"little_rise"}
    assert "the tent was open, or the lamp dark or dimmed" in day.headline
    assert day.causes("temperature", "below")["tent_open_or_lamp_dark"] > 30.0


def test_a_dead_lamp_is_reported_as_an_open_tent_or_dark_lamp(tmp_path: Path) -> None:
    day = Day(tmp_path, SLOW_PWM, physics=lambda physics: physics._replace(lamp_heat_w=0.0))
    assert day.kinds() == {"little_rise"}


def test_a_lamp_of_its_own_timer_that_burns_at_night_shows_by_its_heat(tmp_path: Path) -> None:
    day = Day(tmp_path, CONFIG, faults=[fault("lamp_stuck_on", 0, 0.0, 5.0)])
    assert day.kinds() == {"heat_while_dark"}
    assert "in band throughout" not in day.headline
    assert "too warm while its lamp should be dark" in day.headline


@pytest.mark.parametrize(("until", "kinds"), [("02:00", set()), ("05:00", {"heat_while_dark"})])
def test_heat_in_the_dark_of_a_fan_that_runs_shows_by_how_long_it_lasts(
    until: str, kinds: set[str], tmp_path: Path
) -> None:
    """A kelvin over its intake, where 0.8 K can be explained: little, but for hours."""
    record = HandRecord(tmp_path)
    intake = {"intake_temperature_c": 20.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", until, temperature=21.0, lit=False, speed=1.0, **intake)
    assert {deviation.kind for deviation in record.review().deviations} == kinds


def test_a_photocell_sees_a_lamp_that_burns_at_night(tmp_path: Path) -> None:
    day = Day(tmp_path, PHOTOCELL, faults=[fault("lamp_stuck_on", 0, 0.0, 5.0)])
    assert day.kinds() == {"lit_out_of_hours"}
    assert "the lamp was lit out of its hours, for 5 h (00:00–05:00)" in day.headline


@pytest.mark.parametrize(("most_starts", "least_min"), [(24, 20.0), (999, 120.0)])
def test_a_band_narrower_than_the_swing_is_named_and_not_the_lamp(
    tmp_path: Path, most_starts: int, least_min: float
) -> None:
    text = NARROW.replace("min_on: 2 min", f"min_on: 2 min, most_starts: {most_starts}")
    day = Day(tmp_path, text, knots=room_knots(1.0, 1, 19.5, 0.5), tick_s=20.0)
    hot = day.causes("temperature", "above")
    assert hot["band_narrower_than_swing"] > least_min
    assert {"lamp_heat", "fan_at_full_speed", "less_air_than_expected"}.isdisjoint(hot)
    assert "the band of 0.6 K is narrower than the tent's own swing" in day.headline
    assert "overrides.temperature.hysteresis, 0.3 K" in day.headline
    assert day.kinds() == set()


def test_of_a_weak_fan_the_flow_that_would_be_enough_is_reported(tmp_path: Path) -> None:
    day = Day(tmp_path, WEAK, knots=room_knots(1.0, 1, 22.0, 2.0))
    assert day.causes("temperature", "above")["lamp_heat"] > 300.0
    assert day.kinds() == set()
    assert "the lamp gives more heat than full flow can carry off" in day.headline
    assert "where this fan moves 55 m³/h" in day.headline


def test_no_fan_is_asked_to_use_the_last_tenths_of_a_kelvin() -> None:
    """Intake air of 26.95 °C and a limit of 27 °C once took 88,000 m³/h."""
    review: Any = SimpleNamespace(settings=settings_from_text(WEAK).settings)
    cause = Cause("lamp_heat", 60.0, 0.0, 3.6e6, 8.0)
    high_c = review.settings.targets.day.temperature_c.high
    assert "where this fan moves 55 m³/h" in stronger_fan_words(
        review, cause._replace(intake_c=high_c - 3.0)
    )
    assert stronger_fan_words(review, cause._replace(intake_c=high_c - 0.05)) == ""


def test_a_warm_room_is_blamed_where_it_is_warm(tmp_path: Path) -> None:
    day = Day(tmp_path, CONFIG, knots=room_knots(1.0, 1, 28.0, 3.0))
    hot = day.causes("temperature", "above")
    assert hot["intake_too_hot"] > 600.0
    assert "less_air_than_expected" not in hot
    assert "the intake air was hotter than the band" in day.headline


def test_a_sensor_that_sticks_is_never_called_none_missed(tmp_path: Path) -> None:
    stuck = Fault("sensor_stuck", START_S + 13 * 3600.0, math.inf, ("canopy",))
    day = Day(tmp_path, CONFIG, faults=[stuck])
    sentences = " ".join(quality_sentences(day.review))
    assert "none missed." not in sentences
    assert "no trustworthy value of the tent for 8 h" in sentences
    assert "its values had not moved since 12:59" in sentences
    assert "canopy: 540 of 1,440 measurements failed or were refused (38 %, usual" in sentences


def test_a_sensors_rate_is_held_against_what_is_usual_for_its_kind(tmp_path: Path) -> None:
    dropped = Fault("sensor_dropped", START_S, START_S + 6 * 3600.0, ("room",))
    text = changed(("driver: dht22, pin: 27", "driver: hwmon, device: sht4x"))
    day = Day(tmp_path, text, faults=[dropped])
    sentences = " ".join(quality_sentences(day.review))
    assert "room: 360 of 1,440 measurements failed or were refused (25 %, usual for this kind is " \
           "under 1 %)." in sentences  # fmt: skip
    assert day.document["data_quality"]["measurements_tried"]["room"] == 1440


def test_long_periods_find_the_same_stretch(tmp_path: Path) -> None:
    """Readings are then taken together."""
    path = tmp_path / "days.sqlite3"
    record = simulated_record(path, round(START_S * 1000))
    loaded, _ = live(CONFIG, 2.0, record=record, faults=[fault("fan_dead", 0, 9.0, 6.0)])
    record.close()
    with open_source(loaded, path, Asked(first="2025-06-02", length=None, last=None)) as source:
        review = build(source, loaded.settings)
    reviews = [review]
    for days in (3, 45):
        with open_source(loaded, path, Asked(length=f"{days}d")) as source:
            reviews.append(build(source, loaded.settings))
    for one in reviews:
        (observed,) = one.deviations
        assert observed.kind == "less_air"
        assert 300.0 < observed.minutes < 400.0
    assert any("Less air than expected" in sentence for sentence in also(review))
