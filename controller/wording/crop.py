"""What can be said of the crop in hand: whose bands are its default, and what heat does to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import units
from controller.config.crop_bands import FRUITING_CROPS, LEAF_CROPS
from controller.fire_hazard import dangerous_reading_c

if TYPE_CHECKING:
    from controller.config import Settings

# Common practice, no source; see `controller.config.crop_bands`.
_FLOWERS_DROP_C = units.parse("80 °F", "temperature")
_STAGES_IN_FLOWER = ("flowering", "fruiting", None)


def heat_effect(settings: Settings, hottest_c: float | None = None) -> str:
    """What happens above the heat warning, as a clause; "" where nothing is known of the crop.

    Hotter than any tent is made for, it is no matter of the crop. A warning set lower than the
    temperature at which flowers drop promises nothing.

    Parameters
    ----------
    settings : Settings
        The config.
    hottest_c : float or None
        How hot it got [°C], where it did.
    """
    if hottest_c is not None and hottest_c > dangerous_reading_c(settings):
        return "plants die, and cables, lamp and fabric can catch fire"
    if settings.targets.heat_warning_c < _FLOWERS_DROP_C:
        return ""
    kind, stage = "other", None
    if settings.crop is not None:
        kind, stage = settings.crop.kind, settings.crop.stage
    if kind in LEAF_CROPS or stage not in _STAGES_IN_FLOWER:
        return ""
    is_severe = hottest_c is not None and hottest_c > settings.alarms.severe_heat_c
    if kind in FRUITING_CROPS:
        return "flowers drop and pollination fails" if is_severe else "flowers begin to drop"
    if is_severe:
        return "a fruiting crop drops its flowers, and its pollination fails"
    return "a fruiting crop begins to drop its flowers"


def default_bands_words(settings: Settings) -> str:
    """Whose default the bands are that the config does not give."""
    crop = settings.crop
    if crop is None:
        return "the default of fruiting crops, as no crop is named"
    stage = f", {crop.stage}" if crop.stage is not None else ""
    if crop.kind not in FRUITING_CROPS | LEAF_CROPS:
        return f"the default of a crop that is not known{stage}"
    return f"the default of {crop.kind}{stage}"
