"""Where a tent may go, and where it went."""

from __future__ import annotations

from math import inf
from typing import NamedTuple


class Bounds(NamedTuple):
    """Between which temperatures [°C] and relative humidities [%] the air of a tent is to stay."""

    low_c: float
    high_c: float
    low_pct: float
    high_pct: float


ANYWHERE = Bounds(-inf, inf, -inf, inf)


class Path:
    """States of a tent's air, one after the other.

    Attributes
    ----------
    air_c, humidity_pct, vpd_pa : list of float
        Temperature [°C], relative humidity [%] and VPD [Pa].
    """

    __slots__ = ("air_c", "humidity_pct", "vpd_pa")

    def __init__(self) -> None:
        self.air_c: list[float] = []
        self.humidity_pct: list[float] = []
        self.vpd_pa: list[float] = []

    def clear(self) -> None:
        """Begin anew."""
        self.air_c.clear()
        self.humidity_pct.clear()
        self.vpd_pa.clear()
