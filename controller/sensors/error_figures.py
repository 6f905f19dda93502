"""The usual errors of sensors that are in order, by their data sheets: for simulated sensors."""

from __future__ import annotations

from typing import NamedTuple


class ErrorFigures(NamedTuple):
    """What a data sheet admits of one kind of sensor.

    Attributes
    ----------
    accuracy_k, accuracy_pct : float
        Half width of the band that holds nearly every new sensor's constant error [K], [%].
    repeatability_k, repeatability_pct : float
        Half width of the band that holds nearly every repetition; three standard deviations of
        the noise [K], [%].
    steps_per_k, steps_per_pct : float
        Resolution, as so many steps to a kelvin or a percent.
    lag_temperature_s, lag_humidity_s : float
        Time to 63 % of a change [s].
    drift_pct_per_year : float
        How far humidity wanders off in a year [%].
    lost : float
        Share of the measurements that do not come.
    low_c, high_c, low_pct, high_pct : float
        Where the sensor clips [°C], [%].
    """

    accuracy_k: float
    accuracy_pct: float
    repeatability_k: float
    repeatability_pct: float
    steps_per_k: float
    steps_per_pct: float
    lag_temperature_s: float
    lag_humidity_s: float
    drift_pct_per_year: float
    lost: float
    low_c: float
    high_c: float
    low_pct: float
    high_pct: float


# Accuracy, repeatability, drift and resolution: data sheets (Aosong AM2302, Aosong DHT11, Sensirion
# SHT40; the SHT40's and the DHT11's repeatability from memory). Lags in still air inside a housing
# and the share of lost measurements: engineering judgement, no source.
DHT22_ERRORS = ErrorFigures(
    accuracy_k=0.5,
    accuracy_pct=2.0,
    repeatability_k=0.2,
    repeatability_pct=1.0,
    steps_per_k=10.0,
    steps_per_pct=10.0,
    lag_temperature_s=20.0,
    lag_humidity_s=8.0,
    drift_pct_per_year=0.5,
    lost=0.1,
    low_c=-40.0,
    high_c=80.0,
    low_pct=0.1,
    high_pct=99.9,
)
DHT11_ERRORS = ErrorFigures(
    accuracy_k=2.0,
    accuracy_pct=5.0,
    repeatability_k=1.0,
    repeatability_pct=1.0,
    steps_per_k=1.0,
    steps_per_pct=1.0,
    lag_temperature_s=20.0,
    lag_humidity_s=10.0,
    drift_pct_per_year=1.0,
    lost=0.1,
    low_c=0.0,
    high_c=60.0,
    low_pct=5.0,
    high_pct=95.0,
)
SHT_ERRORS = ErrorFigures(
    accuracy_k=0.2,
    accuracy_pct=1.8,
    repeatability_k=0.04,
    repeatability_pct=0.08,
    steps_per_k=100.0,
    steps_per_pct=100.0,
    lag_temperature_s=5.0,
    lag_humidity_s=4.0,
    drift_pct_per_year=0.2,
    lost=0.0005,
    low_c=-40.0,
    high_c=125.0,
    low_pct=0.1,
    high_pct=100.0,
)


def _on_a_bus(
    accuracy: tuple[float, float],
    repeatability: tuple[float, float],
    steps: tuple[float, float],
    lag_s: tuple[float, float],
    drift_pct_per_year: float,
    range_c: tuple[float, float],
) -> ErrorFigures:
    """Of a sensor that loses hardly a measurement; pairs are of temperature and humidity."""
    return ErrorFigures(
        *accuracy, *repeatability, *steps, *lag_s, drift_pct_per_year, 0.0005, *range_c, 0.1, 100.0
    )


# Data sheets as named in `data_sheets._BY_CHIP`, from memory; lags of temperature in still air and
# inside a housing: engineering judgement, no source. Zeros are of humidity that is not measured.
SHT3X_ERRORS = SHT_ERRORS._replace(accuracy_pct=2.0, lag_humidity_s=8.0, drift_pct_per_year=0.25)
SHTC3_ERRORS = SHT3X_ERRORS._replace(repeatability_k=0.1, repeatability_pct=0.1)
HTU21D_ERRORS = _on_a_bus((0.3, 2.0), (0.1, 0.1), (100, 25), (10.0, 5.0), 0.5, (-40.0, 125.0))
SI7020_ERRORS = _on_a_bus((0.3, 3.0), (0.1, 0.1), (100, 40), (10.0, 18.0), 0.25, (-40.0, 125.0))
AHT_ERRORS = _on_a_bus((0.3, 2.0), (0.1, 0.1), (100, 40), (10.0, 8.0), 0.5, (-40.0, 85.0))
HDC_ERRORS = _on_a_bus((0.2, 3.0), (0.1, 0.1), (100, 100), (10.0, 15.0), 0.25, (-40.0, 125.0))
BME280_ERRORS = _on_a_bus((1.0, 3.0), (0.02, 0.06), (100, 125), (10.0, 1.0), 0.5, (-40.0, 85.0))
BME680_ERRORS = BME280_ERRORS._replace(lag_humidity_s=8.0)
SCD30_ERRORS = _on_a_bus((0.4, 3.0), (0.1, 0.1), (100, 100), (10.0, 8.0), 0.25, (-40.0, 70.0))
SCD4X_ERRORS = _on_a_bus((0.8, 6.0), (0.1, 0.4), (100, 100), (120.0, 90.0), 0.25, (-10.0, 60.0))
DS18B20_ERRORS = _on_a_bus((0.5, 0.0), (0.06, 0.0), (16, 100), (60.0, 1.0), 0.0, (-55.0, 125.0))
MLX90614_ERRORS = _on_a_bus((0.5, 0.0), (0.1, 0.0), (50, 100), (1.0, 1.0), 0.0, (-70.0, 380.0))
