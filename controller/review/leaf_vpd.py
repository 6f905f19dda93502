"""VPD from inside the leaves to the air: modelled from the recorded air and the config's lamp."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller import air, plants
from controller.review.aggregates import Aggregates, Hour, Weighted
from controller.review.source import RecordSource

if TYPE_CHECKING:
    from controller.config import Settings

# Of the time with a recorded VPD; where the model knows less of it, its mean is another time's.
_LEAST_KNOWN = 0.99


def leaf_vpd_total(source: RecordSource, hours: Sequence[Hour]) -> Weighted:
    """Leaf VPD times time [Pa s] over the hours whose config describes lamp and leaves.

    Of a leaf in balance with each hour's mean air, once while the lamp was lit and once while it
    was dark; see `plants.leaf_balance`.
    """
    whole = Weighted()
    known: dict[int, _Leaves | None] = {}
    for hour in hours:
        if hour.config_id not in known:
            known[hour.config_id] = _leaves(source.terms.in_force(hour.config_id).settings)
        leaves, warmth, vpd = (
            known[hour.config_id],
            hour.aggregates.temperature,
            hour.aggregates.vpd,
        )
        if leaves is None:
            continue
        if warmth.day_mean is not None and vpd.day_mean is not None:
            product = leaves.vpd_pa(True, warmth.day_mean, vpd.day_mean) * vpd.lit_known_s
            whole.add(Weighted(product, vpd.lit_known_s, product, vpd.lit_known_s))
        if warmth.night_mean is not None and vpd.night_mean is not None:
            dark_s = vpd.known_s - vpd.lit_known_s
            whole.add(
                Weighted(leaves.vpd_pa(False, warmth.night_mean, vpd.night_mean) * dark_s, dark_s)
            )
    return whole


def leaf_vpd(modelled: Weighted, aggregates: Aggregates) -> Weighted | None:
    """What was modelled; None where it does not cover the time with a recorded VPD."""
    if not 0.0 < aggregates.vpd.known_s * _LEAST_KNOWN <= modelled.known_s:
        return None
    return modelled


class _Leaves(NamedTuple):
    """The leaves of a config: crop, light on the average leaf when lit, pressure of the air."""

    traits: plants.CropTraits
    ppfd: float
    pressure_pa: float

    def vpd_pa(self, lit: bool, air_c: float, vpd_pa: float) -> float:
        ppfd = self.ppfd if lit else 0.0
        return plants.leaf_balance(self.traits, ppfd, air_c, vpd_pa, self.pressure_pa).leaf_vpd_pa


def _leaves(settings: Settings) -> _Leaves | None:
    """None where the config leaves lamp, crop or leaf area open: nothing is made up for them."""
    crop, tent, power_w = settings.crop, settings.tent, settings.lamp.power_w
    if crop is None or power_w <= 0.0:
        return None
    area_m2 = crop.leaf_area_m2
    if area_m2 is None and crop.plants is not None and crop.stage is not None:
        area_m2 = plants.leaf_area_of_plants_m2(crop.kind, crop.plants, crop.stage)
    if not area_m2:
        return None
    floor_m2 = tent.width_m * tent.depth_m
    ppfd = plants.mean_leaf_ppfd(plants.lamp_ppfd(power_w, floor_m2), area_m2, floor_m2)
    pressure_pa = air.pressure_at_elevation_pa(tent.elevation_m)
    return _Leaves(plants.crop_traits(crop.kind), ppfd, pressure_pa)
