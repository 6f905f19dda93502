"""Trends over weeks: told when they are more than chance."""

import math
from pathlib import Path

import pytest
from review_records import HandRecord

from controller.review.open_record import Asked, open_source
from controller.review.report import build
from controller.review.trends import Trend, fit
from controller.review.views.trend_words import trend_sentences

ASKED = Asked(first="2013-07-18", last="2013-07-31")


def weeks(record: HandRecord, rpm_a_day: float, drift_a_day: float) -> tuple[list[Trend], list]:
    start = record.at("00:00")
    for day in range(14):
        for hour in range(24):
            noise = math.sin(day * 7.3 + hour * 1.9)
            at_ms = start + (day * 24 + hour) * 3_600_000
            record.span(
                at_ms, at_ms + 1_200_000, speed=1.0, fan_rpm=2400 + rpm_a_day * day + 9 * noise,
                sensors={"canopy": 24.0, "shelf": 24.2 + drift_a_day * day + 0.1 * noise},
            )  # fmt: skip
    with open_source(record.loaded, record.path, ASKED) as source:
        review = build(source, record.loaded.settings)
        return list(review.trends), trend_sentences(review)


def test_turns_that_fall_at_equal_speed_are_reported(tmp_path: Path) -> None:
    trends, sentences = weeks(HandRecord(tmp_path), -12.0, 0.0)
    fan = next(trend for trend in trends if trend.kind == "fan_rpm")
    assert (fan.subject, fan.days, fan.is_significant) == ("100 %", 14, True)
    assert fan.per_week == pytest.approx(-84.0, abs=3.0)
    (sentence,) = sentences
    assert "clogging filter" in sentence and "2400 → 22" in sentence


def test_a_sensor_that_drifts_from_its_twin_is_reported(tmp_path: Path) -> None:
    trends, sentences = weeks(HandRecord(tmp_path), 0.0, 0.05)
    twin = next(trend for trend in trends if trend.kind == "sensor_temperature")
    assert twin.is_significant
    assert twin.per_week == pytest.approx(0.35, abs=0.03)
    assert ["shelf against canopy" in text for text in sentences] == [True]


def test_noise_is_not_reported(tmp_path: Path) -> None:
    _, sentences = weeks(HandRecord(tmp_path), 0.0, 0.0)
    assert sentences == []


def test_the_line_is_that_of_least_squares() -> None:
    """Worked example, from memory (Anscombe 1973, set I): slope 0.500, intercept 3.00."""
    xs = (10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5)
    ys = (8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68)
    trend = fit("x", "", "", sorted(zip(xs, ys, strict=True)))
    assert trend is not None
    assert trend.per_week / 7 == pytest.approx(0.5001, abs=1e-4)
    assert trend.first == pytest.approx(3.0001 + 4 * 0.5001, abs=1e-3)
