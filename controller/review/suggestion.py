"""One change of which replays show that it helps, with all that it does and costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.review.changes import SettingChange
from controller.review.compare import LEAST_SAVED, DayChange, weighted
from controller.review.excursions import KINDS, Kind

if TYPE_CHECKING:
    from controller.review.daily_light import DailyLight

HOURS_UNITS = {"temperature": "K h", "humidity": "% h", "vpd": "Pa h"}
"""Units of distance from the band times time."""


class Suggestion(NamedTuple):
    """One change and what it would have done.

    Attributes
    ----------
    change : SettingChange
        What is changed.
    kind : Kind
        What it is meant to help.
    days : tuple of DayChange
        Each day it was judged on, those under review first.
    reviewed : int
        How many of them are under review.
    price_per_kwh : float or None
        The config's.
    knows_fan_power : bool
        Whether the config says what the fan draws, or its flow, which lets it be assumed.
    """

    change: SettingChange
    kind: Kind
    days: tuple[DayChange, ...]
    reviewed: int
    price_per_kwh: float | None
    knows_fan_power: bool

    @property
    def under_review(self) -> tuple[DayChange, ...]:
        """The days under review."""
        return self.days[: self.reviewed]

    @property
    def minutes_saved(self) -> float:
        """How much less of the period would have been out of band [min]."""
        return -sum(day.minutes_more[self.kind] for day in self.under_review)

    @property
    def hours_saved(self) -> float:
        """The same of distance from the band times time [K·h, %·h or Pa·h]."""
        return -sum(day.hours_more[self.kind] for day in self.under_review)

    @property
    def worse(self) -> tuple[tuple[Kind, float, float], ...]:
        """What the period would have had more of: kind, minutes, and distance times time."""
        others = [
            (
                kind,
                sum(day.minutes_more[kind] for day in self.under_review),
                sum(day.hours_more[kind] for day in self.under_review),
            )
            for kind in KINDS
            if kind != self.kind
        ]
        least = LEAST_SAVED * self.reviewed
        return tuple(change for change in others if weighted(*change) >= least)

    @property
    def fan_kwh_more(self) -> float | None:
        """Energy of the fan in the period [kWh]."""
        if not self.knows_fan_power:
            return None
        return sum(day.fan_kwh_more for day in self.under_review)

    @property
    def lamp_kwh_more(self) -> float:
        """Energy of the lamp in the period [kWh]."""
        return sum(day.lamp_kwh_more for day in self.under_review)

    @property
    def cost_more(self) -> float | None:
        """The price of both; None without one."""
        if self.price_per_kwh is None or self.fan_kwh_more is None:
            return None
        return (self.fan_kwh_more + self.lamp_kwh_more) * self.price_per_kwh

    @property
    def peak_more_k(self) -> float:
        """How much higher the highest of the reviewed days' peaks rises [K]; below 0: lower."""
        return max(day.peak_more_k for day in self.under_review)

    @property
    def highest_peak_more_k(self) -> float:
        """The most that any judged day's peak rises [K]."""
        return max(day.peak_more_k for day in self.days)

    @property
    def days_better(self) -> int:
        """How many of the days it was judged on are better."""
        return sum(day.is_better for day in self.days)

    @property
    def days_worse(self) -> int:
        """How many are worse."""
        return sum(day.is_worse for day in self.days)

    @property
    def worst_day(self) -> DayChange:
        """The day that comes off worst."""
        return max(self.days, key=lambda day: day.harm)

    @property
    def light(self) -> DailyLight | None:
        """What the lamp would shed on the floor, where its hours are changed."""
        return self.change.light
