"""A review of a tent whose sensor measures carbon dioxide."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from review_records import HandRecord, reading

from controller.record import SensorRow
from controller.review.views.cause_words import override_effect, override_reason
from controller.review.views.headline import also, headline
from controller.review.views.json_view import document
from controller.review.views.quality_words import quality_sentences

MINUTE_MS = 60_000


def test_the_review_gives_mean_lowest_and_highest_by_sensor(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    start_ms = record.at("08:00")
    for minute, ppm in enumerate((400.0, 900.0, 500.0, None), 1):
        sensors = (
            SensorRow("canopy", 23.0, 55.0, 0, None, 24, ppm),
            SensorRow("other", 23.0, 55.0),
        )
        row = reading(start_ms + minute * MINUTE_MS)
        record.writer.reading(replace(row, sensors=sensors))
    review = record.review()
    assert "CO2 by canopy: 600 ppm on average, from 400 ppm to 900 ppm." in quality_sentences(
        review
    )
    quality = document(review)["data_quality"]
    assert quality["co2_mean_ppm"] == {"canopy": 600.0}
    assert quality["co2_highest_ppm"] == {"canopy": 900.0}


def test_a_review_counts_the_lit_minutes_with_too_little_of_it(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    for start, lit in (("08:00", True), ("02:00", False)):
        start_ms = record.at(start)
        for minute, ppm in enumerate((310.0, 290.0, 250.0, None), 1):
            row = reading(start_ms + minute * MINUTE_MS, lit=lit)
            sensors = (SensorRow("canopy", 23.0, 55.0, 0, None, 24, ppm),)
            record.writer.reading(replace(row, sensors=sensors))
    review = record.review()
    assert not any("CO2" in sentence for sentence in also(review))  # two minutes are not worth it
    assert any(
        line.endswith("to 310 ppm; too little of it in the light for 2 min.")
        for line in quality_sentences(review)
    )
    assert document(review)["data_quality"]["co2_low_minutes"] == {"canopy": 2.0}


def test_a_day_with_too_little_of_it_is_among_what_a_grower_should_know(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    start_ms = record.at("08:00")
    for minute in range(1, 21):
        sensors = (SensorRow("canopy", 23.0, 55.0, 0, None, 24, 260.0),)
        record.writer.reading(replace(reading(start_ms + minute * MINUTE_MS), sensors=sensors))
    assert "Too little CO2 in the light for 20 min (260 ppm by canopy)." in also(record.review())


def test_an_override_against_stale_air_shows_what_it_did_to_the_co2(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    start_ms = record.at("08:00")
    ppms = [290.0, 270.0, 300.0, 345.0, 400.0]
    for minute, ppm in enumerate(ppms, 1):
        row = reading(start_ms + minute * MINUTE_MS, temperature=19.0, speed=0.7, rule="too_stale")
        sensors = (SensorRow("canopy", 19.0, 55.0, 0, None, 24, ppm),)
        record.writer.reading(replace(row, sensors=sensors))
    stale = {"rule": "too_stale", "quantity": "co2", "value": 290.0, "limit": 300.0, "unit": "ppm"}
    record.event("08:00", "override.engaged", **stale)
    record.event("08:04", "override.released", **stale)
    review = record.review()
    (override,) = review.overrides
    assert override_reason(review, override) == "too stale, CO2 290 ppm (limit 300 ppm)"
    assert override_effect(review, override).startswith("290 ppm → 345 ppm")
    assert override.extreme == 270.0
    (excursion,) = review.excursions
    assert [cause.code for cause in excursion.causes] == ["kept_running_against_stale_air"]
    assert headline(review).endswith("the fan ran to bring the leaves CO2 from 08:00")


def test_a_review_without_such_a_sensor_says_nothing_of_it(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("08:00", "08:10")
    assert "CO2" not in " ".join(quality_sentences(record.review()))
