"""A sysfs-like tree with the links that the kernel makes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path


def add_iio(root: Path, index: int, parent: str, files: Mapping[str, str]) -> Path:
    """Add an iio device under its parent device, such as "dht11@4"; give its directory."""
    home = root / "devices" / "platform" / parent / f"iio:device{index}"
    _fill(home, files)
    _link(root / "bus" / "iio" / "devices" / home.name, home)
    return home


def add_hwmon(root: Path, index: int, parent: str, files: Mapping[str, str]) -> Path:
    """Add a hwmon device under its parent device, such as "1-0044"; give its directory."""
    device = root / "devices" / "platform" / "soc" / "i2c-1" / parent
    home = device / "hwmon" / f"hwmon{index}"
    _fill(home, files)
    _link(home / "device", device)
    _link(root / "class" / "hwmon" / home.name, home)
    return home


def _fill(home: Path, files: Mapping[str, str]) -> None:
    home.mkdir(parents=True)
    for name, text in files.items():
        (home / name).write_text(text + "\n")


def _link(link: Path, target: Path) -> None:
    link.parent.mkdir(parents=True, exist_ok=True)
    link.symlink_to(target)
