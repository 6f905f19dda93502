"""The modulating law: the slowest speed at which one step more would no longer pay. Pure.

A fan's power goes with the cube of its speed, and what its air does for the tent does not: at full
speed a tent that is nearly as cool as its intake gains a tenth of a kelvin for twenty watts. So
while a reading is out of its band, the fan takes the speed between the scheduled one and the
override's that costs least: what the tent is then forecast to stray from its bands over half an
hour, put into watts by what the config says it is worth, and the fan's power.

The speed is chosen anew every quarter of an hour, and whenever lamp, schedule or overrides change
what it lies between. Near the heat warning power no longer counts, and far over the band a clearly
cooler intake means full speed, whatever it is worth.
"""

from __future__ import annotations

import math
from enum import IntEnum
from typing import Any, NamedTuple

from controller import air
from controller.control.forecast import (
    Drive,
    Forecast,
    MoistAir,
    Outlook,
    TentModel,
    Worth,
    forecasts,
)
from controller.control.thresholds import Limits
from controller.control.types import Reading

# All four: engineering judgement, tried in tests/benches/laws.py.
FAR_OVER_K = 3.0
"""So far over its band a tent gets full speed where its intake air is clearly cooler [K]."""
NEAR_WARNING_K = 1.5
"""So near to the heat warning, from below or above it, power no longer counts [K]."""
INDISTINCT_K = 0.15
"""There the slowest speed is taken that leaves the tent this near to the coolest it can be [K]: a
sensor shows tenths, and the last of them costs half the power."""
KEPT_W = 0.3
"""The speed that runs stays unless another is better by more than this [W]."""

# Speeds closer to each other than this are not told apart.
LEAST_STEP = 0.05
_SAME = 1e-9


class HeatStage(IntEnum):
    """How hot a tent is that is too hot, as far as it changes the choice."""

    NONE = 0
    NEAR_WARNING = 1  # power no longer counts
    FAR_OVER = 2  # far over its band, by an intake that is not clearly cooler
    URGENT = 3  # far over its band, by an intake that is


class SpeedRange(NamedTuple):
    """What the choice lies between: slowest and fastest speed, as the motor is given them."""

    low: float
    high: float


class Choice(NamedTuple):
    """A speed chosen.

    Attributes
    ----------
    since_s : float
        Monotonic time of the choice [s].
    speed : float
        The speed, 0–1.
    lit : bool
        Whether the lamp was lit.
    between : SpeedRange
        What it was chosen from.
    heat : HeatStage
        How hot the tent was.
    outlook, outlook_at_high : Outlook
        The air half an hour later, at this speed and at the fastest of the range.
    saved_w : float
        What the fan draws less than at the fastest [W].
    """

    since_s: float
    speed: float
    lit: bool
    between: SpeedRange
    heat: HeatStage
    outlook: Outlook
    outlook_at_high: Outlook
    saved_w: float

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """Give the choice as JSON for `restore`, with its age instead of its time."""
        return {
            "age_s": now_s - self.since_s,
            **{name: getattr(self, name) for name in ("speed", "lit", "saved_w")},
            "between": list(self.between),
            "heat": int(self.heat),
            "outlook": list(self.outlook),
            "outlook_at_high": list(self.outlook_at_high),
        }

    @classmethod
    def restore(cls, snapshot: dict[str, Any], made_s: float) -> Choice:
        """Restore a snapshot that was made at a monotonic time, possibly before this boot [s].

        Raises
        ------
        KeyError, TypeError, ValueError
            The snapshot isn't valid.
        """
        numbers = [float(snapshot[name]) for name in ("age_s", "speed", "saved_w")]
        low, high = (float(value) for value in snapshot["between"])
        outlooks = [Outlook(*map(float, snapshot[f"outlook{at}"])) for at in ("", "_at_high")]
        every = (*numbers, low, high, *outlooks[0], *outlooks[1])
        age_s, speed, saved_w = numbers
        if not (all(map(math.isfinite, every)) and age_s >= 0.0 and 0.0 <= low <= speed <= high <= 1.0):
            raise ValueError("not a choice")
        return cls(
            made_s - age_s,
            speed,
            bool(snapshot["lit"]),
            SpeedRange(low, high),
            HeatStage(snapshot["heat"]),
            *outlooks,
            saved_w,
        )


