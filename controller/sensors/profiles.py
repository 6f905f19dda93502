"""What to expect of each kind of sensor: its data sheet in the terms of `readings.Profile`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.control.plausibility import Profile

if TYPE_CHECKING:
    from controller.config.sections.sensors import Sensor

_HOUR_S = 3600.0

# Ranges and accuracies are the data sheets' (Aosong AM2302 and DHT11; Sensirion SHT3x, SHT4x and
# SCD4x; Bosch BME280 and BME680), the SHT, SCD and BME ones from memory. Humidity accuracies are
# the largest a sheet admits. Humidity has no range of its own beyond 0–100 %: a sensor that reads
# 97 % outside its best range still says that the air is wet, which a tent must hear.
DHT22 = Profile(low_c=-40.0, high_c=80.0, accuracy_k=0.5, accuracy_pct=5.0)
# Whole degrees and percents: a quiet tent stands still for hours.
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
