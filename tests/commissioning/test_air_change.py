"""Timing the air change of a tent whose air change is known."""

import math
import random

import pytest

from controller import air
from controller.airflow.span import Span
from controller.commissioning.air_change import time_air_change
from controller.commissioning.decay import Decay, NoDecay
from controller.control.types import Reading


def readings(time_constant_s, *, span_s=300.0, w0=0.014, w1=0.009, t0=26.0, t1=26.0, seed=3):
    rng = random.Random(seed)
    found = []
    for i in range(int(span_s / 2.5)):
        share = math.exp(-2.5 * i / time_constant_s)
        t_c = t1 + (t0 - t1) * share + rng.gauss(0.0, 0.07)
        w = w1 + (w0 - w1) * share
        rh = air.humidity_pct_from_ratio(t1 + (t0 - t1) * share, w, 101_325.0)
        found.append(Reading(1000.0 + 2.5 * i, t_c, rh + rng.gauss(0.0, 0.33)))
    return found


def timed(values, calculated=None, units="si", volume_m3=1.0):
    return time_air_change(
        values,
        started_s=1000.0,
        speed=0.6,
        volume_m3=volume_m3,
        pressure_pa=101_325.0,
        calculated_m3_s=calculated,
        units=units,
    )


def test_flow_is_volume_over_time_constant():
    # Hand check of the tracer-gas decay method (ASTM E741): Q = V / tau; 2.88 m³ in 57.6 s are
    # 0.05 m³/s.
    result = timed(readings(57.6), volume_m3=2.88)
    assert isinstance(result.humidity, Decay)
    assert result.humidity.time_constant_s == pytest.approx(57.6, rel=0.06)
    assert result.flow_m3_s.best == pytest.approx(0.05, rel=0.06)
    assert result.flow_m3_s.low < 0.05 < result.flow_m3_s.high


@pytest.mark.parametrize(
    ("calculated", "grade", "words"),
    [
        (Span(0.016, 0.018, 0.02), "fine", "as calculated"),
        (Span(0.05, 0.06, 0.07), "advice", "less than calculated"),
        (Span(0.003, 0.004, 0.005), "advice", "more than calculated"),
        (None, "fine", "fan.free_flow"),
    ],
)
def test_the_timed_flow_is_held_against_the_calculated_one(calculated, grade, words):
    (finding,) = timed(readings(57.6), calculated).findings
    assert finding.grade == grade
    assert words in finding.text
    assert "at 60 %" in finding.text


def test_temperature_alone_shows_fresh_air_but_no_flow():
    values = readings(70.0, t0=31.0, t1=25.0, w0=0.009, w1=0.009)
    result = timed(values)
    assert isinstance(result.temperature, Decay)
    assert result.flow_m3_s is None
    assert "cannot be told from temperature" in result.findings[0].text


def test_a_tent_without_difference_is_commanded_to_be_warmed_or_wetted():
    result = timed(readings(50.0, w0=0.009))
    assert isinstance(result.humidity, NoDecay)
    (finding,) = result.findings
    assert finding.grade == "advice"
    assert "wet cloth" in finding.text


def test_air_faster_than_the_sensor_gives_a_bound():
    result = timed(readings(14.0, w0=0.020))
    (finding,) = result.findings
    assert "at least once in 20 s" in finding.text
    assert "180 m³/h or more" in finding.text


def test_flows_are_reported_in_the_users_units():
    (finding,) = timed(readings(57.6), Span(0.016, 0.018, 0.02), units="us").findings
    assert "cfm" in finding.text and "m³/h" not in finding.text


def test_no_readings_are_no_air_change():
    result = timed([])
    assert isinstance(result.humidity, NoDecay)
    assert "only 0 readings" in result.findings[0].text
