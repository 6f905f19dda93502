"""Shared by the iio and hwmon drivers: finding a device, reading a number, naming errors."""

from __future__ import annotations

import errno
import math
from collections.abc import Iterator
from pathlib import Path

from controller.sensors.driver import ErrorKind, SensorError

# What the dht11 kernel driver and I2C sensors say when a measurement fails and the next may not.
_PASSING = (errno.ETIMEDOUT, errno.EIO, errno.EAGAIN, errno.EBUSY, errno.EREMOTEIO)
_GONE = (errno.ENOENT, errno.ENODEV, errno.ENXIO)

# Which line of /boot/firmware/config.txt makes the kernel read a sensor. From memory of
# /boot/firmware/overlays/README, which is the place to look when one is refused.
_OVERLAYS = {
    "dht11": "dtoverlay=dht11,gpiopin=4",
    "dht22": "dtoverlay=dht11,gpiopin=4",
    "am2302": "dtoverlay=dht11,gpiopin=4",
    "sht3x": "dtoverlay=i2c-sensor,sht3x",
    "sht4x": "dtoverlay=i2c-sensor,sht4x",
    "shtc3": "dtoverlay=i2c-sensor,shtc3",
    "bme280": "dtoverlay=i2c-sensor,bme280",
    "bme680": "dtoverlay=i2c-sensor,bme680",
}


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
        The entry, and its `name`, its `label`, and the name of the device it belongs to, such as
        "1-0044" (I2C bus and address) or "dht11@4". The number in the entry's own name changes
        from boot to boot and is not among them.
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
    line = _OVERLAYS.get(wanted.partition("@")[0])
    if line is None:
        return "check the wiring and that its kernel driver is loaded"
    i2c = "" if "gpiopin" in line else "dtparam=i2c_arm=on and "
    return (
        f"check the wiring, and that /boot/firmware/config.txt has {i2c}{line} "
        f"with your own {'pin' if not i2c else 'address if it is not the usual one'}; then reboot"
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
    try:
        text = path.read_text("ascii", "replace")
    except OSError as error:
        raise _sensor_error(path, error) from None
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
