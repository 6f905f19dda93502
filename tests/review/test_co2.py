"""A review of a tent whose sensor measures carbon dioxide."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from review_records import HandRecord, reading

from controller.record import SensorRow
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


def test_a_review_without_such_a_sensor_says_nothing_of_it(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("08:00", "08:10")
    assert "CO2" not in " ".join(quality_sentences(record.review()))
