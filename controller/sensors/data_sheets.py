"""The data sheets of the sensors: what to believe of a measurement, and how far it may be off.

`Profile` is what plausibility checks a measurement against, with the largest errors that a sheet
admits. `ErrorFigures` are the usual errors of a sensor that is in order, for simulated sensors.
`_BY_CHIP` has the sensors that the kernel reads, by `controller.kernel_sensors`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.control.plausibility import Profile
from controller.kernel_sensors import is_one_wire_dht, known_sensor
from controller.sensors.error_figures import (
    AHT_ERRORS,
    BME280_ERRORS,
    BME680_ERRORS,
    DHT11_ERRORS,
    DHT22_ERRORS,
    DS18B20_ERRORS,
    HDC_ERRORS,
    HTU21D_ERRORS,
    MLX90614_ERRORS,
    SCD4X_ERRORS,
    SCD30_ERRORS,
    SHT3X_ERRORS,
    SHT_ERRORS,
    SHTC3_ERRORS,
    SI7020_ERRORS,
    ErrorFigures,
)

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.sensors import Sensor

__all__ = [
    "DHT11",
    "DHT11_ERRORS",
    "DHT22",
    "DHT22_ERRORS",
    "SHT_ERRORS",
    "ErrorFigures",
    "figures_for",
    "profile_of",
    "reads_to_c",
    "tent_reads_to_c",
    "usual_loss_pct",
]

_HOUR_S = 3600.0

# Ranges and accuracies are the data sheets' (Aosong AM2302 and DHT11). Humidity accuracies are
# the largest a sheet admits. Humidity has no range of its own beyond 0–100 %: a sensor that reads
# 97 % outside its best range still says that the air is wet, which matters to a tent.
DHT22 = Profile(low_c=-40.0, high_c=80.0, accuracy_k=0.5, accuracy_pct=5.0)
# Whole degrees and percents: in a quiet tent the values stay the same for hours.
DHT11 = Profile(
    low_c=0.0,
    high_c=60.0,
    accuracy_k=2.0,
    accuracy_pct=5.0,
    step_k=3.0,
    stuck_lit_s=12 * _HOUR_S,
    stuck_dark_s=36 * _HOUR_S,
)
_ANY_KERNEL = Profile(
    low_c=-40.0, high_c=125.0, accuracy_k=1.0, accuracy_pct=5.0, overshoot_pct=6.0
)

_SHT = Profile(low_c=-40.0, high_c=125.0, accuracy_k=0.4, accuracy_pct=3.5, overshoot_pct=6.0)
_BME = Profile(low_c=-40.0, high_c=85.0, accuracy_k=1.0, accuracy_pct=3.0)
_AHT = Profile(low_c=-40.0, high_c=85.0, accuracy_k=0.5, accuracy_pct=3.0)
# A thermometer alone stands still for longer than two quantities do (engineering judgement).
_THERMOMETER = Profile(
    low_c=-55.0,
    high_c=125.0,
    accuracy_k=0.5,
    accuracy_pct=0.0,
    stuck_lit_s=12 * _HOUR_S,
    stuck_dark_s=36 * _HOUR_S,
)

# What to believe, and the usual errors. The data sheets' editions and their figures are from
# memory. Where a sheet has one figure for a part of its range and a larger one for the rest, the
# profile takes the larger of those that a tent may meet.
_BY_CHIP: dict[str, tuple[Profile, ErrorFigures]] = {
    # The kernel's dht11 driver reads both kinds and does not say which it found.
    "DHT22 or DHT11": (DHT11._replace(low_c=-40.0, high_c=80.0), DHT22_ERRORS),
    "SHT3x": (_SHT, SHT3X_ERRORS),  # Sensirion SHT3x-DIS, version 7, 2022
    "SHT4x": (_SHT, SHT_ERRORS),  # Sensirion SHT4x, version 6.5, 2024
    "SHTC3": (_SHT, SHTC3_ERRORS),  # Sensirion SHTC3, version 4, 2021
    "AHT10": (_AHT, AHT_ERRORS),  # ASAIR AHT10, version 1.1, 2018
    "AHT20": (_AHT, AHT_ERRORS),  # ASAIR AHT20, version 1.0, 2020
    # Aosong DHT20, version 1.0, 2021: ±3 % and ±0.5 K.
    "DHT20": (
        _AHT._replace(high_c=80.0),
        AHT_ERRORS._replace(accuracy_k=0.5, accuracy_pct=3.0, high_c=80.0),
    ),
    # TI HDC1008, SNAS649, and HDC1080, SNAS672A, 2016: the worse of the two.
    "HDC1000 to HDC1080": (
        Profile(low_c=-40.0, high_c=125.0, accuracy_k=0.4, accuracy_pct=4.0),
        HDC_ERRORS,
    ),
    # Measurement Specialties HTU21D(F), HPC199, 2015: at most ±5 % at the ends of its range.
    "HTU21D": (_SHT._replace(accuracy_pct=5.0), HTU21D_ERRORS),
    # Silicon Labs Si7020-A20, revision 1.2, 2016: at most ±4 % up to 80 %, more above.
    "Si7020": (_SHT._replace(accuracy_pct=5.0), SI7020_ERRORS),
    "BME280": (_BME, BME280_ERRORS),  # Bosch BST-BME280-DS002, revision 1.6, 2018
    "BME680": (_BME, BME680_ERRORS),  # Bosch BST-BME680-DS001, revision 1.9, 2024
    # Sensirion SCD30, version 1.0, 2020: ±(0.4 K + 0.023 K per kelvin from 25 °C), ±3 %.
    "SCD30": (Profile(low_c=-40.0, high_c=70.0, accuracy_k=1.0, accuracy_pct=3.0), SCD30_ERRORS),
    # Sensirion SCD4x, version 1.4, 2023: ±0.8 K and ±6 % from 15 to 35 °C, else ±1.5 K and ±9 %.
    "SCD40 or SCD41": (
        Profile(low_c=-10.0, high_c=60.0, accuracy_k=1.5, accuracy_pct=9.0),
        SCD4X_ERRORS,
    ),
    "DS18B20": (_THERMOMETER, DS18B20_ERRORS),  # Maxim 19-7487, revision 6, 2019
    # Melexis MLX90614, revision 13, 2019: ±0.5 K for sensor and surface between 0 and 50 °C. The
    # other half kelvin is for a leaf's emissivity, less in a tent whose walls are as warm as it is
    # (engineering judgement).
    "MLX90614": (
        _THERMOMETER._replace(low_c=-70.0, high_c=380.0, accuracy_k=1.0, step_k=3.0),
        MLX90614_ERRORS,
    ),
}
_BY_DRIVER = {"dht22": DHT22, "dht11": DHT11, "simulated": DHT22}


# Share of measurements that usually fail or are refused, from and to [%]: common practice, no
# source. A Python program that counts a DHT's pulses misses some, and tens of per cent are nothing
# unusual; the kernel misses fewer; what speaks I2C hardly fails at all.
_LOSS_OF_DHT_PCT = (2.0, 30.0)
_LOSS_OF_KERNEL_DHT_PCT = (2.0, 10.0)
_LOSS_PCT = (0.0, 1.0)
# So near its end a sensor's range is taken to have ended [K] (engineering judgement: its rounding).
_NEAR_ITS_END_K = 0.5


def usual_loss_pct(sensor: Sensor) -> tuple[float, float]:
    """Share of a sensor's measurements that usually fail or are refused, from and to [%]."""
    if sensor.driver in ("dht22", "dht11"):
        return _LOSS_OF_DHT_PCT
    return _LOSS_OF_KERNEL_DHT_PCT if is_one_wire_dht(sensor.device) else _LOSS_PCT


