"""Sensors that Linux shows under /sys/bus/iio: DHT22 and DHT11, BME280, BME680, SCD30, SCD4x."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from controller.sensors import sysfs
from controller.sensors.driver import ErrorKind, Measurement, SensorError

# These print percent where the interface asks for thousandths of a percent.
_PRINTS_PERCENT = ("bme680",)


class IioDriver:
    """Reads `in_temp` and `in_humidityrelative`, processed or raw.

    Units as the kernel lays down in Documentation/ABI/testing/sysfs-bus-iio: `_input` is in
    thousandths, and so is (`_raw` + `_offset`) × `_scale`.

    Parameters
    ----------
    device : str
        The device's `name` or `label`, or the device it belongs to, such as "dht11@4" or "1-0076".
    root : Path
        Where sysfs is mounted.

    Raises
    ------
    SensorError
        When there is no such device, it is not the only one, or it measures no humidity.
    """

    def __init__(self, device: str, root: Path = Path("/sys")) -> None:
        self._device = device
        self._directory = root / "bus" / "iio" / "devices"
        self._channels: tuple[Callable[[], float], Callable[[], float]] | None = None
        self._locate()

    def _locate(self) -> tuple[Callable[[], float], Callable[[], float]]:
        entry = sysfs.find(self._directory, "iio:device*", self._device)
        temperature = _channel(entry, "in_temp")
        humidity = _channel(entry, "in_humidityrelative")
        if temperature is None or humidity is None:
            raise SensorError(
                ErrorKind.UNSUPPORTED,
                f"{self._device!r} does not measure both temperature and humidity",
            )
        if (entry / "name").read_text("utf-8", "replace").strip() in _PRINTS_PERCENT:
            humidity = _percent_as_thousandths(humidity)
        self._channels = temperature, humidity
        return self._channels

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`. Blocks for up to a second with a DHT22 or DHT11."""
        temperature, humidity = self._channels or self._locate()
        try:
            # The dht11 driver answers the second out of the measurement made for the first.
            return Measurement(temperature() / 1000.0, humidity() / 1000.0)
        except SensorError as error:
            if error.kind is ErrorKind.MISSING:
                self._channels = None  # it may come back under another number
            raise

    def close(self) -> None:
        """Nothing to close."""


def _channel(entry: Path, stem: str) -> Callable[[], float] | None:
    """Say how to read one quantity in thousandths; None when the device does not measure it."""
    processed = entry / f"{stem}_input"
    if processed.exists():
        return lambda: sysfs.number(processed)
    raw = entry / f"{stem}_raw"
    if not raw.exists():
        return None
    # Drivers leave out an offset or a scale that is neutral.
    offset, scale = entry / f"{stem}_offset", entry / f"{stem}_scale"

    def from_raw() -> float:
        shift = sysfs.number(offset) if offset.exists() else 0.0
        factor = sysfs.number(scale) if scale.exists() else 1.0
        return (sysfs.number(raw) + shift) * factor

    return from_raw


def _percent_as_thousandths(humidity: Callable[[], float]) -> Callable[[], float]:
    def corrected() -> float:
        value = humidity()
        # A kernel that has put this right prints thousandths: nothing above 100 can be percent, and
        # nothing up to 0.1 % is ever measured.
        return value * 1000.0 if value <= 100.0 else value

    return corrected
