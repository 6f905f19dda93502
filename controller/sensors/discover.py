"""What sensors the kernel shows on this machine, each read once, and converters for a fan."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from controller.kernel_sensors import KernelSensor, known_sensor
from controller.measurement import Measurement
from controller.sensors import sysfs
from controller.sensors.driver import SensorError
from controller.sensors.open_sensors import open_kernel_driver
from controller.sensors.w1 import thermometers


class FoundSensor(NamedTuple):
    """A device that can stand in a config.

    Attributes
    ----------
    chip : str
        What it is; the kernel's name of it where we don't know the kind.
    role : {"tent", "leaf"}
        The place that suits it; a sensor of air may as well be the intake's.
    driver, device : str
        As to be written in the config; `device` is a name that no other device there goes by.
    measurement : Measurement or None
        What it read just now.
    problem : str
        Why it could not be read; "" when it could.
    is_alone : bool
        Whether it measures temperature alone, so that it can only stand beside another.
    care : str
        What is particular about it; "" where nothing is.
    """

    chip: str
    role: str
    driver: str
    device: str
    measurement: Measurement | None
    problem: str
    is_alone: bool
    care: str = ""


class FoundConverter(NamedTuple):
    """A digital-to-analogue converter, for a fan with a 0-10 V input.

    Attributes
    ----------
    device : str
        As to be written in the config's `fan.dac`.
    channels : int
        How many outputs it has.
    """

    device: str
    channels: int


class Discovery(NamedTuple):
    """What can be used of what the kernel shows, and names of what lungwort makes nothing of."""

    sensors: tuple[FoundSensor, ...]
    others: tuple[str, ...]
    converters: tuple[FoundConverter, ...] = ()


_CLASSES = (
    ("hwmon", Path("class/hwmon"), "hwmon*", ("humidity1_input",)),
    (
        "iio",
        Path("bus/iio/devices"),
        "iio:device*",
        ("in_humidityrelative_input", "in_humidityrelative_raw"),
    ),
)


def discover(root: Path = Path("/sys")) -> Discovery:
    """Look through hwmon, iio and the 1-Wire bus.

    Parameters
    ----------
    root : Path
        Where sysfs is mounted.
    """
    sensors: list[FoundSensor] = []
    others: list[str] = []
    converters: list[FoundConverter] = []
    for driver, place, pattern, humidity in _CLASSES:
        present = list(sysfs.devices(root / place, pattern))
        for entry, names in present:
            known = next(filter(None, (known_sensor(driver, name) for name in names)), None)
            has_humidity = any((entry / name).exists() for name in humidity)
            own = _own_name(entry)
            taken = [name for other, its in present if other != entry for name in its]
            outputs = len(list(entry.glob("out_voltage*_raw")))
            if outputs:
                device = next((name for name in (own, *sorted(names)) if name not in taken), own)
                converters.append(FoundConverter(device or entry.name, outputs))
                continue
            if not has_humidity and (known is None or "leaf" not in known.measures):
                if not own.startswith("w1_"):  # of a thermometer that is listed below
                    others.append(own or entry.name)
                continue
            device = _name_to_write(known, names, taken)
            sensors.append(_read(driver, device, known, own or entry.name, root))
    for entry in thermometers(root):
        sensors.append(_read("w1", entry.name, known_sensor("w1", entry.name), entry.name, root))
    return Discovery(tuple(sensors), tuple(sorted(set(others))), tuple(converters))


def _own_name(entry: Path) -> str:
    """What the device calls itself; "" where its driver doesn't say, or it has just gone."""
    try:
        return sysfs.text(entry / "name").strip()
    except SensorError:
        return ""


def _name_to_write(known: KernelSensor | None, names: frozenset[str], taken: list[str]) -> str:
    """The name that tells the kind, unless another device goes by it as well."""
    kinds = [name for name in (known.names if known else ()) if name in names]
    for name in (*kinds, *sorted(names)):
        if name not in taken:
            return name
    return sorted(names)[0]


def _read(
    driver: str, device: str, known: KernelSensor | None, name: str, root: Path
) -> FoundSensor:
    role = "leaf" if known is not None and "leaf" in known.measures else "tent"
    alone = known is not None and known.measures == {"temperature"}
    measurement, problem = None, ""
    try:
        opened = open_kernel_driver(driver, device, role, root)
        try:
            measurement = opened.read()
        finally:
            opened.close()
    except SensorError as error:
        problem = error.message
    chip = name if known is None else known.chip
    care = "" if known is None else known.care
    return FoundSensor(chip, role, driver, device, measurement, problem, alone, care)
