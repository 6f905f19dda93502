"""Shared by the iio and hwmon drivers: finding a device, reading a number, naming errors."""

from __future__ import annotations

import errno
import math
from collections.abc import Iterator
from pathlib import Path

from controller.kernel_sensors import how_to_enable, known_sensor
from controller.sensors.driver import ErrorKind, SensorError

# What the dht11 kernel driver and I2C sensors say when a measurement fails and the next may not.
_PASSING = (errno.ETIMEDOUT, errno.EIO, errno.EAGAIN, errno.EBUSY, errno.EREMOTEIO)
_GONE = (errno.ENOENT, errno.ENODEV, errno.ENXIO)


def devices(directory: Path, pattern: str) -> Iterator[tuple[Path, frozenset[str]]]:
    """List the devices of a class with every lasting name they go by.

    Parameters
    ----------
    directory : Path
        Where the kernel lists the class, e.g. /sys/class/hwmon.
    pattern : str
        Glob of its entries, e.g. "hwmon*".

    Yields
    ------
    tuple of (Path, frozenset of str)
        The entry, and its `name`, its `label`, the name of the device it belongs to, such as
        "1-0044" (I2C bus and address) or "dht11@4", and that of the kernel's driver: some drivers
        name their device by its address, or by the part found. The number in the entry's own name
        changes from boot to boot and is not among them.
    """
    for entry in sorted(directory.glob(pattern)):
        names = set()
        for attribute in ("name", "label"):
            try:
                names.add((entry / attribute).read_text("utf-8", "replace").strip())
            except OSError:
                continue
        # hwmon has a link to the device; an iio entry is itself a link into the device's directory.
        link = entry / "device"
        parent = link.resolve() if link.exists() else entry.resolve().parent
        if parent.name != directory.name:
            names.add(parent.name)
            driver = parent / "driver"
            if driver.exists():
                names.add(driver.resolve().name)
        names.discard("")
        yield entry, frozenset(names)


def find(directory: Path, pattern: str, wanted: str) -> Path:
    """Find the one device that goes by a name.

    Parameters
    ----------
    directory, pattern
        As for `devices`.
    wanted : str
        `name`, `label`, or the name of the device it belongs to.

    Returns
    -------
    Path
        Its directory.

    Raises
    ------
    SensorError
        MISSING with the line that makes the kernel load it, UNSUPPORTED when two go by that name.
    """
    present = list(devices(directory, pattern))
    matches = [(entry, names) for entry, names in present if wanted in names]
    if len(matches) == 1:
        return matches[0][0]
    if matches:
        choices = sorted({n for _, names in matches for n in names if n != wanted})
        raise SensorError(
            ErrorKind.UNSUPPORTED,
            f"{len(matches)} devices under {directory} are called {wanted!r}; "
            f"set device to the one you mean: {', '.join(choices) or 'none has another name'}",
        )
    others = sorted({n for _, names in present for n in names})
    raise SensorError(
        ErrorKind.MISSING,
        f"no device called {wanted!r} under {directory} "
        f"(there: {', '.join(others) or 'none'}); {_advice(wanted)}",
    )


def _advice(wanted: str) -> str:
    known = known_sensor("iio", wanted)
    if known is None:
        return "check the wiring and that its kernel driver is loaded"
    enable = how_to_enable(known)
    if known.overlay is None:
        return f"check the wiring, and make it known to the kernel: {enable}"
    own = "address if it is not the usual one" if known.is_on_i2c else "pin"
    return (
        f"check the wiring, and that /boot/firmware/config.txt has {enable} with your own {own}; "
        "then reboot"
    )


def measures_too_little(device: str, asked_for_humidity: bool) -> SensorError:
    """The error of a device that lacks a quantity that it was asked for."""
    if not asked_for_humidity:
        return SensorError(ErrorKind.UNSUPPORTED, f"{device!r} measures no temperature")
    return SensorError(
        ErrorKind.UNSUPPORTED,
        f"{device!r} does not measure both temperature and humidity; a lone thermometer needs its "
        "kind in the config (driver: w1 for a DS18B20), or role: leaf",
    )


def number(path: Path) -> float:
    """Read one number from a sysfs attribute.

    Parameters
    ----------
    path : Path
        The attribute.

    Returns
    -------
    float
        Its value, whatever number of decimals the kernel prints.

    Raises
    ------
    SensorError
        NO_ANSWER for errors that pass, MISSING when the device has gone, DENIED without permission,
        GARBLED when it is not a finite number.
    """
    return finite(text(path), path)


def text(path: Path) -> str:
    """What an attribute says; SensorError as `number`, where it can't be read."""
    try:
        return path.read_text("ascii", "replace")
    except OSError as error:
        raise _sensor_error(path, error) from None


def finite(text: str, path: Path) -> float:
    """The number that a text from `path` is; SensorError GARBLED where it is none."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise SensorError(ErrorKind.GARBLED, f"{path} reads {text.strip()!r}, expected a number")
    return value


def _sensor_error(path: Path, error: OSError) -> SensorError:
    why = error.strerror or str(error)
    if error.errno in _GONE:
        return SensorError(ErrorKind.MISSING, f"{path} has gone ({why}); check the wiring")
    if error.errno in (errno.EACCES, errno.EPERM):
        return SensorError(
            ErrorKind.DENIED, f"{path} may not be read ({why}); check whose rights the daemon has"
        )
    if error.errno in _PASSING:
        return SensorError(ErrorKind.NO_ANSWER, f"the sensor did not answer ({why}): {path}")
    return SensorError(ErrorKind.CRASHED, f"{path} cannot be read ({why})")
