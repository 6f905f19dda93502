"""The shortcut of a rehearsal: how long the last decision stands without being made anew.

`decide` costs a rehearsal some ten microseconds, half a million times a year; most of the time it
would only say again what it said a minute before. So after each decision the air is bounded
within which every override stays as it is, and as long as the readings are inside, it is not asked.

The bounds are a little narrower than where something would change, so that at their edge `decide`
is asked: what is here can only save work, never alter a decision.
tests/rehearsal/test_fast_equals_plain.py holds the two against each other.
"""

from __future__ import annotations

from enum import IntEnum
from functools import lru_cache
from math import inf

from controller import air
from controller.control.decide import Decision
from controller.control.modulation import FAR_OVER_K, HeatStage, Modulation, SpeedChoice
from controller.control.override_state import (
    CALM,
    HOT,
    LASTS_S,
    MOST_PCT_PER_K,
    OVERRIDES,
    STALE,
    OverrideKind,
    OverrideState,
)
from controller.control.quiet import near_warning_c
from controller.control.thresholds import Limits, Rules
from controller.control.types import Quantity, Reading

# By so much the bounds are narrower than the thresholds, in each quantity's unit (or in seconds):
# far more than rounding, far less than any sensor resolves.
_EDGE = 1e-6
# Sensors give tenths of a degree: a few hundred values, which come again and again.
_saturation_pa = lru_cache(maxsize=1024)(air.saturation_vapour_pressure_pa)


class _Stage(IntEnum):
    """How far an override has come, as far as it matters for what may change it."""

    CALM = 0
    DELAYED = 1
    DUE = 2  # its delay is over: the next value past the limit engages it
    LASTING = 3  # engaged, and stays so wherever its value goes
    ENGAGED = 4


_Stages = tuple[tuple[_Stage, bool], ...]
"""The stage of each of `OVERRIDES`, and whether it is locked out."""

_Caps = tuple[float, float, float]
"""What choice and quiet hours allow of heat: lowest and highest temperature [°C], and how far the
intake is cooler [K]."""

_NO_CAPS: _Caps = (-inf, inf, inf)
_ALL_CALM: _Stages = ((_Stage.CALM, False),) * len(CALM)


class StandingDecision:
    """The readings for which a decision would be made again, and until when.

    Attributes
    ----------
    bounds : AirBounds
        Within which the air leaves every override as it is.
    until_s : float
        Monotonic time at which time alone can change one [s].
    """

    __slots__ = ("bounds", "until_s")

    def __init__(self, bounds: AirBounds, until_s: float) -> None:
        self.bounds = bounds
        self.until_s = until_s

    def holds(self, now_s: float, tent: Reading, intake: Reading | None) -> bool:
        """Whether `decide` would give the same speed, lamp and memory. True only if sure."""
        if now_s >= self.until_s:
            return False
        bounds = self.bounds
        air_c, humidity_pct, co2_ppm = tent.temperature_c, tent.humidity_pct, tent.co2_ppm
        if not (
            bounds.low_c <= air_c <= bounds.high_c
            and bounds.low_pct <= humidity_pct <= bounds.high_pct
            and bounds.low_ppm <= (inf if co2_ppm is None else co2_ppm) <= bounds.high_ppm
        ):
            return False
        saturation_pa = _saturation_pa(air_c)
        vapour_pa = saturation_pa * humidity_pct / 100.0
        if not bounds.low_pa <= saturation_pa - vapour_pa <= bounds.high_pa:
            return False
        intake_c = air_c
        if intake is not None:
            intake_c = intake.temperature_c
            if bounds.any_engaged:
                if not bounds.cooler_low_k <= air_c - intake_c <= bounds.cooler_high_k:
                    return False
                if bounds.compares_vapour and not bounds.contain_drier(
                    saturation_pa, vapour_pa, intake
                ):
                    return False
        elif bounds.any_locked_out:
            return False
        # The surface is so far from the dew point if its air, so much colder, would be saturated
        # by so much vapour: dew points needn't be worked out.
        surface_c = 0.5 * (air_c + intake_c) if intake_c < air_c else air_c
        if bounds.dew_low_k > -inf and vapour_pa > _saturation_pa(surface_c - bounds.dew_low_k):
            return False
        if bounds.dew_high_k < inf and vapour_pa < _saturation_pa(surface_c - bounds.dew_high_k):
            return False
        return humidity_pct >= 1.0  # drier than that, the dew point isn't looked at


