"""The daily light integral: photons on the floor, from the lamp's power and hours."""

import datetime as dt
from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, known_day

from controller import plants
from controller.review.daily_light import EFFICACIES
from controller.review.open_record import Asked
from controller.review.views.json_view import document
from controller.review.views.review_words import light_words
from controller.sizing.plan import EFFICACY


def test_sixteen_hours_of_a_lamp_over_a_known_floor(tmp_path: Path) -> None:
    """150 W × 2.4 µmol/J × 0.85 over 0.64 m² is 478 µmol m⁻² s⁻¹; 16 h of it are 27.5 mol/m².

    The definition, seconds of light times PPFD over a million, is that of ANSI/ASABE S640.
    """
    record = HandRecord(tmp_path)
    known_day(record)
    review = record.review()
    light = review.figures.daily_light
    assert light is not None
    assert light.best == pytest.approx(150 * 2.4 * 0.85 / 0.64 * 16 * 3600 / 1e6)
    assert light.low == pytest.approx(light.best * 1.6 / 2.4)
    assert light.high == pytest.approx(light.best * 3.0 / 2.4)
    words = light_words(review)
    assert words is not None and "about 28 mol/m² (18 to 34; estimated" in words


def test_a_longer_period_gives_the_mean_of_the_days_with_readings(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "12:00")
    record.stretch("24:00", "42:00")
    review = record.review(Asked(first=(record.day - dt.timedelta(days=1)).isoformat()))
    per_hour = 150 * 2.4 * 0.85 / 0.64 * 3600 / 1e6
    assert review.figures.daily_light is not None
    assert review.figures.daily_light.best == pytest.approx(per_hour * (12 + 18) / 2)
    days = [day.daily_light for day in review.counted.days]
    assert [day and round(day.best / per_hour, 6) for day in days] == [None, 12.0, 18.0]


def test_light_that_grows_nothing_is_not_told_as_none(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG.replace("power: 150 W", "power: 3 W"))
    record.stretch("06:00", "22:00")
    assert "less than 1 mol/m²" in (light_words(record.review()) or "")


def test_a_dark_day_has_no_estimate(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG)
    record.stretch("00:00", "24:00", lit=False)
    review = record.review()
    assert review.figures.daily_light is None
    assert light_words(review) is None
    assert document(review)["daily_light_estimate"] is None


def test_the_doubt_is_that_of_sizing() -> None:
    assert (EFFICACY.low, EFFICACY.best, EFFICACY.high) == (
        EFFICACIES[0], plants.LAMP_EFFICACY, EFFICACIES[1],
    )  # fmt: skip
