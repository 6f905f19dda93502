"""Shades of a heat map: classes that fit the hours shown, and what the legend says of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.pages.svg import nice_step

# Below this share of the finest step, hours are all alike.
_ALIKE = 0.2
# Which of three depths stand for one, two or three classes.
_DEPTHS = {1: (1,), 2: (0, 2), 3: (0, 1, 2)}
IN_BAND = "heat3"


class HourMean(NamedTuple):
    """An hour's mean and the band then in force, in the user's unit."""

    mean: float
    low: float
    high: float

    @property
    def out_by(self) -> float:
        """How far above its band, or negative: below it."""
        return max(0.0, self.mean - self.high) + min(0.0, self.mean - self.low)


class Measure(NamedTuple):
    """How a quantity is written.

    Attributes
    ----------
    unit, step_unit : str
        Of a value, and of a difference: "°C" and "K".
    finest : float
        The finest step worth a shade of its own: sensors tell no less.
    decimals : int
        Digits behind the point.
    """

    unit: str
    step_unit: str
    finest: float
    decimals: int

    def value(self, value: float) -> str:
        """Such as "24.5 °C"."""
        return f"{self._number(value)} {self.unit}"

    def difference(self, value: float) -> str:
        """Such as "1.5 K"."""
        return f"{self._number(value)} {self.step_unit}"

    def _number(self, value: float) -> str:
        return f"{round(value, self.decimals) + 0.0:g}".replace("-", "−")


class HeatClass(NamedTuple):
    """A shade by its CSS class, and its words in the legend."""

    css: str
    label: str


class HeatScale(NamedTuple):
    """The shade of each hour (None: no value), the legend, and a sentence about both."""

    shades: list[str | None]
    legend: list[HeatClass]
    note: str


def heat_scale(hours: Sequence[HourMean | None], measure: Measure) -> HeatScale:
    """Classes for these hours: by how far they are out of band, or by value where none is.

    Parameters
    ----------
    hours : sequence of HourMean or None
        Shape (n,); None where nothing was known.
    measure : Measure
        The quantity's units.
    """
    known = [hour for hour in hours if hour is not None]
    if not known:
        return HeatScale([None] * len(hours), [], "No hour has a value.")
    if any(hour.out_by for hour in known):
        return _out_of_band(hours, known, measure)
    return _in_band(hours, known, measure)


def class_limits(values: Sequence[float], finest: float) -> list[float]:
    """Round limits that part the values into thirds as nearly as may be; fewer where they can't.

    Parameters
    ----------
    values : sequence of float
        One or more.
    finest : float
        The least distance of limits.
    """
    ranked = sorted(values)
    step = max(finest, nice_step((ranked[-1] - ranked[0]) / 20.0))
    limits: list[float] = []
    for third in (1, 2):
        quantile = ranked[max(0, third * len(ranked) // 3 - 1)]
        limit = round(round(quantile / step) * step, 9)
        if ranked[0] <= limit < ranked[-1] and limit not in limits:
            limits.append(limit)
    return limits


def _class_of(value: float, limits: Sequence[float]) -> int:
    return sum(value > limit for limit in limits)


def _out_of_band(
    hours: Sequence[HourMean | None], known: Sequence[HourMean], measure: Measure
) -> HeatScale:
    out = [hour.out_by for hour in known if hour.out_by]
    distances = [abs(by) for by in out]
    limits = class_limits(distances, measure.finest)
    depths = _DEPTHS[len(limits) + 1]
    shades = [None if hour is None else _shade(hour.out_by, limits) for hour in hours]
    names = _names([measure.difference(limit) for limit in limits])
    legend = []
    if min(out) < 0.0:
        legend += [
            HeatClass(f"heat{2 - depth}", _joined(name, "below"))
            for depth, name in reversed(list(zip(depths, names, strict=True)))
        ]
    if IN_BAND in shades:
        legend.append(HeatClass(IN_BAND, "in band"))
    if max(out) > 0.0:
        legend += [
            HeatClass(f"heat{4 + depth}", _joined(name, "above"))
            for depth, name in zip(depths, names, strict=True)
        ]
    furthest = max(out, key=abs)
    end = f"{measure.difference(abs(furthest))} {'above' if furthest > 0 else 'below'}"
    if limits:
        count = "thirds" if len(limits) == 2 else "two parts"
        note = f"Shades divide the hours out of band into {count} as nearly as round limits do; "
        return HeatScale(shades, legend, f"{note}the furthest is {end}.")
    if len(out) == 1:
        return HeatScale(shades, legend, f"One hour is out of band: {end}.")
    alike = max(distances) - min(distances) < _ALIKE * measure.finest
    much = f"each {end}" if alike else f"{end} at most"
    where = "All hours are" if len(out) == len(known) else f"{len(out)} hours are"
    return HeatScale(shades, legend, f"{where} out of band, {much}.")


def _shade(out_by: float, limits: Sequence[float]) -> str:
    if not out_by:
        return IN_BAND
    depth = _DEPTHS[len(limits) + 1][_class_of(abs(out_by), limits)]
    return f"heat{4 + depth if out_by > 0 else 2 - depth}"


def _in_band(
    hours: Sequence[HourMean | None], known: Sequence[HourMean], measure: Measure
) -> HeatScale:
    means = [hour.mean for hour in known]
    lowest, highest = min(means), max(means)
    if highest - lowest < _ALIKE * measure.finest:
        shades = [None if hour is None else IN_BAND for hour in hours]
        note = f"All hours are alike: {measure.value(sum(means) / len(means))}, in band."
        return HeatScale(shades, [HeatClass(IN_BAND, "in band")], note)
    limits = class_limits(means, _ALIKE * measure.finest)
    depths = _DEPTHS[len(limits) + 1]
    shades = [
        None if hour is None else f"inband{depths[_class_of(hour.mean, limits)]}" for hour in hours
    ]
    names = _names([measure.value(limit) for limit in limits]) if limits else ["in band"]
    legend = [HeatClass(f"inband{depth}", name) for depth, name in zip(depths, names, strict=True)]
    note = (
        f"All hours are in band, from {measure.value(lowest)} to {measure.value(highest)}; "
        "shades divide them as evenly as round limits do."
    )
    return HeatScale(shades, legend, note)


def _names(limits: Sequence[str]) -> list[str]:
    """The classes between the limits, in words; a single one has none."""
    if not limits:
        return [""]
    number = limits[0].rpartition(" ")[0]
    between = [f"{number} to {limits[1]}"] if len(limits) == 2 else []
    return [f"to {limits[0]}", *between, f"over {limits[-1]}"]


def _joined(name: str, side: str) -> str:
    return f"{name} {side}" if name else f"{side} the band"
