"""A fan on a digital-to-analogue converter, as EC fans with a 0-10 V input want it.

Through the kernel's industrial I/O: Documentation/ABI/testing/sysfs-bus-iio, `out_voltageY_raw`.
Its scale is not asked for: an mcp4725 without an overlay that names its supply has none (mcp4725.c
of Linux 6.12). A converter keeps its voltage when this process ends, until it loses its power.
"""

from __future__ import annotations

import contextlib
import errno
import os
from dataclasses import dataclass
from pathlib import Path

from controller.outputs.errors import HardwareError, user_name

IIO_ROOT = Path("/sys/bus/iio/devices")


@dataclass(frozen=True, slots=True)
class DacWiring:
    """The converter of a fan; see `controller.config.sections.fan.DacConfig`."""

    device: str
    channel: int
    raw_off: int
    raw_full: int


def find_dac(device: str, channel: int, root: Path = IIO_ROOT) -> Path:
    """Find the file that sets a converter's voltage.

    Parameters
    ----------
    device : str
        The kernel's name of it, such as mcp4725, or its bus address, such as 1-0060.
    channel : int
        Which of its outputs.
    root : pathlib.Path
        Where the kernel lists its industrial I/O.

    Raises
    ------
    HardwareError
        If there is none, more than one, or it has no such output.
    """
    named, others = [], []
    for entry in sorted(root.glob("iio:device*")):
        names = {entry.resolve().parent.name}
        try:
            names.add((entry / "name").read_text("utf-8", "replace").strip())
        except OSError:
            continue
        if device in names:
            named.append(entry)
        others += sorted(names)
    if len(named) > 1:
        raise HardwareError(
            f"{len(named)} devices are called {device!r}; set fan.dac.device to the bus address of "
            "the one you mean, such as 1-0060"
        )
    if not named:
        raise HardwareError(
            f"the kernel shows no converter called {device!r} (there: "
            f"{', '.join(others) or 'none'}); check its wiring and its overlay in "
            "/boot/firmware/config.txt"
        )
    path = named[0] / f"out_voltage{channel}_raw"
    if not path.exists():
        have = ", ".join(sorted(p.name for p in named[0].glob("out_voltage*_raw"))) or "none"
        raise HardwareError(f"{device!r} has no output {channel} (it has: {have})")
    return path


def converter_name(device: str, channel: int, root: Path = IIO_ROOT) -> str:
    """The name that a converter's lock goes by, however the config calls it: its bus address.

    As the config calls it where it isn't there just now.
    """
    with contextlib.suppress(HardwareError):
        device = find_dac(device, channel, root).resolve().parents[1].name
    return f"converter {device}"


class DacFan:
    """A fan whose speed is a voltage.

    Parameters
    ----------
    wiring : DacWiring
        The converter, and its values at rest and at full speed.
    speed : float
        Speed from the first instant, 0-1.
    root : pathlib.Path
        Where the kernel lists its industrial I/O.
    """

    def __init__(self, wiring: DacWiring, *, speed: float, root: Path = IIO_ROOT) -> None:
        self._wiring = wiring
        self._root = root
        self._path = find_dac(wiring.device, wiring.channel, root)
        self.apply(speed)

    def apply(self, speed: float) -> None:
        """Set the speed at every call, which corrects a converter that lost its power."""
        if not 0.0 <= speed <= 1.0:
            raise ValueError(f"a fan speed must lie in 0 to 1, got: {speed}")
        rest, full = self._wiring.raw_off, self._wiring.raw_full
        self._write(round(rest + speed * (full - rest)))

    def release(self) -> None:
        """Give 0 V, as the converter does without power."""
        self._write(0)

    def close(self) -> None:
        """Nothing to close; the converter keeps its voltage."""

    def _write(self, raw: int) -> None:
        try:
            _write(self._path, raw)
        except FileNotFoundError:  # plugged in again, it comes back under another number
            self._path = find_dac(self._wiring.device, self._wiring.channel, self._root)
            _write(self._path, raw)


def _write(path: Path, raw: int) -> None:
    try:
        # Not Path.write_text, which would create a file that the kernel doesn't offer.
        descriptor = os.open(path, os.O_WRONLY | os.O_TRUNC | os.O_CLOEXEC)
        try:
            os.write(descriptor, b"%d\n" % raw)
        finally:
            os.close(descriptor)
    except FileNotFoundError:
        raise
    except OSError as error:
        if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            raise HardwareError(
                f"the fan's converter: no permission to write {path}; the udev rule and the unit's "
                f"ReadWritePaths of systemd/INSTALL.md give it to the group gpio, and "
                f"{user_name()} must be in that group"
            ) from error
        raise HardwareError(
            f"the fan's converter does not take its value ({error.strerror}): {path}; check its "
            "wiring and supply"
        ) from error
