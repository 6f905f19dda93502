"""Takes fresh measurements from an adafruit_dht object, never its cached ones.

The library keeps the time of the last attempt, failed ones included, and within 2 s of it answers
with the previous values without a word. So attempts are spaced, both values are taken out of one
attempt, and an attempt during which that time ran out is thrown away.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from controller.sensors.driver import ErrorKind, Measurement, SensorError

# From one attempt to the next; the sensor wants 2 s, the library repeats itself within 2 s.
SPACING_S = 2.5
# For so long after an attempt began the library answers out of that attempt.
_SAME_ATTEMPT_S = 2.0

_NO_ANSWER = "not found"


class Device(Protocol):
    """The part of adafruit_dht.DHT22 and DHT11 that is used."""

    def measure(self) -> None:
        """Attempt a measurement, if the last attempt is more than 2 s ago."""

    @property
    def temperature(self) -> float | None:
        """Temperature of the last good attempt [°C]."""

    @property
    def humidity(self) -> float | None:
        """Humidity of the last good attempt [%]."""


class DhtReader:
    """Takes measurements from an adafruit_dht device, no faster than it can give fresh ones.

    Parameters
    ----------
    device : Device
        adafruit_dht.DHT22 or DHT11.
    monotonic_s : callable
        The clock the library itself goes by [s].
    sleep : callable
        Lets seconds of that clock pass.
    """

    __slots__ = ("_device", "_monotonic_s", "_not_before_s", "_sleep")

    def __init__(
        self,
        device: Device,
        monotonic_s: Callable[[], float],
        sleep: Callable[[float], None],
    ) -> None:
        self._device = device
        self._monotonic_s = monotonic_s
        self._sleep = sleep
        self._not_before_s = float("-inf")

    def read(self) -> Measurement:
        """Measure once, after waiting for the sensor to be ready; see `Driver.read`."""
        wait_s = self._not_before_s - self._monotonic_s()
        if wait_s > 0.0:
            self._sleep(wait_s)
        began_s = self._monotonic_s()
        self._not_before_s = began_s + SPACING_S
        try:
            self._device.measure()
            temperature_c, humidity_pct = self._device.temperature, self._device.humidity
        except Exception as error:  # besides RuntimeError, users met OverflowError, IndexError, ...
            raise _sensor_error(error) from error
        if self._monotonic_s() - began_s > _SAME_ATTEMPT_S:
            raise SensorError(ErrorKind.GARBLED, "the measurement took too long to be of one piece")
        if temperature_c is None or humidity_pct is None:
            raise SensorError(ErrorKind.NO_ANSWER, "the sensor gave no values")
        return Measurement(float(temperature_c), float(humidity_pct))


def _sensor_error(error: Exception) -> SensorError:
    text = str(error) or type(error).__name__
    if not isinstance(error, RuntimeError):
        return SensorError(
            ErrorKind.CRASHED, f"the decoder failed ({type(error).__name__}: {text})"
        )
    if _NO_ANSWER in text:
        return SensorError(
            ErrorKind.NO_ANSWER,
            "the sensor did not answer; check its wiring, supply and pull-up resistor",
        )
    return SensorError(ErrorKind.GARBLED, f"the answer could not be understood ({text})")