class Modulation(NamedTuple):
    """What the law knows of a config.

    Attributes
    ----------
    tent : TentModel
        The tent.
    drives : tuple of Drive
        By rising speed: at rest, at each step, and at each speed of the schedule and overrides.
    worth : Worth
        What straying from the bands is worth.
    every_s : float
        From one choice to the next [s].
    heat_warning_c : float
        The heat warning [°C].
    doubt_k : float
        What tent and intake sensor may err by in their difference, by their data sheets [K].
    """

    tent: TentModel
    drives: tuple[Drive, ...]
    worth: Worth
    every_s: float
    heat_warning_c: float
    doubt_k: float

    def near_c(self, limits: Limits) -> float:
        """Temperature above which power no longer counts [°C]."""
        return min(self.heat_warning_c - NEAR_WARNING_K, limits.hot_c + FAR_OVER_K)

    def heat_stage(self, tent_c: float, intake_c: float, limits: Limits) -> HeatStage:
        """Say how hot a tent is that is too hot."""
        if tent_c >= limits.hot_c + FAR_OVER_K:
            is_cooler = tent_c - intake_c > self.doubt_k
            return HeatStage.URGENT if is_cooler else HeatStage.FAR_OVER
        return HeatStage.NEAR_WARNING if tent_c >= self.near_c(limits) else HeatStage.NONE


def choose(
    law: Modulation,
    before: Choice | None,
    now_s: float,
    *,
    tent: Reading,
    intake: Reading,
    lit: bool,
    limits: Limits,
    between: SpeedRange,
    is_too_hot: bool,
) -> Choice:
    """Choose the speed, or let the last choice stand.

    Parameters
    ----------
    law : Modulation
        What is known of the tent and the fan.
    before : Choice or None
        The last choice; None where the schedule ruled.
    now_s : float
        Monotonic time [s].
    tent, intake : Reading
        The trusted readings.
    lit : bool
        Whether the lamp is lit.
    limits : Limits
        The bands of the phase.
    between : SpeedRange
        The slowest and the fastest speed to be had; each is one of `law.drives`.
    is_too_hot : bool
        Whether the override for heat is engaged.

    Returns
    -------
    Choice
        The very same object while it stands.
    """
    heat = HeatStage.NONE
    if is_too_hot:
        heat = law.heat_stage(tent.temperature_c, intake.temperature_c, limits)
    if (
        before is not None
        and now_s - before.since_s < law.every_s
        and before.lit is lit
        and before.between == between
        and heat <= before.heat
    ):
        return before
    found = forecasts(
        law.tent,
        _candidates(law.drives, between),
        _moist_air(tent, law.tent.pressure_pa),
        _moist_air(intake, law.tent.pressure_pa),
        lit,
        limits,
        law.worth,
    )
    chosen = _pick(found, heat, None if before is None else before.speed)
    return Choice(
        now_s,
        chosen.drive.speed,
        lit,
        between,
        heat,
        chosen.outlook,
        found[-1].outlook,
        found[-1].drive.power_w - chosen.drive.power_w,
    )


def _candidates(drives: tuple[Drive, ...], between: SpeedRange) -> list[Drive]:
    """The speeds of a range by their rise: both ends, and those a step away from either."""
    low, high = between
    inside = [
        drive
        for drive in drives
        if low + LEAST_STEP - _SAME <= drive.speed <= high - LEAST_STEP + _SAME
    ]
    ends = {drive.speed: drive for drive in drives if drive.speed in between}
    return [ends[low], *inside] + ([ends[high]] if high > low else [])


def _pick(found: list[Forecast], heat: HeatStage, running: float | None) -> Forecast:
    """The cheapest forecast, the slowest of equals; with power left out near the warning."""
    if heat is HeatStage.URGENT:
        return found[-1]
    cheapest = min(found, key=lambda forecast: forecast.cost_w)
    allowed = [forecast for forecast in found if forecast.cost_w <= cheapest.cost_w + KEPT_W]
    if heat is not HeatStage.NONE:
        coolest_c = min(forecast.outlook.air_c for forecast in found)
        cool = [f for f in found if f.outlook.air_c <= coolest_c + INDISTINCT_K]
        # What is worth its power anyway is worth it here.
        cheapest = max(cheapest, cool[0], key=lambda forecast: forecast.drive.speed)
        at = found.index(cheapest)
        allowed = found[at : at + 2]
    return next((f for f in allowed if f.drive.speed == running), cheapest)


def _moist_air(reading: Reading, pressure_pa: float) -> MoistAir:
    air_c = reading.temperature_c
    vapour_pa = 0.01 * reading.humidity_pct * air.saturation_vapour_pressure_pa(air_c)
    return MoistAir(air_c, air.MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa))
