"""A decision that stands: as long as the air stays within these bounds, nothing can change.

`decide` works them out when it has come to rest and looks here first. The bounds are a little
narrower than where something would change, so that at their edge the long way decides: what is
here can only save work, never alter a decision. tests/decision/test_settled.py holds the two
against each other.
"""

from __future__ import annotations

from functools import lru_cache
from math import inf

from controller import air
from controller.decision.rules import Limits, Rules, Wish
from controller.decision.types import Quantity, Reading, Rule
from controller.decision.watches import LASTS_S, WATCHES, Watches, WatchKind

# By so much the bounds are narrower than the thresholds, in each quantity's unit: far more than
# rounding, far less than any sensor resolves.
_EDGE = 1e-6
# Bound on d(ln es)/dT above −40 °C, in percent per kelvin (it is 11.3 at −40 °C and 7.3 at 0 °C,
# from Clausius–Clapeyron): rules out a surface near the dew point without working that out.
MOST_PCT_PER_K = 12.0
# Sensors give tenths of a degree: a few hundred values, which come again and again.
_saturation_pa = lru_cache(maxsize=1024)(air.saturation_vapour_pressure_pa)


class Settled:
    """The bounds within which a decision stands.

    Parameters
    ----------
    rules : Rules
        What was decided by.
    limits : Limits
        Those of the phase, day or night.
    base : Wish
        The schedule's wish.
    ruling : Rule
        The row that rules.
    watches : Watches
        As they are.
    now_s : float
        Monotonic time of that decision [s].
    """

    __slots__ = (
        "any_engaged",
        "any_withheld",
        "base",
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
        "limits",
        "low_c",
        "low_pa",
        "low_pct",
        "rules",
        "ruling",
        "until_s",
        "watches",
        "weighs_vapour",
    )

    def __init__(
        self,
        rules: Rules,
        limits: Limits,
        base: Wish,
        ruling: Rule,
        watches: Watches,
        now_s: float,
    ) -> None:
        self.rules = rules
        self.limits = limits
        self.base = base
        self.ruling = ruling
        self.watches = watches
        self.until_s = inf
        self.any_engaged = any(w is not None and w.engaged for w in watches)
        self.any_withheld = any(w is not None and w.withheld for w in watches)
        # By how much the intake air may be cooler, and hold less vapour, than the tent's.
        self.cooler_low_k = self.drier_low_pa = self.drier_low_per_saturation = -inf
        self.cooler_high_k = self.drier_high_pa = inf
        self.drier_high_per_saturation = self.drier_high_per_vapour = inf
        low = dict.fromkeys(Quantity, -inf)
        high = dict.fromkeys(Quantity, inf)
        if rules.lamp_is_ours:
            high[Quantity.TEMPERATURE] = rules.cut_above_c

        def inside(kind: WatchKind, edge: float) -> None:
            """Want the value on the good side of an edge; with a negated side, on the bad one."""
            if kind.side > 0:
                high[kind.quantity] = min(high[kind.quantity], edge)
            else:
                low[kind.quantity] = max(low[kind.quantity], edge)

        for kind, watch, limit, deadband, delay_s, lasts_s in zip(
            WATCHES,
            watches,
            limits.as_tuple(),
            rules.deadbands,
            rules.delays_s,
            LASTS_S,
            strict=True,
        ):
            if watch is None:
                inside(kind, limit)
                continue
            if watch.engaged:
                self._bound_potential(kind, deadband, watch.withheld)
                if now_s - watch.since_s < lasts_s:
                    self.until_s = min(self.until_s, watch.since_s + lasts_s - _EDGE)
                    continue  # till then it stays, wherever its value goes
            elif now_s - watch.since_s < delay_s:
                self.until_s = min(self.until_s, watch.since_s + delay_s - _EDGE)
            else:
                inside(kind, limit)  # its delay is over: the next value past the limit engages it
            inside(kind._replace(side=-kind.side), limit - kind.side * deadband)
        self.weighs_vapour = any(
            w is not None and w.engaged and kind.quantity is not Quantity.TEMPERATURE
            for kind, w in zip(WATCHES, watches, strict=True)
        )
        self.low_c, self.high_c = (
            low[Quantity.TEMPERATURE] + _EDGE,
            high[Quantity.TEMPERATURE] - _EDGE,
        )
        self.low_pct, self.high_pct = (
            low[Quantity.HUMIDITY] + _EDGE,
            high[Quantity.HUMIDITY] - _EDGE,
        )
        self.low_pa, self.high_pa = low[Quantity.VPD] + _EDGE, high[Quantity.VPD] - _EDGE
        self.dew_low_k = low[Quantity.DEW_POINT] + _EDGE
        self.dew_high_k = high[Quantity.DEW_POINT] - _EDGE

    def _bound_potential(self, kind: WatchKind, deadband: float, withheld: bool) -> None:
        """Bound what outside air offers, as `compared.potential` and `step_withheld` see it."""
        if not kind.raises:
            self._bound_lowering(kind.quantity, deadband, withheld)
        elif kind.quantity is Quantity.TEMPERATURE:
            if withheld:
                self.cooler_high_k = min(self.cooler_high_k, deadband - _EDGE)
            else:
                self.cooler_low_k = max(self.cooler_low_k, _EDGE)
        elif not withheld:
            self.drier_low_pa = max(self.drier_low_pa, _EDGE)
        elif kind.quantity is Quantity.HUMIDITY:
            per = min(100.0, deadband) / 100.0
            self.drier_high_per_saturation = min(self.drier_high_per_saturation, per - 1e-9)
        elif kind.quantity is Quantity.VPD:
            self.drier_high_pa = min(self.drier_high_pa, deadband - _EDGE)
        else:
            per = min(1.0, deadband * MOST_PCT_PER_K / 200.0)
            self.drier_high_per_vapour = min(self.drier_high_per_vapour, per - 1e-9)

    def _bound_lowering(self, quantity: Quantity, deadband: float, withheld: bool) -> None:
        if quantity is Quantity.TEMPERATURE:
            if withheld:
                self.cooler_high_k = min(self.cooler_high_k, -_EDGE)
            else:
                self.cooler_low_k = max(self.cooler_low_k, _EDGE - deadband)
        elif withheld:
            self.drier_high_pa = min(self.drier_high_pa, -_EDGE)
        elif quantity is Quantity.HUMIDITY:
            per = min(100.0, deadband) / 100.0
            self.drier_low_per_saturation = max(self.drier_low_per_saturation, 1e-9 - per)
        else:
            self.drier_low_pa = max(self.drier_low_pa, _EDGE - deadband)

    def stands(self, now_s: float, tent: Reading, intake: Reading | None) -> bool:
        """Whether nothing can have changed. True only if sure."""
        air_c, humidity_pct = tent.temperature_c, tent.humidity_pct
        if not (
            self.low_c <= air_c <= self.high_c
            and self.low_pct <= humidity_pct <= self.high_pct
            and now_s < self.until_s
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
        surface_c = 0.5 * (air_c + intake_c) if intake_c < air_c else air_c
        if self.dew_high_k == inf and humidity_pct < 100.0 - MOST_PCT_PER_K * (
            self.dew_low_k + air_c - surface_c
        ):
            return True
        if humidity_pct < 1.0:
            return False
        distance_k = surface_c - air.dew_point_c(air_c, humidity_pct)
        return self.dew_low_k <= distance_k <= self.dew_high_k

    def _drier_stands(self, saturation_pa: float, vapour_pa: float, intake: Reading) -> bool:
        intake_pa = _saturation_pa(intake.temperature_c) * intake.humidity_pct / 100.0
        drier_pa = vapour_pa - intake_pa
        return (
            self.drier_low_pa <= drier_pa <= self.drier_high_pa
            and self.drier_low_per_saturation * saturation_pa <= drier_pa
            and drier_pa <= self.drier_high_per_saturation * saturation_pa
            and drier_pa <= self.drier_high_per_vapour * vapour_pa
        )
