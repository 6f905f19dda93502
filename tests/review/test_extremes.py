"""A figure beside "too X for …" comes from a time that was out of the band then in force."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
from review_records import CONFIG, HandRecord

from controller.review.excursions import KINDS, Kind
from controller.review.phrases import too_words, value_words
from controller.review.report import Review
from controller.review.views.headline import also, headline
from controller.review.views.page.tables import tiles

# The bands of `CONFIG`, by day and by night, in SI.
BANDS = {
    "temperature": ((21.0, 25.0), (16.0, 22.0)),
    "humidity": ((40.0, 70.0), (40.0, 80.0)),
    "vpd": ((600.0, 1600.0), (300.0, 1600.0)),
}
EXTREMES = {
    ("temperature", "above"): "tent_temperature_max_c",
    ("temperature", "below"): "tent_temperature_min_c",
    ("humidity", "above"): "tent_humidity_max_pct",
    ("humidity", "below"): "tent_humidity_min_pct",
    ("vpd", "above"): "vpd",
    ("vpd", "below"): "vpd",
}


def test_an_extreme_in_the_band_of_another_phase_is_not_the_headlines(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "06:00", lit=False, temperature=18.0, vpd=480.0)
    record.stretch("06:00", "11:02", vpd=590.0)
    record.stretch("11:02", "24:00", temperature=24.6)
    shown = headline(record.review())
    assert "5 h 2 min VPD too low (down to 0.59 kPa)" in shown
    assert "0.48" not in shown


def test_too_hot_by_night_is_told_with_how_hot_that_night_was(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "06:00", lit=False, temperature=23.5)
    record.stretch("06:00", "24:00", temperature=24.8)
    assert "23.5 °C at 00:01, 6 h too hot" in headline(record.review())


def test_too_cold_is_told_with_how_cold_it_was(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "06:00", lit=False, temperature=14.0)
    record.stretch("06:00", "24:00", temperature=24.8)
    assert "14.0 °C at 00:01, 6 h too cold" in headline(record.review())


def test_an_excursions_limit_is_that_of_its_worst_moment(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "06:00", lit=False, temperature=18.0, humidity=81.0)
    record.stretch("06:00", "08:00", humidity=85.0)
    record.stretch("08:00", "24:00")
    (excursion,) = record.review().excursions
    assert (excursion.extreme, excursion.limit) == (85.0, 70.0)


@pytest.mark.parametrize("seed", range(6))
def test_every_extreme_told_was_out_of_its_band(seed: int, tmp_path: Path) -> None:
    readings = list(_random_day(random.Random(seed)))
    record = HandRecord(tmp_path, CONFIG)
    start_ms = record.at("00:00")
    for n, values in enumerate(readings):
        record.span(start_ms + n * 600_000, start_ms + (n + 1) * 600_000, 600.0, **values)
    review = record.review()
    sentences = [headline(review), *also(review)]
    told = 0
    for kind in KINDS:
        out = [values for values in readings if _is_out(values, kind)]
        shown = [s for s in sentences if too_words(*kind) in s.lower().replace("vpd", "VPD")]
        assert bool(shown) <= bool(out)
        told += bool(shown)
        if shown:
            worst = max if kind[1] == "above" else min
            value = worst(values[EXTREMES[kind]] for values in out)
            assert value_words(kind[0], value, "si") in shown[0]
    assert told >= 2
    _check_excursions(review, readings, start_ms)
    humid = [v[EXTREMES["humidity", "above"]] for v in readings if _is_out(v, KINDS[2])]
    if humid:
        assert f"up to {max(humid):.0f}" in tiles(review)


def _random_day(draw: random.Random) -> Any:
    """144 readings that wander through their bands, by day from six to ten at night."""
    shifts = {name: draw.uniform(-0.6, 0.6) for name in BANDS}
    for n in range(144):
        lit = 36 <= n < 132
        values: dict[str, Any] = {"lit": lit}
        for name, bands in BANDS.items():
            low, high = bands[0 if draw.random() < 0.5 else 1]
            width = high - low
            values[name] = low + width * (0.5 + shifts[name] + draw.uniform(-0.45, 0.45))
        values["tent_temperature_max_c"] = values["temperature"] + draw.uniform(0.0, 2.0)
        values["tent_temperature_min_c"] = values["temperature"] - draw.uniform(0.0, 2.0)
        values["humidity"] = min(99.0, values["humidity"])
        values["tent_humidity_max_pct"] = min(100.0, values["humidity"] + draw.uniform(0.0, 6.0))
        values["tent_humidity_min_pct"] = values["humidity"] - draw.uniform(0.0, 6.0)
        yield values


def _is_out(values: dict[str, Any], kind: Kind) -> bool:
    name, side = kind
    low, high = BANDS[name][0 if values["lit"] else 1]
    return bool(values[name] > high if side == "above" else values[name] < low)


def _check_excursions(review: Review, readings: list[dict[str, Any]], start_ms: int) -> None:
    for excursion in review.excursions:
        kind = excursion.quantity, excursion.side
        assert excursion.extreme_ms is not None
        values = readings[round((excursion.extreme_ms - start_ms) / 600_000) - 1]
        assert values[EXTREMES[kind]] == excursion.extreme
        assert _is_out(values, kind)
        low, high = BANDS[kind[0]][0 if values["lit"] else 1]
        assert excursion.limit == (high if kind[1] == "above" else low)
