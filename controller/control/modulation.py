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

from controller.control.forecast import Drive, Outlook, TentBalance, Worth
from controller.control.lookahead import Lookahead
from controller.control.thresholds import Limits
from controller.control.types import Reading

# All four: engineering judgement, tried in tests/benches/laws.sh.
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
    """What the choice lies between, and what the schedule asks for, as the motor is given them."""

    low: float
    scheduled: float
    high: float


class SpeedChoice(NamedTuple):
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
    contents_c : float
        Pots and soil, as they are taken to be [°C]; nobody measures them.
    """

    since_s: float
    speed: float
    lit: bool
    between: SpeedRange
    heat: HeatStage
    outlook: Outlook
    outlook_at_high: Outlook
    saved_w: float
    contents_c: float

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """Give the choice as JSON for `restore`, with its age instead of its time."""
        return {
            "age_s": now_s - self.since_s,
            **{name: getattr(self, name) for name in ("speed", "lit", "saved_w", "contents_c")},
            "between": list(self.between),
            "heat": int(self.heat),
            "outlook": list(self.outlook),
            "outlook_at_high": list(self.outlook_at_high),
        }

    @classmethod
    def restore(cls, snapshot: dict[str, Any], made_s: float) -> SpeedChoice:
        """Restore a snapshot that was made at a monotonic time, possibly before this boot [s].

        Raises
        ------
        KeyError, TypeError, ValueError
            The snapshot isn't valid.
        """
        numbers = [float(snapshot[name]) for name in ("age_s", "speed", "saved_w", "contents_c")]
        between = SpeedRange(*map(float, snapshot["between"]))
        outlook = Outlook(*map(float, snapshot["outlook"]))
        at_high = Outlook(*map(float, snapshot["outlook_at_high"]))
        age_s, speed, saved_w, contents_c = numbers
        every = (*numbers, *between, *outlook, *at_high)
        if not all(map(math.isfinite, every)) or age_s < 0.0:
            raise ValueError("not a choice: a number is out of range")
        if not 0.0 <= between.low <= speed <= between.high <= 1.0:
            raise ValueError("not a choice: a speed out of its range")
        return cls(
            made_s - age_s,
            speed,
            bool(snapshot["lit"]),
            between,
            HeatStage(snapshot["heat"]),
            outlook,
            at_high,
            saved_w,
            contents_c,
        )


class Modulation(NamedTuple):
    """What the law knows of a config.

    Attributes
    ----------
    tent : TentBalance
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
        What tent and intake sensor may err by in their difference [K]: the accuracies of their data
        sheets, combined as independent ones (JCGM 100:2008, 5.1.2).
    """

    tent: TentBalance
    drives: tuple[Drive, ...]
    worth: Worth
    every_s: float
    heat_warning_c: float
    doubt_k: float

    @property
    def clearly_cooler_k(self) -> float:
        """How much cooler an intake must read to be cooler beyond doubt [K].

        A lit tent reads about a kelvin warmer than its intake at any speed; with less than three
        times the doubt it hung on the sensors' luck whether full speed was called for.
        """
        return 3.0 * self.doubt_k

    def near_c(self, limits: Limits) -> float:
        """Temperature above which power no longer counts [°C]."""
        return min(self.heat_warning_c - NEAR_WARNING_K, limits.hot_c + FAR_OVER_K)

    def heat_stage(self, tent_c: float, intake_c: float, limits: Limits) -> HeatStage:
        """Say how hot a tent is that is too hot."""
        if tent_c >= limits.hot_c + FAR_OVER_K:
            is_cooler = tent_c - intake_c > self.clearly_cooler_k
            return HeatStage.URGENT if is_cooler else HeatStage.FAR_OVER
        return HeatStage.NEAR_WARNING if tent_c >= self.near_c(limits) else HeatStage.NONE

    def choose(
        self,
        before: SpeedChoice | None,
        now_s: float,
        *,
        tent: Reading,
        intake: Reading,
        lit: bool,
        limits: Limits,
        between: SpeedRange,
        is_too_hot: bool,
        is_near_dew_point: bool = False,
    ) -> SpeedChoice:
        """Choose the speed, or let the last choice stand.

        Parameters
        ----------
        before : SpeedChoice or None
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
            The slowest and the fastest speed to be had; each is one of `drives`.
        is_too_hot, is_near_dew_point : bool
            Whether the override for heat, and that for a surface near the dew point, is engaged.

        Returns
        -------
        SpeedChoice
            The very same object while it stands.
        """
        heat = HeatStage.NONE
        if is_too_hot:
            heat = self.heat_stage(tent.temperature_c, intake.temperature_c, limits)
        if (
            before is not None
            and now_s - before.since_s < self.every_s
            and before.lit is lit
            and before.between == between
            and heat <= before.heat
        ):
            return before
        candidates = _candidates(self.drives, between)
        air_c = tent.temperature_c
        if before is None:
            contents_c = self.tent.settled_contents_c(lit, air_c)
        else:
            contents_c = self.tent.contents_after_c(
                before.contents_c, before.lit, air_c, now_s - before.since_s
            )
        look = Lookahead(
            self, tent, intake, lit, limits, contents_c, counts_dew_point=is_near_dew_point
        )
        if before is not None and before.lit is lit and now_s - before.since_s >= self.every_s:
            look.assume_unknown_heat(
                min(self.drives, key=lambda drive: abs(drive.speed - before.speed))
            )
        drive = self.pick(look, candidates, heat, None if before is None else before.speed)
        return SpeedChoice(
            now_s,
            drive.speed,
            lit,
            between,
            heat,
            look.outlook(drive),
            look.outlook(candidates[-1]),
            candidates[-1].power_w - drive.power_w,
            contents_c,
        )

    def pick(
        self, look: Lookahead, candidates: list[Drive], heat: HeatStage, running: float | None
    ) -> Drive:
        """Pick the slowest speed at which one step more would not pay.

        Parameters
        ----------
        look : Lookahead
            What each brings.
        candidates : list of Drive
            The speeds to be had, by their rise.
        heat : HeatStage
            How hot the tent is.
        running : float or None
            The speed that the last choice gave.
        """
        if heat is HeatStage.URGENT:
            return candidates[-1]
        last = len(candidates) - 1
        at, cost_w = 0, look.cost_w(candidates[0])
        while at < last and (more_w := look.cost_w(candidates[at + 1])) < cost_w:
            at, cost_w = at + 1, more_w
        if heat is HeatStage.NONE:
            # A speed that runs stays while it is as good, so that noise can't change it.
            for drive in candidates[max(0, at - 1) : at + 2]:
                if drive.speed == running and look.cost_w(drive) < cost_w + KEPT_W:
                    return drive
            return candidates[at]
        # What is worth its power anyway is worth it here. Beyond that only heat counts, and in the
        # dark, where the tent cools anyway, what the night gets too dry by as well.
        best_c = look.outlook(candidates[-1]).air_c
        if best_c < look.outlook(candidates[0]).air_c:
            while (
                at < last
                and look.outlook(candidates[at]).air_c > best_c + INDISTINCT_K
                and (look.lit or look.harm_w(candidates[at + 1]) <= look.harm_w(candidates[at]))
            ):
                at += 1
        return candidates[at]


def _candidates(drives: tuple[Drive, ...], between: SpeedRange) -> list[Drive]:
    """The speeds of a range by their rise: both ends, and those a step away from either."""
    low, high = between.low, between.high
    above, below = low + LEAST_STEP - _SAME, high - LEAST_STEP + _SAME
    return [
        drive
        for drive in drives
        if above <= (speed := drive.speed) <= below or speed in (low, high)
    ]
