"""What a rehearsal counts with: minutes by band, the fan's use, extremes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

J_PER_KWH = 3.6e6
QUANTITIES = ("temperature", "humidity", "vpd")
INTAKE_QUANTITIES = ("temperature", "humidity")
_EXCESS_UNITS = {"temperature": ("k_h", 1.0), "humidity": ("pct_h", 1.0), "vpd": ("kpa_h", 1e3)}

HARM_PER = {"temperature": 1.0, "humidity": 0.1, "vpd": 0.003}
"""What a kelvin, percent and pascal out of band count in harm: about what each is to a plant
(engineering judgement, no source), and in the ratio of the default `worth`."""


@dataclass(slots=True)
class Minutes:
    """How long a quantity was below, in and above its band, and how far.

    Attributes
    ----------
    below, within, above : float
        Time [min].
    hours_below, hours_above : float
        Distance from the band times time [K·h, %·h or Pa·h].
    """

    below: float = 0.0
    within: float = 0.0
    above: float = 0.0
    hours_below: float = 0.0
    hours_above: float = 0.0

    @property
    def total(self) -> float:
        """All of it [min]."""
        return self.below + self.within + self.above

    @property
    def share_within(self) -> float:
        """Share of the time in band, 0–1; NaN of no time at all."""
        return self.within / self.total if self.total else math.nan

    def count(self, below: int, above: int, ticks: int, tick_min: float) -> None:
        """Count ticks; those neither below nor above were in band. How far: see `stray`."""
        self.below += below * tick_min
        self.above += above * tick_min
        self.within += (ticks - below - above) * tick_min

    def stray(self, below: float, above: float, tick_min: float) -> None:
        """Take in how far ticks were out of band, added up."""
        self.hours_below += below * tick_min / 60.0
        self.hours_above += above * tick_min / 60.0

    def plus(self, other: Minutes) -> Minutes:
        """The sum of two."""
        return Minutes(
            self.below + other.below,
            self.within + other.within,
            self.above + other.above,
            self.hours_below + other.hours_below,
            self.hours_above + other.hours_above,
        )

    def excess_json(self, quantity: str) -> dict[str, float]:
        """Distance from the band times time, as the commands print it: K·h, %·h or kPa·h."""
        unit, per = _EXCESS_UNITS[quantity]
        return {
            f"above_{unit}": round(self.hours_above / per, 6),
            f"below_{unit}": round(self.hours_below / per, 6),
        }

    def to_json(self) -> dict[str, float]:
        """As the commands print it."""
        return {
            "below": round(self.below, 3),
            "in": round(self.within, 3),
            "above": round(self.above, 3),
        }


@dataclass(slots=True)
class FanUse:
    """What a fan did, or would have done.

    Attributes
    ----------
    on_s : float
        How long it turned [s].
    speed_s : float
        Speed times time [s].
    energy_j : float
        What it drew [J].
    starts : int
        From standstill.
    """

    on_s: float = 0.0
    speed_s: float = 0.0
    energy_j: float = 0.0
    starts: int = 0

    @property
    def hours(self) -> float:
        """How long it turned [h]."""
        return self.on_s / 3600.0

    @property
    def energy_kwh(self) -> float:
        """What it drew [kWh]."""
        return self.energy_j / J_PER_KWH

    def run(self, speed: float, power_w: float, for_s: float) -> None:
        """Count a stretch at one speed."""
        if speed > 0.0:
            self.on_s += for_s
            self.speed_s += speed * for_s
            self.energy_j += power_w * for_s


@dataclass(slots=True)
class Extreme:
    """A value and when it was [°C, Unix s]."""

    value: float
    at_s: float


def phase_minutes() -> dict[str, Minutes]:
    """Nothing counted yet, by quantity."""
    return {name: Minutes() for name in QUANTITIES}


@dataclass(slots=True)
class IntakeMinutes:
    """How long the intake air itself was out of a tent's band, and the tent's with it.

    Attributes
    ----------
    air : Minutes
        Of the intake air.
    both_below, both_above : float
        Time in which the tent's air was out of band on the same side [min].
    """

    air: Minutes = field(default_factory=Minutes)
    both_below: float = 0.0
    both_above: float = 0.0

    def count(
        self,
        line: tuple[float, float],
        tent: Sequence[float],
        band: tuple[float, float],
        tick_min: float,
    ) -> None:
        """Count ticks: the intake's value at the first and its growth a tick, the tent's values."""
        (first, more), (low, high), ticks = line, band, len(tent)
        ends = (first, first + (ticks - 1) * more)
        below = above = 0
        if min(ends) < low:
            by = [low - first - tick * more for tick in range(ticks)]
            below, both, far = _past(by, [value < low for value in tent])
            self.both_below += both * tick_min
            self.air.stray(far, 0.0, tick_min)
        if max(ends) > high:
            by = [first + tick * more - high for tick in range(ticks)]
            above, both, far = _past(by, [value > high for value in tent])
            self.both_above += both * tick_min
            self.air.stray(0.0, far, tick_min)
        self.air.count(below, above, ticks, tick_min)

    def to_json(self) -> dict[str, float]:
        """As the commands print it."""
        return {
            **self.air.to_json(),
            "below_with_tent": round(self.both_below, 3),
            "above_with_tent": round(self.both_above, 3),
        }


def _past(by: list[float], tent_is: list[bool]) -> tuple[int, int, float]:
    """In how many ticks air is past a limit, in how many the tent is too, and how far in all."""
    past = [far for far in by if far > 0.0]
    both = [1 for far, is_out in zip(by, tent_is, strict=True) if is_out and far > 0.0]
    return len(past), len(both), sum(past)


def intake_phase() -> dict[str, IntakeMinutes]:
    """Nothing counted of the intake air yet, by quantity."""
    return {name: IntakeMinutes() for name in INTAKE_QUANTITIES}