def profile_of(sensor: Sensor) -> Profile:
    """Give the profile of a configured sensor, with the user's offsets.

    Parameters
    ----------
    sensor : Sensor
        One entry of `sensors`.

    Returns
    -------
    Profile
        By driver, for kernel sensors by the device's name; a cautious one for unknown devices.
    """
    profile = _BY_DRIVER.get(sensor.driver)
    if profile is None:
        known = known_sensor(sensor.driver, sensor.device)
        profile = _ANY_KERNEL if known is None else _BY_CHIP[known.chip][0]
    return profile._replace(
        temperature_offset_k=sensor.temperature_offset_k,
        humidity_offset_pct=sensor.humidity_offset_pct,
    )


def reads_to_c(sensor: Sensor) -> float:
    """Up to where a sensor tells how hot it is [°C]: beyond, it may be hotter yet."""
    profile = profile_of(sensor)
    return profile.high_c + profile.temperature_offset_k - _NEAR_ITS_END_K


def tent_reads_to_c(settings: Settings) -> float:
    """Up to where a config's tent sensors tell how hot it is [°C]."""
    return min(reads_to_c(sensor) for sensor in settings.sensors if sensor.role == "tent")


def figures_for(driver: str, device: str | None = None) -> ErrorFigures:
    """Look up the error figures of a configured sensor.

    Parameters
    ----------
    driver : {"dht22", "dht11", "iio", "hwmon", "w1", "simulated"}
        As in the configuration.
    device : str or None
        Kernel name of an iio, hwmon or w1 device. The kernel calls a DHT22 "dht11" too.

    Returns
    -------
    ErrorFigures
        Those of a DHT22 unless it is known to be something else.
    """
    if driver == "dht11":
        return DHT11_ERRORS
    known = known_sensor(driver, device)
    if known is not None:
        return _BY_CHIP[known.chip][1]
    return SHT_ERRORS if driver in ("iio", "hwmon") else DHT22_ERRORS
