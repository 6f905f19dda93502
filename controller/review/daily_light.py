"""How much light the plants got: an estimate, for want of a light sensor."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller import plants
from controller.review.aggregates import Hour
from controller.review.source import RecordSource

# Photons of the poorest and the best lamps sold per joule [µmol/J]: those that sizing reckons with,
# whose module would take longer to import than a review takes.
EFFICACIES = (1.6, 3.0)

# Daily light that a crop should not go below [mol/m² a day] (common practice, no source); an
# unknown one is taken to bear fruit.
_LIGHT_WANTED = {"lettuce": 12.0, "basil": 12.0, "herbs": 12.0, "pepper": 20.0, "tomato": 20.0}
_LIGHT_WANTED_ELSE = 20.0


class DailyLight(NamedTuple):
    """Daily light integral over the floor [mol/m² a day], estimated from the lamp's power."""

    best: float
    low: float
    high: float


def photons_mol_m2(source: RecordSource, hours: Sequence[Hour]) -> float:
    """What the lamp shed on the floor [mol/m²] by common efficacies; see `plants.lamp_ppfd`."""
    return sum(
        plants.lamp_ppfd(hour.aggregates.lamp_j, source.terms.in_force(hour.config_id).floor_m2)
        / 1e6
        for hour in hours
        if hour.aggregates.lamp_j > 0.0
    )


def daily_light(photons: float, days: int) -> DailyLight | None:
    """The mean of so many days; none for a lamp of no power or hours without readings."""
    if days == 0 or photons <= 0.0:
        return None
    best = photons / days
    low, high = (best * end / plants.LAMP_EFFICACY for end in EFFICACIES)
    return DailyLight(best, low, high)


def light_wanted(crop: str | None) -> float:
    """The daily light that a crop, by its kind or unknown, should not go below [mol/m² a day]."""
    return _LIGHT_WANTED.get(crop or "", _LIGHT_WANTED_ELSE)
