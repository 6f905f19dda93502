"""Sensors of a simulated rig that the daemon reads through a tree that looks like sysfs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from controller.sensors.driver import Driver, Measurement
from controller.sensors.hwmon import HwmonDriver
from controller.sensors.iio import IioDriver


class SysfsSensor:
    """The real kernel-sensor driver on files that are freshly written before each read.

    Parameters
    ----------
    driver : {"iio", "hwmon"}
        Which of the two.
    device : str
        The device's name in the config.
    root : Path
        Where the tree is.
    measure : callable
        Gives what the sensor would say now; None when the measurement fails.
    """

    def __init__(
        self, driver: str, device: str, root: Path, measure: Callable[[], Measurement | None]
    ) -> None:
        self._measure = measure
        place = root / ("bus/iio/devices" if driver == "iio" else "class/hwmon")
        stem = "iio:device" if driver == "iio" else "hwmon"
        entry = _entry(place, stem, device)
        names = ("in_temp_input", "in_humidityrelative_input")
        if driver == "hwmon":
            names = ("temp1_input", "humidity1_input")
        # Held open: making a file anew costs milliseconds on some file systems.
        self._files = tuple((entry / name).open("w", encoding="ascii") for name in names)
        self._write(Measurement(20.0, 50.0))
        self._driver: Driver = (
            IioDriver(device, root) if driver == "iio" else HwmonDriver(device, root)
        )

    def read(self) -> Measurement:
        """Measure once; see `controller.sensors.driver.Driver.read`."""
        self._write(self._measure())
        return self._driver.read()

    def close(self) -> None:
        """Let go of the device."""
        self._driver.close()
        for file in self._files:
            file.close()

    def _write(self, measurement: Measurement | None) -> None:
        # A failed measurement leaves nothing to read, where the kernel would answer with EIO.
        for file, value in zip(self._files, measurement or (None, None), strict=True):
            file.seek(0)
            file.truncate()
            file.write("" if value is None else f"{round(value * 1000.0)}\n")
            file.flush()


def _entry(place: Path, stem: str, device: str) -> Path:
    """Find the device's directory or make it."""
    place.mkdir(parents=True, exist_ok=True)
    entries = sorted(place.glob(f"{stem}*"))
    for entry in entries:
        if (entry / "name").read_text("utf-8").strip() == device:
            return entry
    entry = place / f"{stem}{len(entries)}"
    entry.mkdir()
    (entry / "name").write_text(f"{device}\n", "utf-8")
    return entry
