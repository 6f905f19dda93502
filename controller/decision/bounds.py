"""Bounds on the air within which every watch stays as it is.

They are a little narrower than where something would change, so that at their edge the long way
decides: what is here can only save work, never alter a decision. tests/decision/test_settled.py
holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from functools import lru_cache
from math import inf

from controller import air
from controller.decision.rules import Limits
from controller.decision.types import Quantity, Reading
from controller.decision.watches import MOST_PCT_PER_K, WATCHES, WatchKind

# By so much the bounds are narrower than the thresholds, in each quantity's unit (or in seconds):
# far more than rounding, far less than any sensor resolves.
EDGE = 1e-6
# Sensors give tenths of a degree: a few hundred values, which come again and again.
_saturation_pa = lru_cache(maxsize=1024)(air.saturation_vapour_pressure_pa)


class Stage(IntEnum):
    """How far a watch has come, as far as it matters for what may change it."""

    CALM = 0
    DELAYED = 1
    DUE = 2  # its delay is over: the next value past the limit engages it
    LASTING = 3  # engaged, and stays so wherever its value goes
    ENGAGED = 4


Stages = tuple[tuple[Stage, bool], ...]
"""The stage of each of `WATCHES`, and whether it is withheld."""


Box = tuple[Reading, Reading]
"""The lowest and the highest of both quantities: all the air between them."""


class Bounds:
    """The bounds.

    Parameters
    ----------
    limits : Limits
        Those of the phase, day or night.
    deadbands : tuple of float
        Of each watch, in its unit.
    cut_above_c : float
        Where the lamp interlock looks up [°C]; infinite without one.
    stages : Stages
        How far the watches have come.
    """

    __slots__ = (
        "any_engaged",
        "any_withheld",
        "bounds_dew_high",
        "bounds_dew_low",
        "cooler_high_k",
        "cooler_low_k",
        "dew_high_k",
        "dew_low_k",
        "drier_high_pa",
        "drier_high_per_saturation",
        "drier_high_per_vapour",
        "drier_low_pa",
        "drier_low_per_saturation",
        "high_c",
        "high_pa",
        "high_pct",
        "low_c",
        "low_pa",
        "low_pct",
        "weighs_vapour",
    )

    def __init__(
        self, limits: Limits, deadbands: tuple[float, ...], cut_above_c: float, stages: Stages
    ) -> None:
        self.any_engaged = self.any_withheld = self.weighs_vapour = False
        # By how much the intake air may be cooler, and hold less vapour, than the tent's.
        self.cooler_low_k = self.drier_low_pa = self.drier_low_per_saturation = -inf
        self.cooler_high_k = self.drier_high_pa = inf
        self.drier_high_per_saturation = self.drier_high_per_vapour = inf
        low = dict.fromkeys(Quantity, -inf)
        high = dict.fromkeys(Quantity, inf)
        high[Quantity.TEMPERATURE] = cut_above_c

        def inside(kind: WatchKind, edge: float) -> None:
            """Want the value on the good side of an edge; with a negated side, on the bad one."""
            if kind.side > 0:
                high[kind.quantity] = min(high[kind.quantity], edge)
            else:
                low[kind.quantity] = max(low[kind.quantity], edge)

        for kind, (stage, withheld), limit, deadband in zip(
            WATCHES, stages, limits, deadbands, strict=True
        ):
            if stage is Stage.CALM:
                inside(kind, limit)
                continue
            if stage >= Stage.LASTING:
                self.any_engaged = True
                self.any_withheld = self.any_withheld or withheld
                if kind.quantity is not Quantity.TEMPERATURE:
                    self.weighs_vapour = True
                self._bound_potential(kind, deadband, withheld)
                if stage is Stage.LASTING:
                    continue
            elif stage is Stage.DUE:
                inside(kind, limit)
            inside(kind._replace(side=-kind.side), limit - kind.side * deadband)
        self.low_c, self.high_c = (
            low[Quantity.TEMPERATURE] + EDGE,
            high[Quantity.TEMPERATURE] - EDGE,
        )
        self.low_pct, self.high_pct = (
            low[Quantity.HUMIDITY] + EDGE,
            high[Quantity.HUMIDITY] - EDGE,
        )
        self.low_pa, self.high_pa = low[Quantity.VPD] + EDGE, high[Quantity.VPD] - EDGE
        self.dew_low_k = low[Quantity.DEW_POINT] + EDGE
        self.dew_high_k = high[Quantity.DEW_POINT] - EDGE
        self.bounds_dew_low, self.bounds_dew_high = self.dew_low_k > -inf, self.dew_high_k < inf

    def _bound_potential(self, kind: WatchKind, deadband: float, withheld: bool) -> None:
        """Bound what outside air offers, as `compared.potential` and `step_withheld` see it."""
        if not kind.raises:
            self._bound_lowering(kind.quantity, deadband, withheld)
        elif kind.quantity is Quantity.TEMPERATURE:
            if withheld:
                self.cooler_high_k = min(self.cooler_high_k, deadband - EDGE)
            else:
                self.cooler_low_k = max(self.cooler_low_k, EDGE)
        elif not withheld:
            self.drier_low_pa = max(self.drier_low_pa, EDGE)
        elif kind.quantity is Quantity.HUMIDITY:
            per = min(100.0, deadband) / 100.0
            self.drier_high_per_saturation = min(self.drier_high_per_saturation, per - 1e-9)
        elif kind.quantity is Quantity.VPD:
            self.drier_high_pa = min(self.drier_high_pa, deadband - EDGE)
        else:
            per = min(1.0, deadband * MOST_PCT_PER_K / 200.0)
            self.drier_high_per_vapour = min(self.drier_high_per_vapour, per - 1e-9)

    def _bound_lowering(self, quantity: Quantity, deadband: float, withheld: bool) -> None:
        if quantity is Quantity.TEMPERATURE:
            if withheld:
                self.cooler_high_k = min(self.cooler_high_k, -EDGE)
            else:
                self.cooler_low_k = max(self.cooler_low_k, EDGE - deadband)
        elif withheld:
            self.drier_high_pa = min(self.drier_high_pa, -EDGE)
        elif quantity is Quantity.HUMIDITY:
            per = min(100.0, deadband) / 100.0
            self.drier_low_per_saturation = max(self.drier_low_per_saturation, 1e-9 - per)
        else:
            self.drier_low_pa = max(self.drier_low_pa, EDGE - deadband)

    def hold(self, tent: Reading, intake: Reading | None) -> bool:
        """Whether nothing can have changed. True only if sure."""
        air_c, humidity_pct = tent.temperature_c, tent.humidity_pct
        if not (
            self.low_c <= air_c <= self.high_c and self.low_pct <= humidity_pct <= self.high_pct
        ):
            return False
        saturation_pa = _saturation_pa(air_c)
        vapour_pa = saturation_pa * humidity_pct / 100.0
        if not self.low_pa <= saturation_pa - vapour_pa <= self.high_pa:
            return False
        intake_c = air_c
        if intake is not None:
            intake_c = intake.temperature_c
            if self.any_engaged:
                if not self.cooler_low_k <= air_c - intake_c <= self.cooler_high_k:
                    return False
                if self.weighs_vapour and not self._drier_stands(saturation_pa, vapour_pa, intake):
                    return False
        elif self.any_withheld:
            return False
        # The surface is so far from the dew point if its air, so much colder, would be saturated
        # by so much vapour: dew points needn't be worked out.
        surface_c = 0.5 * (air_c + intake_c) if intake_c < air_c else air_c
        if self.bounds_dew_low and vapour_pa > _saturation_pa(surface_c - self.dew_low_k):
            return False
        if self.bounds_dew_high and vapour_pa < _saturation_pa(surface_c - self.dew_high_k):
            return False
        return humidity_pct >= 1.0  # drier than that, the dew point isn't looked at

    def _drier_stands(self, saturation_pa: float, vapour_pa: float, intake: Reading) -> bool:
        intake_pa = _saturation_pa(intake.temperature_c) * intake.humidity_pct / 100.0
        drier_pa = vapour_pa - intake_pa
        return (
            self.drier_low_pa <= drier_pa <= self.drier_high_pa
            and self.drier_low_per_saturation * saturation_pa <= drier_pa
            and drier_pa <= self.drier_high_per_saturation * saturation_pa
            and drier_pa <= self.drier_high_per_vapour * vapour_pa
        )

    def hold_alone(self, tent: Box) -> bool:
        """Whether those that look at the tent's air alone hold for all air of a box.

        Each bound is on something that goes one way only with the tent's temperature and one way
        only with its humidity, as long as the other is held; so it is kept everywhere if it is at
        the worst corner.
        """
        (_, least_c, least_pct), (_, most_c, most_pct) = tent
        if not (
            self.low_c <= least_c <= most_c <= self.high_c
            and self.low_pct <= least_pct <= most_pct <= self.high_pct
        ):
            return False
        least_es, most_es = _saturation_pa(least_c), _saturation_pa(most_c)
        return (
            self.low_pa <= least_es - least_es * most_pct / 100.0
            and most_es - most_es * least_pct / 100.0 <= self.high_pa
        )

    def first_outside(self, tent: Iterable[Reading]) -> tuple[int, Reading | None]:
        """The first reading for which one of those that look at the tent's air alone fails.

        Gives how many there were before, and None where they hold for all.
        """
        low_c, high_c, low_pct, high_pct = self.low_c, self.high_c, self.low_pct, self.high_pct
        low_pa, high_pa, saturation = self.low_pa, self.high_pa, _saturation_pa
        before = 0
        for reading in tent:
            _, air_c, humidity_pct = reading
            if not (low_c <= air_c <= high_c and low_pct <= humidity_pct <= high_pct):
                return before, reading
            saturation_pa = saturation(air_c)
            if not low_pa <= saturation_pa - saturation_pa * humidity_pct / 100.0 <= high_pa:
                return before, reading
            before += 1
        return before, None

    def hold_around(self, tent: Box, intake: Box | None) -> bool:
        """Whether the others, which look at the air around or its absence, hold for boxes of both.

        Of the intake air a bound looks at the temperature or at the vapour pressure alone, whose
        extremes are those of the two readings. The distance from the dew point rises with the
        temperature up to the intake's and falls (or rises) after, so that it is lowest at a
        corner, but not highest: bounded from above, nothing is said.
        """
        (_, least_c, least_pct), (_, most_c, most_pct) = tent
        if self.bounds_dew_high or least_pct < 1.0:
            return False
        least_es, most_es = _saturation_pa(least_c), _saturation_pa(most_c)
        coldest_c = inf
        if intake is not None:
            coldest_c, warmest_c = intake[0].temperature_c, intake[1].temperature_c
            if self.any_engaged:
                if (
                    least_c - warmest_c < self.cooler_low_k
                    or most_c - coldest_c > self.cooler_high_k
                ):
                    return False
                if self.weighs_vapour and not self._drier_stands_between(
                    (least_es, least_pct), (most_es, most_pct), intake
                ):
                    return False
        elif self.any_withheld:
            return False
        if self.bounds_dew_low:
            for air_c, saturation_pa in ((least_c, least_es), (most_c, most_es)):
                surface_c = 0.5 * (air_c + coldest_c) if coldest_c < air_c else air_c
                if saturation_pa * most_pct / 100.0 > _saturation_pa(surface_c - self.dew_low_k):
                    return False
        return True

    def _drier_stands_between(
        self,
        least: tuple[float, float],
        most: tuple[float, float],
        intake: Box,
    ) -> bool:
        """`_drier_stands` at the corners; the tent's as (saturation pressure [Pa], humidity)."""
        (least_es, least_pct), (most_es, most_pct) = least, most
        outside_least_pa, outside_most_pa = (
            _saturation_pa(reading.temperature_c) * reading.humidity_pct / 100.0
            for reading in intake
        )
        most_pa = most_es * most_pct / 100.0
        driest_pa = least_es * least_pct / 100.0 - outside_most_pa
        dampest_pa = most_pa - outside_least_pa
        # Vapour less a share of saturation goes either way with temperature: both ends.
        damp_pa = least_es * most_pct / 100.0 - outside_least_pa
        return (
            driest_pa >= self.drier_low_pa
            and dampest_pa <= self.drier_high_pa
            and driest_pa >= self.drier_low_per_saturation * least_es
            and dampest_pa <= self.drier_high_per_saturation * most_es
            and damp_pa <= self.drier_high_per_saturation * least_es
            and dampest_pa <= self.drier_high_per_vapour * most_pa
        )


bounds_of = lru_cache(maxsize=128)(Bounds)
"""The same few come again and again."""
