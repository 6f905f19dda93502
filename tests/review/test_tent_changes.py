"""A review shows what the tent as learned found to have changed, with its evidence."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from review_records import DAY, HandRecord, at, known_day

from controller.review.views.deviation_words import deviation_sentence
from controller.review.views.glyphs import Glyphs
from controller.review.views.headline import headline
from controller.review.views.json_schema import schema
from controller.review.views.json_view import document
from controller.review.views.terminal import screen

FOUND: dict[str, Any] = {
    "observed_k": 3.9,
    "expected_k": 2.6,
    "doubt_k": 0.4,
    "share": 0.12,
    "observed_g_kg": 0.9,
    "expected_g_kg": 3.1,
    "doubt_g_kg": 0.7,
    "off_k": 0.0,
    "off_pct": 0.0,
    "compared_with": "2025-05-01T00:00:00+00:00/2025-05-07T12:00:00+00:00",
}


def changed(
    folder: Path, kind: str, until: str | None = "15:25", **figures: float
) -> tuple[HandRecord, Any]:
    """A day on which a change was found at 12:25, and its review."""
    record = HandRecord(folder)
    known_day(record)
    record.writer.event(at("12:25"), "tent.changed", "warning", kind=kind, **{**FOUND, **figures})
    if until is not None:
        record.writer.event(at(until), "tent.recovered", "info", kind=kind)
    return record, record.review()


def only(review: Any, kind: str) -> Any:
    (one,) = [deviation for deviation in review.deviations if deviation.kind == kind]
    return one


def test_less_water_is_told_with_expected_and_observed_moisture_first(tmp_path: Path) -> None:
    _, review = changed(tmp_path, "reduced_transpiration")
    one = only(review, "reduced_transpiration")
    assert (one.start_ms, one.end_ms) == (at("12:25"), at("15:25"))
    said = deviation_sentence(review, one)
    order = ("0.9 g/kg, 2.4 to 3.8 g/kg expected", "about 12 % of their water", "wilt", "empty")
    assert [said.index(words) for words in order] == sorted(said.index(words) for words in order)
    shown = " ".join(" ".join(screen(review, [], Glyphs())).split())
    assert "0.9 g/kg, 2.4 to 3.8 g/kg expected" in shown
    told = json.loads(json.dumps(document(review)))
    jsonschema.validate(told, schema())
    (row,) = [row for row in told["deviations"] if row["kind"] == "reduced_transpiration"]
    assert (row["moisture_g_kg"], row["expected_lowest_g_kg"]) == (0.9, 2.4)
    assert row["water_share"] == 0.12
    assert row["compared_with"] == FOUND["compared_with"]


def test_less_air_says_which_days_were_learned_from_and_that_a_sensor_may_be_why(
    tmp_path: Path,
) -> None:
    _, review = changed(tmp_path, "less_air", or_sensor=True)
    said = deviation_sentence(review, only(review, "less_air"))
    assert "Compared with the tent as learned 1 to 7 May 2025." in said
    assert said.endswith("A sensor that reads otherwise than it did would show the same.")


def test_it_lasts_to_the_newest_reading_where_it_is_not_over(tmp_path: Path) -> None:
    _, review = changed(tmp_path, "reduced_transpiration", until=None)
    assert only(review, "reduced_transpiration").end_ms > at("15:25")


def test_a_change_that_stands_over_night_was_seen_in_the_light_alone(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    known_day(record)  # lit from six to ten at night
    yesterday = at("12:25", DAY - dt.timedelta(1))
    record.writer.event(yesterday, "tent.changed", "warning", kind="little_rise", **FOUND)
    record.writer.event(at("08:25"), "tent.recovered", "info", kind="little_rise")
    one = only(record.review(), "little_rise")
    assert (one.start_ms, one.end_ms) == (at("06:00"), at("08:25"))


def test_hours_of_another_day_are_not_of_this_one(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    for day, end in ((DAY - dt.timedelta(2), DAY - dt.timedelta(1)),):
        record.writer.event(
            at("12:25", day), "tent.changed", "warning", kind="little_rise", **FOUND
        )
        record.writer.event(at("10:25", end), "tent.recovered", "info", kind="little_rise")
    assert [one.kind for one in record.review().deviations] == []


def test_a_drift_names_the_sensor_and_ends_with_its_alarm(tmp_path: Path) -> None:
    record, _ = changed(tmp_path, "sensor_drift", until=None, off_pct=-5.0)
    record.writer.event(at("18:00"), "alarm.cleared", "info", alarm="sensor_drift")
    review = record.review()
    one = only(review, "sensor_drift")
    assert one.end_ms == at("18:00")
    said = deviation_sentence(review, one)
    assert said.startswith("The tent's sensor read 5 % less beside the intake's than it did for")
    assert headline(review)


@pytest.mark.parametrize("data", [{}, {"kind": "another"}, {"kind": "little_rise", "share": "x"}])
def test_a_change_of_another_version_is_left_out(tmp_path: Path, data: dict[str, Any]) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    record.writer.event(at("12:25"), "tent.changed", "warning", **data)
    assert record.review().deviations == ()
