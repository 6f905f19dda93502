"""How much light the plants got: an estimate, for want of a light sensor."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller import plants
from controller.review.source import Source
from controller.review.sums import Hour

# Photons of the poorest and the best lamps sold per joule [µmol/J]: those that sizing reckons with,
# whose module would take longer to import than a review takes.
EFFICACIES = (1.6, 3.0)


class DailyLight(NamedTuple):
    """Daily light integral over the floor [mol/m² a day], estimated from the lamp's power."""

    best: float
    low: float
    high: float


def photons_mol_m2(source: Source, hours: Sequence[Hour]) -> float:
    """What the lamp shed on the floor [mol/m²] by common efficacies; see `plants.lamp_ppfd`."""
    return sum(
        plants.lamp_ppfd(hour.sums.lamp_j, source.terms.of(hour.config_id).floor_m2) / 1e6
        for hour in hours
        if hour.sums.lamp_j > 0.0
    )


def daily_light(photons: float, days: int) -> DailyLight | None:
    """The mean of so many days; none for a lamp of no power or hours without readings."""
    if days == 0 or photons <= 0.0:
        return None
    best = photons / days
    low, high = (best * end / plants.LAMP_EFFICACY for end in EFFICACIES)
    return DailyLight(best, low, high)
