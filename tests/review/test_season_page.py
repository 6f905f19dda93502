"""Charts of several days: shades that fit the hours, the fan's hours, the worst moment of a day."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from review_records import HandRecord, known_day

from controller.review.open_record import Asked, open_source
from controller.review.report import build
from controller.review.series import read_series
from controller.review.views.page import render_page
from controller.review.views.page.heat_classes import (
    HourMean,
    Measure,
    class_limits,
    heat_scale,
)
from controller.review.views.page.worst_moment import WorstMoment, worst_moment

CELSIUS = Measure("°C", "K", 0.5, 1)


def hours(*means: float | None) -> list[HourMean | None]:
    """Hours against a band of 20 to 25."""
    return [None if mean is None else HourMean(mean, 20.0, 25.0) for mean in means]


def test_hours_far_out_of_band_do_not_all_share_a_shade() -> None:
    scale = heat_scale(hours(*(33.0 + 0.25 * n for n in range(25))), CELSIUS)
    assert [shade.label for shade in scale.legend] == [
        "to 10 K above", "10 to 12 K above", "over 12 K above"]  # fmt: skip
    counts = [scale.shades.count(shade.css) for shade in scale.legend]
    assert counts == [9, 8, 8]
    assert scale.note.endswith("the furthest is 14 K above.")


def test_both_sides_of_the_band_share_their_limits() -> None:
    scale = heat_scale(hours(14.0, 17.0, 19.0, 22.0, 26.0, 28.0, 31.0), CELSIUS)
    labels = [shade.label for shade in scale.legend]
    assert labels == [
        "over 3 K below", "1 to 3 K below", "to 1 K below", "in band",
        "to 1 K above", "1 to 3 K above", "over 3 K above",
    ]  # fmt: skip
    assert scale.shades == [f"heat{n}" for n in range(7)]


def test_a_side_without_hours_is_not_in_the_legend() -> None:
    labels = [shade.label for shade in heat_scale(hours(22.0, 26.0, 27.0, 30.0), CELSIUS).legend]
    assert "in band" in labels
    assert not any("below" in label for label in labels)


def test_hours_in_band_throughout_are_shaded_by_value() -> None:
    scale = heat_scale(hours(20.0, 21.0, 22.0, 23.0, 24.0, 25.0), CELSIUS)
    assert [scale.shades.count(f"inband{n}") for n in range(3)] == [2, 2, 2]
    assert [shade.label for shade in scale.legend] == ["to 21 °C", "21 to 23 °C", "over 23 °C"]
    assert scale.note.startswith("All hours are in band, from 20 °C to 25 °C;")


def test_hours_that_are_all_alike_are_reported_as_such() -> None:
    scale = heat_scale(hours(22.0, 22.02, None), CELSIUS)
    assert scale.note == "All hours are alike: 22 °C, in band."
    assert scale.shades == ["heat3", "heat3", None]
    alike = heat_scale(hours(27.0, 27.0), CELSIUS)
    assert alike.note == "All hours are out of band, each 2 K above."
    assert [shade.label for shade in alike.legend] == ["above the band"]


def test_hours_without_any_value_are_reported() -> None:
    assert heat_scale(hours(None, None), CELSIUS) == ([None, None], [], "No hour has a value.")


@given(st.lists(st.none() | st.floats(-30.0, 70.0), min_size=1, max_size=60))
def test_every_hour_with_a_value_has_a_shade_of_the_legend(means: list[float | None]) -> None:
    scale = heat_scale(hours(*means), CELSIUS)
    shades = [shade.css for shade in scale.legend]
    assert len(set(shades)) == len(shades)
    for mean, shade in zip(means, scale.shades, strict=True):
        assert (shade is None) == (mean is None)
        assert shade is None or shade in shades


@given(st.lists(st.floats(0.01, 1e3), min_size=1, max_size=60), st.sampled_from([0.05, 0.5, 1.0]))
def test_limits_are_round_apart_and_inside_the_values(values: list[float], finest: float) -> None:
    limits = class_limits(values, finest)
    assert limits == sorted(set(limits))
    for limit in limits:
        assert min(values) <= limit < max(values)
        assert limit / finest == pytest.approx(round(limit / finest), abs=1e-6)
    assert all(second - first >= finest - 1e-9 for first, second in pairwise(limits))


def test_a_week_shows_the_fans_hours_of_each_day_by_reason(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "06:00", lit=False, speed=0.0)
    record.stretch("06:00", "22:00")
    record.stretch("24:00", "34:00", rule="too_hot", speed=1.0)
    record.stretch("34:00", "42:00")
    with open_source(record.loaded, record.path, Asked(length="2d")) as source:
        page = render_page(build(source, record.loaded.settings), [], [], 0)
    charts = re.findall(r'<svg [^>]*aria-labelledby="\w-fan-hours-title.*?</svg>', page)
    assert len(charts) == 3  # for a wide screen, a narrow one and paper
    for chart in charts:
        bars = re.findall(r'<path d="([^"]*)"[^>]*class="bar[^>]*><title>([^<]*)</title>', chart)
        assert [title for _, title in bars] == ["schedule, 24.0 h", "too hot, 10.0 h"]
        assert bars[0][0].count("M") == 2
        heights = [
            float(lower) - float(upper)
            for path, _ in bars
            for upper, lower in re.findall(r"M[\d.]+ ([\d.]+)h[\d.]+V([\d.]+)", path)
        ]
        assert heights[1] / heights[0] == pytest.approx(8.0 / 16.0, abs=0.01)
        assert heights[2] / heights[0] == pytest.approx(10.0 / 16.0, abs=0.01)


def worst_of(record: HandRecord) -> tuple[WorstMoment, str]:
    with open_source(record.loaded, record.path, Asked(day="2013-07-18")) as source:
        review = build(source, record.loaded.settings)
        series = read_series(source, 720)
        worst = worst_moment(review, series)
        return worst, f"{review.period.local(series[worst.step].middle_ms):%H:%M}"


def test_the_worst_moment_is_the_one_furthest_out_of_band(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    worst, clock = worst_of(record)
    assert clock == "12:01"
    assert worst.note == (
        "Shown first: the moment furthest out of band, temperature 2.0 K above it "
        "(1.0 K, 5 % and 0.20 kPa count as equally far)."
    )


def test_quantities_are_weighed_by_what_counts_as_far(tmp_path: Path) -> None:
    """Humidity 15 % out is three times 5 %; a temperature 2 K out is twice 1 K."""
    record = HandRecord(tmp_path)
    record.stretch("06:00", "10:00", temperature=27.0)
    record.stretch("10:00", "11:00", temperature=23.0, humidity=85.0)
    worst, clock = worst_of(record)
    assert clock == "10:01"
    assert "humidity 15 % above it" in worst.note


def test_in_band_throughout_the_warmest_moment_comes_first(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("06:00", "10:00", temperature=22.0)
    record.stretch("10:00", "11:00", temperature=24.0)
    worst, clock = worst_of(record)
    assert clock == "10:01"
    assert worst.note == "Shown first: the highest temperature, 24.0 °C."


def test_without_any_temperature_the_first_reading_comes_first(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("06:00", "10:00", temperature=None, humidity=None, vpd=None)
    worst, clock = worst_of(record)
    assert (worst.step, clock) == (0, "06:01")
    assert worst.note == "Shown first: the first reading; no temperature was measured."
