"""One measurement as a sensor gives it, before anybody has judged it."""

from __future__ import annotations

from typing import NamedTuple


class Measurement(NamedTuple):
    """Temperature and humidity out of one and the same measurement, as read.

    Attributes
    ----------
    temperature_c : float
        Temperature [°C], no offset applied.
    humidity_pct : float
        Relative humidity [%]; not yet known to be possible.
    """

    temperature_c: float
    humidity_pct: float
