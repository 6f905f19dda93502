"""Where the air of a tent went."""

from __future__ import annotations


class Path:
    """States of a tent, one after the other.

    Attributes
    ----------
    air_c, contents_c : list of float
        Temperatures [°C].
    humidity_ratio : list of float
        Of the air [kg/kg].
    humidity_pct, vpd_pa : list of float
        Relative humidity [%] and VPD [Pa].
    left_over_kg_s : list of float
        What the linearisation left of the transpiration in the step to each state [kg/s].
    """

    __slots__ = (
        "air_c",
        "contents_c",
        "humidity_pct",
        "humidity_ratio",
        "left_over_kg_s",
        "vpd_pa",
    )

    def __init__(self) -> None:
        self.air_c: list[float] = []
        self.contents_c: list[float] = []
        self.humidity_ratio: list[float] = []
        self.humidity_pct: list[float] = []
        self.vpd_pa: list[float] = []
        self.left_over_kg_s: list[float] = []

    def cut(self, length: int) -> None:
        """Leave the first so many."""
        del self.air_c[length:]
        del self.contents_c[length:]
        del self.humidity_ratio[length:]
        del self.humidity_pct[length:]
        del self.vpd_pa[length:]
        del self.left_over_kg_s[length:]
