"""How warm the leaves of a rehearsed tent were, and the VPD from inside them to the air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from controller.leaf_table import LeafTable
from simulators.tent.step import Exchange


@dataclass(slots=True)
class Range:
    """Mean, lowest and highest of a quantity; NaN and infinite of nothing."""

    count: int = 0
    total: float = 0.0
    lowest: float = math.inf
    highest: float = -math.inf

    @property
    def mean(self) -> float:
        """Mean of all values."""
        return self.total / self.count if self.count else math.nan

    def take_in(self, values: Sequence[float]) -> None:
        """Count some more, at least one."""
        self.count += len(values)
        self.total += sum(values)
        self.lowest = min(self.lowest, min(values))
        self.highest = max(self.highest, max(values))

    def to_json(self, digits: int) -> dict[str, float] | None:
        """As the commands print it."""
        if not self.count:
            return None
        return {
            "mean": round(self.mean, digits),
            "min": round(self.lowest, digits),
            "max": round(self.highest, digits),
        }


@dataclass(slots=True)
class LeafPhase:
    """The leaves while the lamp was lit, or while it was dark [°C], [Pa]."""

    leaf_c: Range = field(default_factory=Range)
    leaf_vpd_pa: Range = field(default_factory=Range)


@dataclass(slots=True)
class LeafFigures:
    """The leaves of a rehearsal, modelled by `controller.plants.leaf_balance`."""

    lit: LeafPhase = field(default_factory=LeafPhase)
    dark: LeafPhase = field(default_factory=LeafPhase)

    def take_in(
        self, exchange: Exchange, lit: bool, air_c: Sequence[float], vpd_pa: Sequence[float]
    ) -> None:
        """Count the leaves in some states of the air.

        Parameters
        ----------
        exchange : Exchange
            Of the leaves with the lamp as it was.
        lit : bool
            Whether it was lit.
        air_c, vpd_pa : sequence of float
            The air [°C], [Pa].
        """
        if air_c:
            phase = self.lit if lit else self.dark
            phase.leaf_c.take_in(_along(exchange.leaf_c, air_c, vpd_pa))
            phase.leaf_vpd_pa.take_in(_along(exchange.leaf_vpd_pa, air_c, vpd_pa))

    def to_json(self) -> dict[str, Any]:
        """As `lungwort rehearse --json` prints them; null for a lamp that never was so."""
        phases = {"lit": self.lit, "dark": self.dark}
        return {
            "leaf_temperature_c": {name: phase.leaf_c.to_json(3) for name, phase in phases.items()},
            "leaf_vpd_pa": {name: phase.leaf_vpd_pa.to_json(1) for name, phase in phases.items()},
        }


def _along(table: LeafTable, air_c: Sequence[float], vpd_pa: Sequence[float]) -> list[float]:
    return [table.at(t_c, vpd) for t_c, vpd in zip(air_c, vpd_pa, strict=True)]
