"""Sensors that Linux shows under /sys/class/hwmon: SHT3x, SHT4x, AHT10 and the like."""

from __future__ import annotations

from pathlib import Path

from controller.sensors import sysfs
from controller.sensors.driver import ErrorKind, Measurement, SensorError


class HwmonDriver:
    """Reads `temp1_input` and `humidity1_input`, both in thousandths.

    Units as the kernel lays down in Documentation/hwmon/sysfs-interface.rst.

    Parameters
    ----------
    device : str
        The device's `name` or `label`, or the I2C address it sits at, such as "1-0044".
    root : Path
        Where sysfs is mounted.
    has_humidity : bool
        Whether humidity is asked for; False takes a lone thermometer.

    Raises
    ------
    SensorError
        When there is no such device, it is not the only one, or it measures no humidity.
    """

    def __init__(
        self, device: str, root: Path = Path("/sys"), *, has_humidity: bool = True
    ) -> None:
        self._device = device
        self._has_humidity = has_humidity
        self._directory = root / "class" / "hwmon"
        self._entry: Path | None = None
        self._locate()

    def _locate(self) -> Path:
        entry = sysfs.find(self._directory, "hwmon*", self._device)
        if not (entry / "temp1_input").exists() or (
            self._has_humidity and not (entry / "humidity1_input").exists()
        ):
            raise sysfs.measures_too_little(self._device, self._has_humidity)
        self._entry = entry
        return entry

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`."""
        entry = self._entry or self._locate()
        try:
            temperature_c = sysfs.number(entry / "temp1_input") / 1000.0
            if not self._has_humidity:
                return Measurement(temperature_c, None)
            return Measurement(temperature_c, sysfs.number(entry / "humidity1_input") / 1000.0)
        except SensorError as error:
            if error.kind is ErrorKind.MISSING:
                self._entry = None  # it may come back under another number
            raise

    def close(self) -> None:
        """Nothing to close."""
