"""Whether this installation has the libraries that a config's sensors need."""

from __future__ import annotations

import importlib.util
from typing import TYPE_CHECKING

from controller.config.problems import Problem
from controller.config.yaml_parser import read

if TYPE_CHECKING:
    from controller.config import Loaded


def has_dht_library() -> bool:
    """Whether adafruit_dht is here; Debian has no package of it. It is looked up, not imported."""
    return importlib.util.find_spec("adafruit_dht") is not None


def dht_library_warning(loaded: Loaded, name: str, has_library: bool) -> Problem | None:
    """The warning of a DHT22 or DHT11 that nobody here can read; None where it can be read.

    Parameters
    ----------
    loaded : Loaded
        A checked config.
    name : str
        What to call its file.
    has_library : bool
        See `has_dht_library`.
    """
    if has_library:
        return None
    for number, sensor in enumerate(loaded.settings.sensors):
        if sensor.driver in ("dht22", "dht11"):
            place = read(loaded.text, name).place(("sensors", number, "driver"))
            return Problem(
                name,
                *place,
                f"this installation lacks the library that reads `driver: {sensor.driver}`, so "
                f"that {sensor.name} would tell nothing",
                f"the kernel to read it: `dtoverlay=dht11,gpiopin={sensor.pin}` in "
                "/boot/firmware/config.txt (for a DHT22 as well), and here `driver: iio` with the "
                "`device` that `lungwort sensors` then shows",
            )
    return None
