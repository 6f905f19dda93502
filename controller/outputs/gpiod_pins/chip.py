"""Which GPIO chip is that of the Pi's header: by its label, since numbers move between kernels."""

from __future__ import annotations

import errno
from pathlib import Path

import gpiod

# What the kernel calls the header's chip: Pi 0 to 3, Pi 4, Pi 5 (drivers pinctrl-bcm2835.c and
# pinctrl-rp1.c of the Raspberry Pi kernel, from memory).
HEADER_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")


def find_header_chip(devices: Path = Path("/dev")) -> Path:
    """Find the chip behind the header's GPIOs.

    Parameters
    ----------
    devices : pathlib.Path
        Where the kernel puts its GPIO chips.

    Returns
    -------
    pathlib.Path
        The chip's device; a second name of it, as a Pi 5's /dev/gpiochip4, counts once.

    Raises
    ------
    OSError
        If no chip has such a label, more than one has, or those that may have can't be opened.
    """
    labels: dict[Path, str] = {}
    refused: PermissionError | None = None
    for path in sorted({link.resolve() for link in devices.glob("gpiochip*")}):
        try:
            with gpiod.Chip(str(path)) as chip:
                labels[path] = chip.get_info().label
        except PermissionError as error:
            refused = error
    headers = [path for path, label in labels.items() if label in HEADER_LABELS]
    if len(headers) == 1:
        return headers[0]
    if not headers and refused is not None:
        raise refused
    seen = ", ".join(f"{path.name} ({label})" for path, label in labels.items()) or "no chip at all"
    wanted = " or ".join(HEADER_LABELS)
    count = "more than one" if headers else "no"
    raise OSError(errno.ENODEV, f"{count} GPIO chip is labelled {wanted}; found {seen}")
