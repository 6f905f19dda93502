"""A sysfs-like tree with the links that the kernel makes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path


def add_iio(
    root: Path, index: int, parent: str, files: Mapping[str, str], *, driver: str | None = None
) -> Path:
    """Add an iio device under its parent device, such as "dht11@4"; give its directory."""
    device = root / "devices" / "platform" / parent
    home = device / f"iio:device{index}"
    _fill(home, files)
    _bind(root, device, driver)
    _link(root / "bus" / "iio" / "devices" / home.name, home)
    return home


def add_hwmon(
    root: Path, index: int, parent: str, files: Mapping[str, str], *, driver: str | None = None
) -> Path:
    """Add a hwmon device under its parent device, such as "1-0044"; give its directory."""
    device = root / "devices" / "platform" / "soc" / "i2c-1" / parent
    home = device / "hwmon" / f"hwmon{index}"
    _fill(home, files)
    _link(home / "device", device)
    _bind(root, device, driver)
    _link(root / "class" / "hwmon" / home.name, home)
    return home


def add_w1(root: Path, number: str, files: Mapping[str, str]) -> Path:
    """Add a thermometer on the 1-Wire bus; give its directory."""
    home = root / "devices" / "w1_bus_master1" / number
    _fill(home, files)
    _link(root / "bus" / "w1" / "devices" / number, home)
    return home


def _bind(root: Path, device: Path, driver: str | None) -> None:
    """Link a device to the driver that it is bound to."""
    if driver is not None:
        bound = root / "bus" / "drivers" / driver
        bound.mkdir(parents=True, exist_ok=True)
        _link(device / "driver", bound)


def _fill(home: Path, files: Mapping[str, str]) -> None:
    home.mkdir(parents=True)
    for name, text in files.items():
        (home / name).write_text(text + "\n")


def _link(link: Path, target: Path) -> None:
    link.parent.mkdir(parents=True, exist_ok=True)
    link.symlink_to(target)
