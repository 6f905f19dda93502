"""Sensors that Linux shows under /sys/bus/iio: DHT22, HDC100x, SCD4x, MLX90614 and others."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from controller.sensors import sysfs
from controller.sensors.driver import ErrorKind, Measurement, SensorError

# These print percent where the interface asks for thousandths of a percent.
_PRINTS_PERCENT = ("bme680",)
# Concentrations are in percent of volume (sysfs-bus-iio).
_PPM_PER_PERCENT = 1e4

_Read = Callable[[], float]


class _Channels(NamedTuple):
    """How to read what is asked for: thousandths of °C and of %, and percent of CO2."""

    temperature: _Read
    humidity: _Read | None
    co2: _Read | None


class IioDriver:
    """Reads `in_temp`, `in_humidityrelative` and `in_concentration_co2`, processed or raw.

    Units as the kernel lays down in Documentation/ABI/testing/sysfs-bus-iio: `_input` is in
    thousandths, and so is (`_raw` + `_offset`) × `_scale`; concentrations are in percent.

    Parameters
    ----------
    device : str
        The device's `name` or `label`, or the device it belongs to, such as "dht11@4" or "1-0076".
    root : Path
        Where sysfs is mounted.
    measures : frozenset of str
        What to ask for: "temperature", "humidity", "co2"; "leaf" for the temperature that an
        infrared thermometer sees before it (`in_temp_object`), or else measures itself.

    Raises
    ------
    SensorError
        When there is no such device, it is not the only one, or it measures less.
    """

    def __init__(
        self,
        device: str,
        root: Path = Path("/sys"),
        measures: frozenset[str] = frozenset({"temperature", "humidity"}),
    ) -> None:
        self._device = device
        self._measures = measures
        self._directory = root / "bus" / "iio" / "devices"
        self._channels: _Channels | None = None
        self._locate()

    def _locate(self) -> _Channels:
        entry = sysfs.find(self._directory, "iio:device*", self._device)
        temperature = _channel(entry, "in_temp")
        if "leaf" in self._measures:
            temperature = _channel(entry, "in_temp_object", "in_temp") or temperature
        has_humidity = "humidity" in self._measures
        humidity = _channel(entry, "in_humidityrelative") if has_humidity else None
        if temperature is None or (has_humidity and humidity is None):
            raise sysfs.measures_too_little(self._device, has_humidity)
        if humidity is not None and _prints_percent(entry):
            humidity = _percent_as_thousandths(humidity)
        co2 = _channel(entry, "in_concentration_co2") if "co2" in self._measures else None
        self._channels = _Channels(temperature, humidity, co2)
        return self._channels

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`. Blocks for up to a second with a DHT22 or DHT11."""
        temperature, humidity, co2 = self._channels or self._locate()
        try:
            # The dht11 driver answers the second out of the measurement made for the first.
            return Measurement(
                temperature() / 1000.0,
                None if humidity is None else humidity() / 1000.0,
                None if co2 is None else co2() * _PPM_PER_PERCENT,
            )
        except SensorError as error:
            if error.kind is ErrorKind.MISSING:
                self._channels = None  # it may come back under another number
            raise

    def close(self) -> None:
        """Nothing to close."""


def _prints_percent(entry: Path) -> bool:
    name = entry / "name"  # a driver may leave it out
    return name.exists() and sysfs.text(name).strip() in _PRINTS_PERCENT


def _channel(entry: Path, stem: str, shared: str | None = None) -> _Read | None:
    """Say how to read one quantity; None when the device does not measure it.

    Offset and scale may be one for all channels of a type: then they bear the name `shared`.
    """
    processed = entry / f"{stem}_input"
    if processed.exists():
        return lambda: sysfs.number(processed)
    raw = entry / f"{stem}_raw"
    if not raw.exists():
        return None

    def attribute(what: str, neutral: float) -> _Read:
        for name in (stem, shared):
            path = entry / f"{name}_{what}"
            if name is not None and path.exists():
                return lambda: sysfs.number(path)
        return lambda: neutral  # drivers leave out an offset or a scale that is neutral

    offset, scale = attribute("offset", 0.0), attribute("scale", 1.0)
    return lambda: (sysfs.number(raw) + offset()) * scale()


def _percent_as_thousandths(humidity: _Read) -> _Read:
    def corrected() -> float:
        value = humidity()
        # A kernel that has put this right prints thousandths: nothing above 100 can be percent, and
        # nothing up to 0.1 % is ever measured.
        return value * 1000.0 if value <= 100.0 else value

    return corrected
