"""One measurement as a sensor gives it, before anybody has judged it."""

from __future__ import annotations

from typing import NamedTuple


class Measurement(NamedTuple):
    """What one sensor measured at one and the same time, as read.

    Attributes
    ----------
    temperature_c : float
        Temperature [°C], no offset applied.
    humidity_pct : float or None
        Relative humidity [%]; not yet known to be possible. None from a lone thermometer.
    co2_ppm : float or None
        Carbon dioxide [ppm by volume]; None from a sensor that does not measure it.
    """

    temperature_c: float
    humidity_pct: float | None
    co2_ppm: float | None = None