def standing_decision(
    decision: Decision, rules: Rules, limits: Limits, now_s: float
) -> StandingDecision | None:
    """Say what a decision holds for; None where the next may differ whatever the air does.

    Parameters
    ----------
    decision : Decision
        The last one, made from readings that were fresh; all further ones must be, too.
    rules : Rules
        What it was decided by.
    limits : Limits
        Those of the phase, day or night; with another phase or schedule's wish it is void.
    now_s : float
        Monotonic time of the decision [s].
    """
    memory = decision.memory
    if (
        decision.is_limited
        or memory.ramp.from_speed != memory.ramp.to_speed
        or memory.hold is not None
        or memory.lamp_cut is not None
        or memory.in_failsafe
        or _has_engaged(memory.overrides[STALE])  # rare, and what an intake offers is not bounded
        or (rules.dark_duty is not None and memory.overrides is not CALM)
    ):
        return None
    until_s = inf
    caps = _NO_CAPS
    choice = memory.choice
    if choice is not None:
        assert rules.modulation is not None, "only the law makes choices"
        until_s = choice.since_s + rules.modulation.every_s - _EDGE
        if _has_engaged(memory.overrides[HOT]):
            caps = _caps(choice, rules.modulation, limits)
    if rules.heeds_warning:
        caps = _as_near_warning(caps, rules, memory.near_warning)
    stages = _ALL_CALM
    if memory.overrides is not CALM:
        known = list(_ALL_CALM)
        for i, state in enumerate(memory.overrides):
            if state is None:
                continue
            stage, ends_s = _stage(state, rules.delays_s[i], LASTS_S[i], now_s)
            known[i] = stage, state.locked_out
            until_s = min(until_s, ends_s)
        stages = tuple(known)
    cut_above_c = rules.cut_above_c if rules.lamp_is_ours else inf
    modulated = choice is not None
    bounds = _bounds(limits, rules.hystereses, cut_above_c, stages, modulated, caps)
    return StandingDecision(bounds, until_s)


def _has_engaged(state: OverrideState | None) -> bool:
    return state is not None and state.engaged


def _caps(choice: SpeedChoice, law: Modulation, limits: Limits) -> _Caps:
    """Bound the heat at which the speed is chosen anew, whatever the time."""
    if choice.heat is HeatStage.NONE:
        return -inf, law.near_c(limits), inf
    if choice.heat is HeatStage.NEAR_WARNING:
        return -inf, limits.hot_c + FAR_OVER_K, inf
    return -inf, inf, law.clearly_cooler_k if choice.heat is HeatStage.FAR_OVER else inf


def _as_near_warning(caps: _Caps, rules: Rules, near_warning: bool) -> _Caps:
    """Bound the heat at which quiet hours and a duty begin or end to give way."""
    low_c, high_c, cooler_k = caps
    near_c = near_warning_c(rules)
    if near_warning:
        return max(low_c, near_c - rules.hystereses[HOT]), high_c, cooler_k
    return low_c, min(high_c, near_c), cooler_k


def _stage(
    state: OverrideState, delay_s: float, lasts_s: float, now_s: float
) -> tuple[_Stage, float]:
    """Say how far an override has come, and until when by time alone [s]."""
    for_s = now_s - state.since_s
    if state.engaged:
        if for_s < lasts_s:
            return _Stage.LASTING, state.since_s + lasts_s - _EDGE
        return _Stage.ENGAGED, inf
    if for_s < delay_s:
        return _Stage.DELAYED, state.since_s + delay_s - _EDGE
    return _Stage.DUE, inf


