"""Whether one way to run the same days is better than another, and what it costs.

How much a minute, a degree and a kilowatt-hour count against one another is a matter of judgement:
it is said here and nowhere else.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from controller.review.excursions import KINDS, Kind
from controller.review.what_if import ReplayedDay

FAR_OUT = {"temperature": 1.0, "humidity": 5.0, "vpd": 200.0}
"""So far from its band, a quantity's minute counts twice, at twice the distance three times [K, %,
Pa] (engineering judgement, no source): a tent that is out of band all day can still be made better
or worse."""

MINUTES_PER_KWH = 60.0
"""Weighted minutes that a kilowatt-hour has to save to be worth it [min] (engineering judgement, no
source): ten are not, an hour is."""

LEAST_SAVED = 10.0
"""Less than this is not worth saying [weighted min a day]."""

# A change of less than so much leaves a day as it is [weighted min].
_NOTHING = 5.0
# So much more time above the heat warning is harm, whatever is gained [min a day].
_HEAT_MIN = 1.0
# What is lost elsewhere, energy included, may eat up this share of what is gained and no more.
_MOST_LOST = 0.5
# Temperature's share of the weighted minutes of the heaviest kind that is too small to come first.
_SMALL_SHARE = 0.1


class DayChange(NamedTuple):
    """What a change did to one day.

    Attributes
    ----------
    date : datetime.date
        The day.
    minutes_more : dict
        Time out of each band more than as configured [min].
    hours_more : dict
        The same of distance times time [K·h, %·h or Pa·h].
    peak_more_k : float
        How much higher the highest temperature was [K].
    warning_more_min : float
        Time above the heat warning more than as configured [min].
    fan_kwh_more, lamp_kwh_more : float
        Energy [kWh].
    """

    date: dt.date
    minutes_more: dict[Kind, float]
    hours_more: dict[Kind, float]
    peak_more_k: float
    warning_more_min: float
    fan_kwh_more: float
    lamp_kwh_more: float

    @classmethod
    def between(cls, before: ReplayedDay, after: ReplayedDay) -> DayChange:
        """The same day twice."""
        return cls(
            before.date,
            {kind: after.minutes[kind] - before.minutes[kind] for kind in KINDS},
            {kind: after.hours[kind] - before.hours[kind] for kind in KINDS},
            after.peak_c - before.peak_c,
            after.warning_min - before.warning_min,
            after.fan_kwh - before.fan_kwh,
            after.lamp_kwh - before.lamp_kwh,
        )

    def weighted_more(self, kind: Kind) -> float:
        """Weighted minutes of one kind more than as configured [min]."""
        return weighted(kind, self.minutes_more[kind], self.hours_more[kind])

    @property
    def out_more_min(self) -> float:
        """Time out of band more than as configured, of all quantities added up [min]."""
        return sum(self.minutes_more.values())

    @property
    def harm(self) -> float:
        """Weighted minutes of all kinds more than as configured [min]."""
        return sum(self.weighted_more(kind) for kind in KINDS)

    @property
    def is_better(self) -> bool:
        """Whether the day was better for it."""
        return self.harm <= -_NOTHING

    @property
    def is_worse(self) -> bool:
        """Whether it was worse."""
        return self.harm >= _NOTHING


def weighted(kind: Kind, minutes: float, hours: float) -> float:
    """Minutes out of band, weighted by how far [min]."""
    return minutes + 60.0 * hours / FAR_OUT[kind[0]]


def foremost(weights: Mapping[Kind, float], temperature: Sequence[Kind], is_grave: bool) -> Kind:
    """Which kind is told first: temperature where it matters, else what weighs most.

    Three minutes too hot are not what a day was like that was too humid for twenty hours.

    Parameters
    ----------
    weights : mapping
        Weighted minutes of each kind [min].
    temperature : sequence
        The kinds of temperature to be thought of, heat before cold.
    is_grave : bool
        Whether the heat went beyond the heat warning.
    """
    heaviest = max(weights, key=lambda kind: weights[kind])
    for kind in temperature:
        if (kind[1] == "above" and is_grave) or (weights[kind] >= _SMALL_SHARE * weights[heaviest]):
            return kind
    return heaviest


def compared(before: Sequence[ReplayedDay], after: Sequence[ReplayedDay]) -> list[DayChange]:
    """What a change did to each day."""
    return [DayChange.between(*both) for both in zip(before, after, strict=True)]


def gain_min(days: Sequence[DayChange], kind: Kind) -> float:
    """Weighted minutes of one kind that a change saves over days [min]."""
    return -sum(day.weighted_more(kind) for day in days)


def net_gain_min(days: Sequence[DayChange]) -> float:
    """The same of all kinds, less what the energy is worth; saved energy makes up for nothing."""
    kwh = sum(day.fan_kwh_more + day.lamp_kwh_more for day in days)
    return -sum(day.harm for day in days) - MINUTES_PER_KWH * max(0.0, kwh)


def is_worth_it(days: Sequence[DayChange], kind: Kind, least_min: float) -> bool:
    """Whether a change saves enough of one kind without as much harm elsewhere.

    Parameters
    ----------
    days : sequence of DayChange
        The days under review.
    kind : Kind
        What it is meant to help.
    least_min : float
        The least worth saying [weighted min].
    """
    gain = gain_min(days, kind)
    return gain >= least_min and net_gain_min(days) >= (1.0 - _MOST_LOST) * gain


def is_harm(days: Sequence[DayChange]) -> bool:
    """Whether days come off no better in all for a change, or spend longer in harmful heat."""
    heat_min = sum(day.warning_more_min for day in days)
    return net_gain_min(days) <= 0.0 or heat_min >= _HEAT_MIN * len(days)
