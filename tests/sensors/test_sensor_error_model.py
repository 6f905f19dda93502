"""The simulated sensors stray as their data sheets admit, and the same way for a seed."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from controller.measurement import Measurement
from controller.sensors.data_sheets import (
    DHT11_ERRORS,
    DHT22_ERRORS,
    SHT_ERRORS,
    ErrorFigures,
    figures_for,
)
from controller.sensors.error_figures import BME280_ERRORS
from simulators import sensor_error
from simulators.sensor_error import PERFECT, ModelledSource, SensorErrorModel

YEAR_S = 365.25 * 86400.0


def readings(
    model: SensorErrorModel, count: int, t: float = 24.0, rh: float = 55.0, step_s: float = 2.5
) -> list[Measurement | None]:
    return [model.observe(i * step_s, t, rh) for i in range(count)]


def got(readings: list[Measurement | None]) -> list[Measurement]:
    return [m for m in readings if m is not None]


def test_the_same_seed_gives_the_same_errors_and_another_others() -> None:
    first, again, other = (
        readings(SensorErrorModel(DHT22_ERRORS, seed), 500) for seed in (7, 7, 8)
    )
    assert first == again
    assert first != other


@pytest.mark.parametrize(
    ("figures", "steps"),
    [(DHT22_ERRORS, 10), (DHT11_ERRORS, 1), (SHT_ERRORS, 100)],
    ids=["dht22", "dht11", "sht"],
)
def test_values_come_in_the_sensors_resolution(figures: ErrorFigures, steps: int) -> None:
    for temperature_c, humidity_pct, _ in got(readings(SensorErrorModel(figures, 1), 300)):
        # Exactly the decimal that the sensor sends, not a neighbour in binary.
        assert temperature_c == round(temperature_c * steps) / steps
        assert humidity_pct == round(humidity_pct * steps) / steps


@pytest.mark.parametrize(
    "figures", [DHT22_ERRORS, DHT11_ERRORS, SHT_ERRORS], ids=["dht22", "dht11", "sht"]
)
def test_repetitions_stay_within_the_repeatability(figures: ErrorFigures) -> None:
    model = SensorErrorModel(figures, 5, bias_k=0.0, bias_pct=0.0, lost=0.0)
    off = [m.temperature_c - 24.0 for m in got(readings(model, 4000))]
    half_step = 0.5 / figures.steps_per_k
    inside = sum(abs(o) <= figures.repeatability_k + half_step for o in off)
    assert inside / len(off) > 0.99
    assert statistics.fmean(off) == pytest.approx(0.0, abs=0.1 * figures.repeatability_k)


def test_the_noise_is_as_wide_as_said() -> None:
    model = SensorErrorModel(SHT_ERRORS, 5, bias_k=0.0, bias_pct=0.0, lost=0.0)
    values = got(readings(model, 8000))
    assert statistics.stdev(m.humidity_pct for m in values) == pytest.approx(0.08 / 3, rel=0.1)


def test_new_sensors_are_mostly_within_their_accuracy() -> None:
    biases = [SensorErrorModel(DHT22_ERRORS, seed).bias_k for seed in range(1000)]
    assert 0.95 < sum(abs(b) <= 0.5 for b in biases) / 1000 < 1.0
    assert statistics.fmean(biases) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("lost", [0.0, 0.1, 0.4, 1.0])
def test_the_share_of_lost_measurements_is_as_said(lost: float) -> None:
    seen = readings(SensorErrorModel(DHT22_ERRORS, 2, lost=lost), 20_000)
    assert seen.count(None) / len(seen) == pytest.approx(lost, abs=0.01)


def test_losses_and_noise_do_not_repeat_from_pass_to_pass() -> None:
    seen = readings(SensorErrorModel(DHT22_ERRORS, 2), 2 * 8192)
    assert seen[:8192] != seen[8192:]


def test_the_sensor_lags_behind_a_step() -> None:
    figures = ErrorFigures(0, 0, 0, 0, 1e6, 1e6, 20.0, 8.0, 0, 0, -40.0, 80.0, 0.0, 100.0)
    model = SensorErrorModel(figures, 1)
    model.observe(0.0, 20.0, 50.0)
    for i in range(1, 9):
        measured = model.observe(2.5 * i, 30.0, 70.0)
    assert measured is not None
    # After 20 s: 1 − 1/e of the step with a time constant of 20 s, 1 − exp(−2.5) with 8 s.
    assert measured.temperature_c == pytest.approx(20.0 + 10.0 * (1 - math.exp(-1)), abs=1e-5)
    assert measured.humidity_pct == pytest.approx(50.0 + 20.0 * (1 - math.exp(-2.5)), abs=1e-5)


def test_humidity_drifts_by_no_more_than_said_in_a_year() -> None:
    drifts = []
    for seed in range(80):
        model = SensorErrorModel(DHT22_ERRORS, seed, bias_k=0.0, bias_pct=0.0, lost=0.0)
        model.observe(0.0, 24.0, 55.0)
        year = [model.observe(YEAR_S + 2.5 * i, 24.0, 55.0) for i in range(40)]
        drifts.append(statistics.fmean(m.humidity_pct for m in got(year)) - 55.0)
    assert max(map(abs, drifts)) < 0.7
    assert max(drifts) > 0.3
    assert min(drifts) < -0.3


def test_a_sensor_clips_at_the_ends_of_its_range() -> None:
    wet = got(readings(SensorErrorModel(DHT22_ERRORS, 1), 50, rh=105.0))
    assert {m.humidity_pct for m in wet} == {99.9}
    cold = got(readings(SensorErrorModel(DHT11_ERRORS, 1), 50, t=-20.0))
    assert {m.temperature_c for m in cold} == {0.0}


def test_a_perfect_sensor_says_what_is() -> None:
    assert SensorErrorModel(PERFECT, 9).observe(0.0, 24.25, 55.5)[:2] == (24.25, 55.5)


@pytest.mark.parametrize(
    ("driver", "device", "figures"),
    [
        ("dht22", None, DHT22_ERRORS),
        ("dht11", None, DHT11_ERRORS),
        ("iio", "dht11", DHT22_ERRORS),
        ("iio", "bme280", BME280_ERRORS),
        ("hwmon", "sht4x", SHT_ERRORS),
        ("simulated", None, DHT22_ERRORS),
    ],
)
def test_each_kind_of_sensor_has_its_figures(
    driver: str, device: str | None, figures: ErrorFigures
) -> None:
    assert figures_for(driver, device) is figures


def test_a_source_asks_the_air_when_it_is_read() -> None:
    state = {"now": 0.0, "air": (20.0, 50.0)}
    source = ModelledSource(
        SensorErrorModel(PERFECT, 1),
        lambda: state["air"],  # type: ignore[return-value,arg-type]
        lambda: state["now"],  # type: ignore[return-value,arg-type]
    )
    assert source.measurement() == (20.0, 50.0, None)
    state.update(now=60.0, air=(25.0, 40.0))
    assert source.measurement() == (25.0, 40.0, None)


def test_the_noise_is_that_of_the_standard_library() -> None:
    """`random.gauss` one by one, after Box and Muller as well."""
    rng = random.Random(1960)
    normal, uniform = sensor_error._tables()
    assert normal == tuple(rng.gauss(0.0, 1.0) for _ in normal)
    assert uniform == tuple(rng.random() for _ in uniform)
