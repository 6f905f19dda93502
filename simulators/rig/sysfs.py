"""Sensors of a simulated rig that the daemon reads through a tree that looks like sysfs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from controller.kernel_sensors import measures
from controller.sensors.driver import Driver, Measurement
from controller.sensors.open_sensors import open_kernel_driver

if TYPE_CHECKING:
    from controller.config.sections.sensors import Sensor

# By driver: where the kernel lists such devices, how their entries begin, and the files of
# temperature, humidity [thousandths] and, of iio alone, CO2 [percent].
_PLACES = {
    "iio": ("bus/iio/devices", "iio:device"),
    "hwmon": ("class/hwmon", "hwmon"),
    "w1": ("bus/w1/devices", "28-"),
}
_FILES = {
    "iio": ("in_temp_input", "in_humidityrelative_input", "in_concentration_co2_input"),
    "hwmon": ("temp1_input", "humidity1_input"),
    "w1": ("temperature",),
}
_PERCENT_PER_PPM = 1e-4


class SysfsSensor:
    """The real kernel-sensor driver on files that are freshly written before each read.

    Parameters
    ----------
    sensor : Sensor
        The sensor's config: one that the kernel reads.
    root : Path
        Where the tree is.
    measure : callable
        Gives what the sensor would say now; None when the measurement fails.
    """

    def __init__(
        self, sensor: Sensor, root: Path, measure: Callable[[], Measurement | None]
    ) -> None:
        assert sensor.device is not None
        self._measure = measure
        place, stem = _PLACES[sensor.driver]
        if sensor.driver == "w1":
            whole = len(sensor.device) > len(stem)
            entry = root / place / (sensor.device if whole else f"{stem}000000000001")
            entry.mkdir(parents=True, exist_ok=True)
        else:
            entry = _entry(root / place, stem, sensor.device)
        wanted = measures(sensor.driver, sensor.device, sensor.role)
        names = _FILES[sensor.driver]
        if "co2" not in wanted:
            names = names[:2]
        if "humidity" not in wanted:
            names = names[:1]
        # Held open: making a file anew costs milliseconds on some file systems.
        self._files = tuple((entry / name).open("w", encoding="ascii") for name in names)
        self._write(Measurement(20.0, 50.0, 420.0))
        self._driver: Driver = open_kernel_driver(sensor.driver, sensor.device, sensor.role, root)

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
        texts = ["", "", ""]
        if measurement is not None:
            temperature_c, humidity_pct, co2_ppm = measurement
            texts[0] = f"{round(temperature_c * 1000.0)}\n"
            if humidity_pct is not None:
                texts[1] = f"{round(humidity_pct * 1000.0)}\n"
            if co2_ppm is not None:
                texts[2] = f"{co2_ppm * _PERCENT_PER_PPM:.9f}\n"
        for file, text in zip(self._files, texts, strict=False):
            file.seek(0)
            file.truncate()
            file.write(text)
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
