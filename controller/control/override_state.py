"""The overrides: what each compares, and the state that it keeps from one decision to the next.

An override is *calm* until its value passes the engage threshold, then *delayed*, and *engaged*
when its delay is over and the value is still, or again, past the threshold. It is calm again when
the value is back by the hysteresis. So noise narrower than the hysteresis can start an override
once and never make it chatter, noise around the threshold does not restart a delay that has begun,
and nothing engages while its value is in band.

An override that lowers the speed stays engaged for ten minutes at least. A small tent dries and
moistens within a minute or two of a change of speed, so that with the hysteresis alone the fan
would go back and forth every few minutes for hours; and a tent whose air is merely a little dry or
cold loses nothing by waiting, since every row that asks for more air has priority.

One against water on a surface lasts a quarter of an hour. Where the fan otherwise rests, in quiet
hours or by night, it dries a tent in a minute that is wet again ten minutes later: the fan started
six times an hour.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from controller import air
from controller.air.constants import OUTDOOR_CO2_PPM
from controller.control.thresholds import Rules
from controller.control.types import Quantity, Reading, Rule

# The rules that ask for more air; the other overrides ask for less.
RAISING_RULES = (Rule.TOO_HOT, Rule.TOO_HUMID, Rule.TOO_STALE)


class OverrideKind(NamedTuple):
    """One override: its rule, the quantity it compares, and the side where it engages."""

    rule: Rule
    quantity: Quantity
    side: int  # +1: out of band above the limit, -1: below it
    unit: str

    @property
    def raises(self) -> bool:
        """Whether it asks for more air; else it asks for less."""
        return self.rule in RAISING_RULES

    @property
    def is_forecast(self) -> bool:
        """Whether the modulating law, which looks at heat and moisture, can choose its speed."""
        return self.raises and self.quantity is not Quantity.CO2


# How long an override that lowers the speed lasts at least, and one against water on a surface
# (engineering judgement, no source).
LOWERED_AT_LEAST_S = 600.0
DRIED_AT_LEAST_S = 900.0

# Bound on d(ln es)/dT above −40 °C, in percent per kelvin (it is 11.3 at −40 °C and 7.3 at 0 °C,
# from Clausius–Clapeyron): turns a hysteresis in kelvins of dew point into a share of the vapour.
MOST_PCT_PER_K = 12.0

OVERRIDES: tuple[OverrideKind, ...] = (
    OverrideKind(Rule.TOO_HOT, Quantity.TEMPERATURE, +1, "°C"),
    OverrideKind(Rule.TOO_HUMID, Quantity.HUMIDITY, +1, "%"),
    OverrideKind(Rule.TOO_HUMID, Quantity.VPD, -1, "Pa"),
    OverrideKind(Rule.TOO_HUMID, Quantity.DEW_POINT, -1, "K"),
    OverrideKind(Rule.TOO_COLD, Quantity.TEMPERATURE, -1, "°C"),
    OverrideKind(Rule.TOO_DRY, Quantity.HUMIDITY, -1, "%"),
    OverrideKind(Rule.TOO_DRY, Quantity.VPD, +1, "Pa"),
    OverrideKind(Rule.TOO_STALE, Quantity.CO2, -1, "ppm"),
)


def _place(rule: Rule, quantity: Quantity) -> int:
    """Where an override stands in `OVERRIDES`."""
    return [(kind.rule, kind.quantity) for kind in OVERRIDES].index((rule, quantity))


HOT = _place(Rule.TOO_HOT, Quantity.TEMPERATURE)
DEW_POINT = _place(Rule.TOO_HUMID, Quantity.DEW_POINT)
COLD = _place(Rule.TOO_COLD, Quantity.TEMPERATURE)
STALE = _place(Rule.TOO_STALE, Quantity.CO2)
# Each of their rules once, those that raise the speed first.
OVERRIDE_RULES: tuple[Rule, ...] = (*RAISING_RULES, Rule.TOO_COLD, Rule.TOO_DRY)
RAISES: tuple[bool, ...] = tuple(kind.raises for kind in OVERRIDES)
IS_FORECAST: tuple[bool, ...] = tuple(kind.is_forecast for kind in OVERRIDES)
SIDES: tuple[int, ...] = tuple(kind.side for kind in OVERRIDES)


class OverrideState(NamedTuple):
    """An override that is not calm.

    Attributes
    ----------
    since_s : float
        Monotonic time at which its value passed the engage threshold; once engaged, at which it
        engaged [s].
    engaged : bool
        Whether it has lasted its delay.
    locked_out : bool
        Whether it is engaged but outside air can't help.
    """

    since_s: float
    engaged: bool = False
    locked_out: bool = False


OverrideStates = tuple[OverrideState | None, ...]
CALM: OverrideStates = (None,) * len(OVERRIDES)
# How long each stays engaged at least [s].
LASTS_S: tuple[float, ...] = tuple(
    LOWERED_AT_LEAST_S
    if not kind.raises
    else DRIED_AT_LEAST_S
    if kind.quantity is Quantity.DEW_POINT
    else 0.0
    for kind in OVERRIDES
)


def step_override(
    state: OverrideState | None,
    *,
    excess: float,
    hysteresis: float,
    delay_s: float,
    lasts_s: float,
    now_s: float,
) -> OverrideState | None:
    """Give the next state of an override.

    Parameters
    ----------
    state : OverrideState or None
        The state so far; None when calm.
    excess : float
        How far the value is past the engage threshold, in the quantity's unit; negative inside.
    hysteresis : float
        How far back inside the value must come to release, same unit, at least 0.
    delay_s : float
        How long it must last before it engages [s].
    lasts_s : float
        How long it then stays engaged at least [s].
    now_s : float
        Monotonic time [s].

    Returns
    -------
    OverrideState or None
        The very same object when nothing changed.
    """
    if state is None:
        if excess <= 0.0:
            return None
        return OverrideState(now_s, engaged=delay_s <= 0.0)
    for_s = now_s - state.since_s
    if excess < -hysteresis and not (state.engaged and for_s < lasts_s):
        return None
    if not state.engaged and for_s >= delay_s and excess > 0.0:
        return OverrideState(now_s, engaged=True)
    return state


def step_lock_out(
    state: OverrideState, *, raises: bool, advantage: float, margin: float
) -> OverrideState:
    """Lock an engaged override out when outside air can't help, or let it act again.

    Parameters
    ----------
    state : OverrideState
        An engaged override.
    raises : bool
        Whether it asks for more air, else for less.
    advantage : float
        By how much the intake air is cooler, or drier, than the tent's.
    margin : float
        What keeps it from flapping, in the unit of `advantage`.

    Returns
    -------
    OverrideState
        The very same object when nothing changed.

    Notes
    -----
    More air helps as long as the intake air is cooler, or drier, at all; once locked out, it has
    to be so by the margin. Less air helps even if both are alike, for the lamp warms the tent and
    the plants moisten it: it is locked out only where the intake air is warmer, or moister, by the
    margin, and acts again once it is no longer so at all. The other way round a fan that runs
    would itself keep the two airs too much alike for it to be slowed down.
    """
    if raises:
        locked_out = advantage < margin if state.locked_out else advantage <= 0.0
    else:
        locked_out = advantage < 0.0 if state.locked_out else advantage <= -margin
    if locked_out == state.locked_out:
        return state
    return OverrideState(state.since_s, engaged=True, locked_out=locked_out)


def surface_c(tent: Reading, intake: Reading | None) -> float:
    """Estimate the coldest surface inside the tent [°C].

    Thin fabric between two equal surface films (0.13 m²K/W each side, ISO 6946, from memory)
    sits midway between the air inside and the air of the room, which the intake sensor sees.
    Without one, or with a warmer room, surfaces are taken to be as warm as the tent's air.
    """
    if intake is None or intake.temperature_c >= tent.temperature_c:
        return tent.temperature_c
    return 0.5 * (tent.temperature_c + intake.temperature_c)


def compared_values(tent: Reading, intake: Reading | None) -> tuple[float, ...]:
    """Give the value that each override compares, in the order of `OVERRIDES`.

    The fourth is how far the coldest surface is above the dew point of the tent's air [K]; the last
    is infinite where no carbon dioxide is measured, which is never too little.
    """
    _, temperature_c, humidity_pct, co2_ppm = tent
    saturation_pa = air.saturation_vapour_pressure_pa(temperature_c)
    vapour_pa = humidity_pct * 0.01 * saturation_pa
    vpd_pa = saturation_pa - vapour_pa
    if humidity_pct >= 1.0:
        dew_c = min(air.dew_point_of_vapour_pressure_c(vapour_pa), temperature_c)
    else:
        dew_c = -60.0  # drier than a dew point is defined for
    distance_k = surface_c(tent, intake) - dew_c
    return (
        temperature_c,
        humidity_pct,
        vpd_pa,
        distance_k,
        temperature_c,
        humidity_pct,
        vpd_pa,
        math.inf if co2_ppm is None else co2_ppm,
    )


def compared_value(kind: OverrideKind, tent: Reading, intake: Reading | None) -> float:
    """Give the value that an override compares with its limit, in its unit."""
    return compared_values(tent, intake)[OVERRIDES.index(kind)]


def intake_co2_ppm(intake: Reading | None) -> float:
    """Carbon dioxide of the intake air [ppm]: as measured, else that of air outdoors."""
    if intake is None or intake.co2_ppm is None:
        return OUTDOOR_CO2_PPM  # a room's air is rarely poorer
    return intake.co2_ppm


def intake_advantage(
    index: int, tent: Reading, intake: Reading | None, rules: Rules
) -> tuple[float, float]:
    """By how much the intake air is better than the tent's for an override, and the margin.

    For temperatures [K]. For moisture, vapour pressures [Pa]: at one air pressure they order
    air exactly as humidity ratios do, which relative humidities of unequal temperatures do not. For
    carbon dioxide, by how much the intake air has more [ppm].
    """
    kind, hysteresis = OVERRIDES[index], rules.hystereses[index]
    if kind.quantity is Quantity.CO2:
        assert tent.co2_ppm is not None, "an override that engaged has something to compare"
        return intake_co2_ppm(intake) - tent.co2_ppm, hysteresis
    if intake is None:
        return 1.0, 0.0  # nothing is known against it, whichever way it turns the fan
    if kind.quantity is Quantity.TEMPERATURE:
        better = tent.temperature_c - intake.temperature_c
        margin = hysteresis
    else:
        vapour_pa = air.vapour_pressure_pa(tent.temperature_c, tent.humidity_pct)
        better = vapour_pa - air.vapour_pressure_pa(intake.temperature_c, intake.humidity_pct)
        if kind.quantity is Quantity.HUMIDITY:
            margin = air.vapour_pressure_pa(tent.temperature_c, min(100.0, hysteresis))
        elif kind.quantity is Quantity.VPD:
            margin = hysteresis
        else:
            margin = vapour_pa * min(1.0, hysteresis * MOST_PCT_PER_K / 200.0)
    return better, margin
