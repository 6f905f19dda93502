"""Thermometers on the 1-Wire bus, which Linux shows under /sys/bus/w1: DS18B20 and its kin."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from controller.sensors import sysfs
from controller.sensors.driver import ErrorKind, Measurement, SensorError

# Families of the kernel's w1_therm, by the first byte of their number (from memory): DS18S20,
# DS1822, DS18B20, DS1825, DS28EA00.
FAMILIES = ("10-", "22-", "28-", "3b-", "42-")
# A DS18B20 that lost its supply during the conversion shows its power-on value (data sheet). A data
# wire that lies on ground reads as zeros throughout, whose checksum is right (CRC-8 of zeros is 0);
# air at 0.00 °C to the sixteenth of a kelvin costs a measurement now and then.
_UNBELIEVED = {
    85.0: "after a loss of power; feed it with 3.3 V by its own wire, and shorten its cable",
    0.0: "when its data wire lies on ground; look for a short circuit",
}


def thermometers(root: Path) -> Iterator[Path]:
    """The thermometers on the bus."""
    for entry in sorted((root / "bus" / "w1" / "devices").glob("*")):
        if entry.name.startswith(FAMILIES):
            yield entry


class W1Driver:
    """Reads `temperature`, in thousandths of a degree.

    As the kernel lays down in Documentation/ABI/testing/sysfs-driver-w1_therm. It checks the
    sensor's CRC, and gives an empty text where that fails or nothing answers (w1_therm.c of Linux
    6.12). A read takes up to 0.75 s.

    Parameters
    ----------
    device : str
        The sensor's number, such as "28-0316a2795cd1"; "28-" where it is the only one.
    root : Path
        Where sysfs is mounted.

    Raises
    ------
    SensorError
        When there is no such device, or "28-" means more than one.
    """

    def __init__(self, device: str, root: Path = Path("/sys")) -> None:
        self._device = device
        self._root = root
        self._entry: Path | None = None
        self._locate()

    def _locate(self) -> Path:
        present = list(thermometers(self._root))
        names = ", ".join(entry.name for entry in present)
        if self._device in FAMILIES:
            matches = [entry for entry in present if entry.name.startswith(self._device)]
        else:
            matches = [entry for entry in present if entry.name == self._device]
        if len(matches) > 1:
            raise SensorError(
                ErrorKind.UNSUPPORTED,
                f"{len(matches)} thermometers are called {self._device!r}; set device to the one "
                f"you mean: {names}",
            )
        if not matches:
            raise SensorError(
                ErrorKind.MISSING,
                f"no thermometer called {self._device!r} on the 1-Wire bus (there: "
                f"{names or 'none'}); check the wiring and its 4.7 kΩ from data to 3.3 V, and that "
                "/boot/firmware/config.txt has dtoverlay=w1-gpio,gpiopin=4 with your own pin; "
                "then reboot",
            )
        self._entry = matches[0]
        return matches[0]

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`."""
        entry = self._entry or self._locate()
        try:
            text = sysfs.text(entry / "temperature")
            if not text.strip():
                raise SensorError(
                    ErrorKind.NO_ANSWER,
                    f"{entry.name} did not answer, or its checksum was wrong; check its wiring and "
                    "the 4.7 kΩ from data to 3.3 V",
                )
            temperature_c = sysfs.finite(text, entry / "temperature") / 1000.0
        except SensorError as error:
            if error.kind is ErrorKind.MISSING:
                self._entry = None  # it may come back
            raise
        if temperature_c in _UNBELIEVED:
            raise SensorError(
                ErrorKind.GARBLED,
                f"{entry.name} shows {temperature_c:.0f} °C, which is what it shows "
                f"{_UNBELIEVED[temperature_c]}",
            )
        return Measurement(temperature_c, None)

    def close(self) -> None:
        """Nothing to close."""
