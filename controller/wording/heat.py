"""What heat does to the crop in hand: said of fruiting crops in flower, and of no others."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import units
from controller.config.crop_bands import FRUITING_CROPS, LEAF_CROPS

if TYPE_CHECKING:
    from controller.config import Settings

# Common practice, no source; see `controller.config.crop_bands`.
_FLOWERS_DROP_C = units.parse("80 °F", "temperature")
_STAGES_IN_FLOWER = ("flowering", "fruiting", None)


def heat_effect(settings: Settings) -> str:
    """What happens above the heat warning, as a clause; "" where nothing is known of the crop.

    A warning set lower than the temperature at which flowers drop promises nothing.
    """
    if settings.targets.heat_warning_c < _FLOWERS_DROP_C:
        return ""
    kind, stage = "other", None
    if settings.crop is not None:
        kind, stage = settings.crop.kind, settings.crop.stage
    if kind in LEAF_CROPS or stage not in _STAGES_IN_FLOWER:
        return ""
    if kind in FRUITING_CROPS:
        return "flowers begin to drop"
    return "a fruiting crop begins to drop its flowers"
