"""From where on heat in a tent is no matter of plants any more."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.config import Settings

DANGEROUS_C = 60.0
"""Cables, lamp drivers, fans and the fabric of a tent are made for cooler air [°C] (common
practice, no source)."""


def dangerous_reading_c(settings: Settings) -> float:
    """From where on the readings of a tent tell of that [°C]: some sensors end at 60 °C."""
    from controller.sensors.data_sheets import tent_reads_to_c

    return min(DANGEROUS_C, tent_reads_to_c(settings))
