"""The data sheets of the sensors: what to believe of a measurement, and how far it may be off.

`Profile` is what plausibility checks a measurement against, with the largest errors that a sheet
admits. `ErrorFigures` are the usual errors of a sensor that is in order, for simulated sensors.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.control.plausibility import Profile

if TYPE_CHECKING:
    from controller.config.sections.sensors import Sensor

_HOUR_S = 3600.0

# Ranges and accuracies are the data sheets' (Aosong AM2302 and DHT11; Sensirion SHT3x, SHT4x and
# SCD4x; Bosch BME280 and BME680), the SHT, SCD and BME ones from memory. Humidity accuracies are
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
# The kernel's dht11 driver reads both kinds and does not say which it found.
_KERNEL_DHT = DHT11._replace(low_c=-40.0, high_c=80.0)
_SHT = Profile(low_c=-40.0, high_c=125.0, accuracy_k=0.4, accuracy_pct=3.5, overshoot_pct=6.0)
_BME = Profile(low_c=-40.0, high_c=85.0, accuracy_k=1.0, accuracy_pct=3.0)
_SCD = Profile(low_c=-10.0, high_c=60.0, accuracy_k=1.5, accuracy_pct=9.0)
_ANY_KERNEL = Profile(
    low_c=-40.0, high_c=125.0, accuracy_k=1.0, accuracy_pct=5.0, overshoot_pct=6.0
)

_BY_DEVICE = {
    "dht11": _KERNEL_DHT,
    "dht22": _KERNEL_DHT,
    "am2302": _KERNEL_DHT,
    "sht3x": _SHT,
    "sht4x": _SHT,
    "shtc3": _SHT,
    "bme280": _BME,
    "bme680": _BME,
    "scd30": _SCD,
    "scd4x": _SCD,
}
_BY_DRIVER = {"dht22": DHT22, "dht11": DHT11, "simulated": DHT22}


# Share of measurements that usually fail or are refused, from and to [%]: common practice, no
# source. A Python program that counts a DHT's pulses misses some, and tens of per cent are nothing
# unusual; the kernel misses fewer; what speaks I2C hardly fails at all.
_LOSS_OF_DHT_PCT = (2.0, 30.0)
_LOSS_OF_KERNEL_DHT_PCT = (2.0, 10.0)
_LOSS_PCT = (0.0, 1.0)


def usual_loss_pct(sensor: Sensor) -> tuple[float, float]:
    """Share of a sensor's measurements that usually fail or are refused, from and to [%]."""
    if sensor.driver in ("dht22", "dht11"):
        return _LOSS_OF_DHT_PCT
    device = (sensor.device or "").partition("@")[0]
    return _LOSS_OF_KERNEL_DHT_PCT if device.startswith(("dht", "am2302")) else _LOSS_PCT


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
        # "dht11@4" is one certain dht11.
        profile = _BY_DEVICE.get((sensor.device or "").partition("@")[0], _ANY_KERNEL)
    return profile._replace(
        temperature_offset_k=sensor.temperature_offset_k,
        humidity_offset_pct=sensor.humidity_offset_pct,
    )


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


def figures_for(driver: str, device: str | None = None) -> ErrorFigures:
    """Look up the error figures of a configured sensor.

    Parameters
    ----------
    driver : {"dht22", "dht11", "iio", "hwmon", "simulated"}
        As in the configuration.
    device : str or None
        Kernel name of an iio or hwmon device. The kernel calls a DHT22 "dht11" too.

    Returns
    -------
    ErrorFigures
        Those of a DHT22 unless it is known to be something else.
    """
    if driver == "dht11":
        return DHT11_ERRORS
    if driver == "hwmon" or (driver == "iio" and not (device or "").startswith("dht")):
        return SHT_ERRORS
    return DHT22_ERRORS
