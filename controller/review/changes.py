"""A change that advice tries out on recorded days."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.review.excursions import Kind

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.review.daily_light import DailyLight

MORE_AIR: tuple[Kind, ...] = (("temperature", "above"), ("humidity", "above"), ("vpd", "below"))
"""What more air is tried against; less of it against the rest."""


class SettingChange(NamedTuple):
    """One thing changed.

    Attributes
    ----------
    key : str
        Where the config has it; of a plan that no key stands for, a word of its own.
    was, to : str
        What it is and what is tried, in the user's units.
    settings : Settings
        With the change made.
    cooler_k : float
        How much cooler the intake air is taken to be [K].
    is_plan : bool
        Whether it takes more than the config: another fan, another place.
    light : DailyLight or None
        What the lamp would shed on the floor, where its hours are changed.
    """

    key: str
    was: str
    to: str
    settings: Settings
    cooler_k: float = 0.0
    is_plan: bool = False
    light: DailyLight | None = None


def with_value(settings: Settings, path: str, value: object) -> Settings:
    """The settings with one value changed, by its path of field names."""
    name, _, rest = path.partition(".")
    if rest:
        value = with_value(getattr(settings, name), rest, value)
    return settings.changed(**{name: value})