class AirBounds:
    """Bounds of both airs within which every override stays as it is.

    Parameters
    ----------
    limits : Limits
        Those of the phase, day or night.
    hystereses : tuple of float
        Of each override, in its unit.
    cut_above_c : float
        Above which the lamp interlock counts [°C]; infinite without one.
    stages : tuple
        How far the overrides have come.
    modulated : bool
        Whether the law chose the speed, so that no lock-out hangs on what outside air offers.
    caps : tuple of (float, float, float)
        Below and above which temperature, and how much cooler an intake, it is chosen anew
        [°C], [K].
    """

    __slots__ = (
        "any_engaged",
        "any_locked_out",
        "compares_vapour",
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
        "high_ppm",
        "low_c",
        "low_pa",
        "low_pct",
        "low_ppm",
    )

    def __init__(
        self,
        limits: Limits,
        hystereses: tuple[float, ...],
        cut_above_c: float,
        stages: _Stages,
        modulated: bool,
        caps: _Caps,
    ) -> None:
        self.any_engaged = self.any_locked_out = self.compares_vapour = False
        # By how much the intake air may be cooler, and hold less vapour, than the tent's.
        self.cooler_low_k = self.drier_low_pa = self.drier_low_per_saturation = -inf
        self.drier_high_pa = inf
        self.cooler_high_k = caps[2] - _EDGE
        self.drier_high_per_saturation = self.drier_high_per_vapour = inf
        low = dict.fromkeys(Quantity, -inf)
        high = dict.fromkeys(Quantity, inf)
        low[Quantity.TEMPERATURE] = caps[0]
        high[Quantity.TEMPERATURE] = min(cut_above_c, caps[1])

        def inside(kind: OverrideKind, edge: float) -> None:
            """Want the value on the good side of an edge; with a negated side, on the bad one."""
            if kind.side > 0:
                high[kind.quantity] = min(high[kind.quantity], edge)
            else:
                low[kind.quantity] = max(low[kind.quantity], edge)

        for kind, (stage, locked_out), limit, hysteresis in zip(
            OVERRIDES, stages, limits, hystereses, strict=True
        ):
            if stage is _Stage.CALM:
                inside(kind, limit)
                continue
            if stage >= _Stage.LASTING:
                self.any_engaged = True
                self.any_locked_out = self.any_locked_out or locked_out
                if not (modulated and kind.raises):
                    if kind.quantity is not Quantity.TEMPERATURE:
                        self.compares_vapour = True
                    self._bound_advantage(kind, hysteresis, locked_out)
                if stage is _Stage.LASTING:
                    continue
            elif stage is _Stage.DUE:
                inside(kind, limit)
            inside(kind._replace(side=-kind.side), limit - kind.side * hysteresis)
        self.low_c = low[Quantity.TEMPERATURE] + _EDGE
        self.high_c = high[Quantity.TEMPERATURE] - _EDGE
        self.low_pct = low[Quantity.HUMIDITY] + _EDGE
        self.high_pct = high[Quantity.HUMIDITY] - _EDGE
        self.low_pa, self.high_pa = low[Quantity.VPD] + _EDGE, high[Quantity.VPD] - _EDGE
        self.low_ppm, self.high_ppm = low[Quantity.CO2] + _EDGE, high[Quantity.CO2] - _EDGE
        self.dew_low_k = low[Quantity.DEW_POINT] + _EDGE
        self.dew_high_k = high[Quantity.DEW_POINT] - _EDGE

    def _bound_advantage(self, kind: OverrideKind, hysteresis: float, locked_out: bool) -> None:
        """Bound what outside air offers, as `intake_advantage` and `step_lock_out` see it."""
        if not kind.raises:
            self._bound_lowering(kind.quantity, hysteresis, locked_out)
        elif kind.quantity is Quantity.TEMPERATURE:
            if locked_out:
                self.cooler_high_k = min(self.cooler_high_k, hysteresis - _EDGE)
            else:
                self.cooler_low_k = max(self.cooler_low_k, _EDGE)
        elif not locked_out:
            self.drier_low_pa = max(self.drier_low_pa, _EDGE)
        elif kind.quantity is Quantity.HUMIDITY:
            per = min(100.0, hysteresis) / 100.0
            self.drier_high_per_saturation = min(self.drier_high_per_saturation, per - 1e-9)
        elif kind.quantity is Quantity.VPD:
            self.drier_high_pa = min(self.drier_high_pa, hysteresis - _EDGE)
        else:
            per = min(1.0, hysteresis * MOST_PCT_PER_K / 200.0)
            self.drier_high_per_vapour = min(self.drier_high_per_vapour, per - 1e-9)

    def _bound_lowering(self, quantity: Quantity, hysteresis: float, locked_out: bool) -> None:
        if quantity is Quantity.TEMPERATURE:
            if locked_out:
                self.cooler_high_k = min(self.cooler_high_k, -_EDGE)
            else:
                self.cooler_low_k = max(self.cooler_low_k, _EDGE - hysteresis)
        elif locked_out:
            self.drier_high_pa = min(self.drier_high_pa, -_EDGE)
        elif quantity is Quantity.HUMIDITY:
            per = min(100.0, hysteresis) / 100.0
            self.drier_low_per_saturation = max(self.drier_low_per_saturation, 1e-9 - per)
        else:
            self.drier_low_pa = max(self.drier_low_pa, _EDGE - hysteresis)

    def contain_drier(self, saturation_pa: float, vapour_pa: float, intake: Reading) -> bool:
        """Whether the intake air is drier by as much as the overrides allow."""
        intake_pa = _saturation_pa(intake.temperature_c) * intake.humidity_pct / 100.0
        drier_pa = vapour_pa - intake_pa
        return (
            self.drier_low_pa <= drier_pa <= self.drier_high_pa
            and self.drier_low_per_saturation * saturation_pa <= drier_pa
            and drier_pa <= self.drier_high_per_saturation * saturation_pa
            and drier_pa <= self.drier_high_per_vapour * vapour_pa
        )


_bounds = lru_cache(maxsize=128)(AirBounds)
"""The same few come again and again."""
