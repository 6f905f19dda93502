"""Whether sensors agree, and when an offset is worth setting."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.commissioning.comparison import compare, sample_of


def sample(name, mean, accuracy=0.5, scatter=0.05, count=40, offset=0.0):
    values = [mean - scatter, mean + scatter] * (count // 2)
    return sample_of(name, values, accuracy, offset)


def test_uncertainty_is_the_guides_for_a_rectangular_distribution():
    # JCGM 100:2008 4.3.7 with its own numbers: half-width a gives u = a/sqrt(3).
    assert sample("a", 20.0, accuracy=0.5, scatter=0.0).uncertainty == pytest.approx(
        0.5 / math.sqrt(3.0)
    )


def test_twins_within_their_data_sheets_agree():
    # Two DHT22 of +-0.5 K: 2 sqrt(2) 0.5/sqrt(3) = 0.816 K are allowed.
    a, b = compare("temperature", [sample("a", 20.0), sample("b", 20.8)])
    assert a.agrees and b.agrees
    assert a.allowed == pytest.approx(0.8165, abs=2e-3)
    assert a.suggested_offset is None and b.suggested_offset is None


def test_of_two_alike_that_differ_neither_is_corrected():
    a, b = compare("temperature", [sample("a", 20.0), sample("b", 21.5)])
    assert not a.agrees and not b.agrees
    assert a.suggested_offset is None and b.suggested_offset is None


def test_the_odd_one_of_three_is_corrected_by_the_others():
    verdicts = compare(
        "temperature", [sample("a", 20.0), sample("b", 20.1), sample("c", 22.0, offset=0.5)]
    )
    offsets = {v.sensor: v.suggested_offset for v in verdicts}
    # The middle one is b; c reads 1.9 K more with +0.5 K already added.
    assert offsets["c"] == pytest.approx(-1.4)
    assert offsets["a"] is None and offsets["b"] is None
    assert verdicts[2].against == "the middle of a, b and c"


def test_a_much_better_sensor_corrects_a_coarse_one_and_is_not_corrected_by_it():
    coarse, fine = sample("dht11", 22.0, accuracy=2.0), sample("sht", 20.5, accuracy=0.4)
    verdicts = {v.sensor: v for v in compare("temperature", [coarse, fine])}
    assert verdicts["dht11"].suggested_offset == pytest.approx(-1.5)
    assert verdicts["dht11"].agrees  # within its sheet, yet worth correcting
    assert verdicts["sht"].suggested_offset is None


def test_a_hand_instrument_corrects_every_sensor_it_doubts():
    verdicts = compare("humidity", [sample("a", 50.0, 5.0), sample("b", 56.0, 5.0)], hand=50.5)
    offsets = {v.sensor: v.suggested_offset for v in verdicts}
    assert offsets == {"a": None, "b": pytest.approx(-5.5)}
    assert {v.against for v in verdicts} == {"the hand instrument"}


def test_a_single_sensor_has_nothing_to_be_compared_with():
    assert compare("temperature", [sample("a", 20.0)]) == []


def test_too_few_readings_are_no_sample():
    assert sample_of("a", [20.0] * 4, 0.5) is None


@given(
    st.floats(-20.0, 40.0),
    st.floats(-3.0, 3.0),
    st.floats(-2.0, 2.0),
)
def test_after_setting_the_suggested_offset_nothing_more_is_suggested(mean, error, offset):
    reading = mean + error
    (verdict,) = compare("temperature", [sample("a", reading, offset=offset)], hand=mean)
    if verdict.suggested_offset is None:
        assert abs(error) < 0.6  # twice 0.5/sqrt(3)
        return
    corrected = reading - offset + verdict.suggested_offset
    assert corrected == pytest.approx(mean, abs=0.0501)
    (again,) = compare(
        "temperature", [sample("a", corrected, offset=verdict.suggested_offset)], hand=mean
    )
    assert again.suggested_offset is None
