"""The alarm conditions: a pure function of the values of a tick."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.alarms.tick_view import AlarmLimits, TickView
from controller.control import Quantity, Reading, Reason, ReasonStatus, Rule, surface_c
from controller.control.override_state import RAISING_RULES

if TYPE_CHECKING:
    from controller.expectation import Judgement


class Condition(NamedTuple):
    """An alarm's condition at a tick.

    Attributes
    ----------
    excess : float
        How far past its limit, in `unit`; above 0 it holds, below minus the hysteresis it is gone,
        and in between it stays as it was. Plain conditions are 1 or -1.
    hysteresis : float
        In `unit`.
    value, limit : float or None
        For the message.
    unit : str
        "°C", "%" or "K", or "" for plain conditions.
    why : str
        Which of the alarm's responses fits; "" for the plain one.
    share : float or None
        Share of the expected air flow that would explain the readings, or of the usual one that
        was learned (0–1).
    is_dark : bool
        Whether the lamp is dark, on which what to do may depend.
    compared_with : str
        What tells what was to be expected: ``"config"``, or the days that were learned from as an
        interval of ISO 8601; "" where nothing was.
    detail : str
        What exactly it is, in words; "" for most.
    """

    excess: float
    hysteresis: float = 0.0
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    why: str = ""
    share: float | None = None
    is_dark: bool = False
    compared_with: str = ""
    detail: str = ""


HOLDS, GONE = Condition(1.0), Condition(-1.0)
# Not known at the moment: an active alarm stays, and a pending one starts over.
UNKNOWN = Condition(0.0, 1.0)
# So much of its limit below it, carbon dioxide is no longer too much.
_CO2_HYSTERESIS = 0.1
# A rise this far below the most expected is no longer too much [K].
_RISE_HYSTERESIS_K = 0.5
# And one this far below the least expected is too little, as in a review [K].
_LEAST_LACK_K = 1.0


def conditions(view: TickView, limits: AlarmLimits) -> dict[str, Condition | None]:
    """Give the condition of every alarm.

    Parameters
    ----------
    view : TickView
        What the tick knows.
    limits : AlarmLimits
        What it is compared with.

    Returns
    -------
    dict of str to (Condition or None)
        By the names of `KINDS`; None where it can't be told, which leaves the alarm as it is.
    """
    memory = view.decision.memory
    return {
        **_air_conditions(view, limits),
        "high_co2": _high_co2(view.co2_ppm, limits.high_co2_ppm),
        "tent_sensor": _tent_sensor(view),
        "sensor": _sensor_fault(view) if view.sensor_faults else GONE,
        "fan_not_turning": _plain(view.fan_fault == "not_turning"),
        "fan_turning_when_off": _plain(view.fan_fault == "turning_when_off"),
        "lamp_lit_out_of_hours": _plain(view.lamp_sensed is True and not view.lamp_scheduled),
        "lamp_dark_in_hours": _plain(view.lamp_sensed is False and view.lamp_scheduled),
        "lamp_cut": _plain(memory.lamp_is_cut),
        "less_air": _less_air(view),
        "reduced_flow": view.changes.get("reduced_flow", GONE),
        "reduced_transpiration": view.changes.get("reduced_transpiration", GONE),
        "little_rise": _little_rise(view),
        "sensor_drift": view.changes.get("sensor_drift", GONE),
        "ventilation_limit": _ventilation_limit(view, limits),
        "output": _broken(view.broken_devices),
        "record": _plain(view.record_failing),
        "clock": _plain(view.clock_distrusted),
        "config": _plain(view.config_rejected),
    }


def _plain(holds: bool) -> Condition:
    return HOLDS if holds else GONE


def _tent_sensor(view: TickView) -> Condition | None:
    if view.decision.memory.in_failsafe:
        return _sensor_fault(view)
    return None if view.tent is None else GONE  # not known before a start's first reading


def _sensor_fault(view: TickView) -> Condition:
    from controller.wording.fields import sensor_fault_words

    words = (sensor_fault_words(name, fault) for name, fault in view.sensor_faults.items())
    return HOLDS._replace(detail="; ".join(words))


def _broken(devices: tuple[str, ...]) -> Condition:
    named = " and the ".join(device.replace("_", " ") for device in devices)
    return HOLDS._replace(detail=f"that of the {named}") if devices else GONE


def _high_co2(co2_ppm: float | None, limit_ppm: float) -> Condition:
    if co2_ppm is None:
        return UNKNOWN
    return Condition(co2_ppm - limit_ppm, _CO2_HYSTERESIS * limit_ppm, co2_ppm, limit_ppm, "ppm")


_AIR_ALARMS = (
    "fire_hazard",
    "severe_heat",
    "heat",
    "cold",
    "severe_humidity",
    "high_humidity",
    "condensation",
)


def _air_conditions(view: TickView, limits: AlarmLimits) -> dict[str, Condition | None]:
    tent = view.tent
    if tent is None or view.decision.memory.in_failsafe:
        return dict.fromkeys(_AIR_ALARMS, None)

    def above(value: float, limit: float, hysteresis: float, unit: str) -> Condition:
        return Condition(value - limit, hysteresis, value, limit, unit, is_dark=view.is_dark)

    t, rh = tent.temperature_c, tent.humidity_pct
    kelvins, points = limits.temperature_hysteresis_k, limits.humidity_hysteresis_pct
    return {
        "fire_hazard": above(t, limits.dangerous_c, kelvins, "°C"),
        "severe_heat": above(t, limits.severe_heat_c, kelvins, "°C"),
        "heat": above(t, limits.heat_c, kelvins, "°C"),
        "cold": Condition(limits.cold_c - t, kelvins, t, limits.cold_c, "°C"),
        "severe_humidity": above(rh, limits.severe_humidity_pct, points, "%"),
        "high_humidity": above(rh, limits.high_humidity_pct, points, "%"),
        "condensation": _condensation(tent, view.intake),
    }


def _condensation(tent: Reading, intake: Reading | None) -> Condition | None:
    if intake is None:
        return None  # the fabric's temperature is not known
    from controller import air

    if tent.humidity_pct < 1.0:
        return GONE
    dew_point_c = air.dew_point_c(tent.temperature_c, tent.humidity_pct)
    fabric_c = surface_c(tent, intake)
    return Condition(dew_point_c - fabric_c, 0.5, fabric_c, dew_point_c, "°C")


def _less_air(view: TickView) -> Condition:
    """Whether the lit tent is warmer than the air of its commanded fan would leave it.

    By the config with all its doubt, within minutes; and by the tent as learned before the change,
    which knows less than a dead fan as well, within hours.
    """
    rise = view.rise
    if view.fan_fault == "not_turning":
        return GONE  # that has an alarm of its own
    if "less_air" in view.changes:
        return view.changes["less_air"]
    if rise is None or not rise.lit or rise.speed <= 0.0:
        return UNKNOWN
    return _rise_condition(rise.excess_k, rise, rise.high_k)._replace(share=rise.air_share)


def _little_rise(view: TickView) -> Condition:
    """Whether the lit tent is less far above its intake air than config or learning let expect."""
    little_rise, rise = view.changes.get("little_rise"), view.rise
    if little_rise is not None:
        return little_rise
    if rise is None or not rise.lit:
        return UNKNOWN
    return _rise_condition(rise.lack_k - _LEAST_LACK_K, rise, rise.low_k)


def _rise_condition(excess_k: float, rise: Judgement, limit_k: float) -> Condition:
    hysteresis_k, value_k = _RISE_HYSTERESIS_K, rise.observed_k
    return Condition(excess_k, hysteresis_k, value_k, limit_k, "K", compared_with="config")


def _ventilation_limit(view: TickView, limits: AlarmLimits) -> Condition:
    """Whether the air is out of its band whatever the fan does, and what would help.

    Less air than the fan should move is another matter, with an alarm of its own.
    """
    excess, hysteresis, reason = _furthest_out(view, limits)
    if reason is None or _has_less_air(view):
        return GONE
    return Condition(
        excess,
        hysteresis,
        reason.value,
        reason.limit,
        reason.unit,
        _why_out_of_band(view, reason),
        is_dark=view.is_dark,
    )


def _has_less_air(view: TickView) -> bool:
    """Whether less air than expected is, or may still be, the cause."""
    rise = view.rise
    return (
        view.fan_fault == "not_turning"
        or view.has_less_air
        or (
            rise is not None
            and rise.lit
            and rise.speed > 0.0
            and rise.excess_k > -_RISE_HYSTERESIS_K
        )
    )


def _why_out_of_band(view: TickView, reason: Reason) -> str:
    """Whether the intake air or the fan is the limit; "" where the readings don't show it."""
    is_hot = reason.quantity is Quantity.TEMPERATURE
    if view.decision.rule is Rule.TOO_COLD:
        return "cold"
    if reason.status is ReasonStatus.LOCKED_OUT or _intake_is_past(view, reason):
        return "warm_intake" if is_hot else "moist_intake"
    if view.decision.speed <= 0.0:
        return "resting"
    if view.intake is None or view.rise is None or not view.rise.lit:
        return ""
    return "weak_fan" if is_hot else "wet_tent"


def _intake_is_past(view: TickView, reason: Reason) -> bool:
    """Whether intake air at the tent's temperature would itself be past the limit."""
    tent, intake, limit = view.tent, view.intake, reason.limit
    if tent is None or intake is None or limit is None:
        return False
    if reason.quantity is Quantity.TEMPERATURE:
        return intake.temperature_c >= limit
    from controller import air

    saturated_pa = air.saturation_vapour_pressure_pa(tent.temperature_c)
    vapour_pa = 0.01 * intake.humidity_pct * air.saturation_vapour_pressure_pa(intake.temperature_c)
    if reason.quantity is Quantity.HUMIDITY:
        return 100.0 * vapour_pa >= limit * saturated_pa
    return reason.quantity is Quantity.VPD and saturated_pa - vapour_pa <= limit


def _furthest_out(view: TickView, limits: AlarmLimits) -> tuple[float, float, Reason | None]:
    """The override furthest past its limit although the fan runs as asked, in its hystereses.

    Gives how far, in the unit of its value, half its hysteresis, and its reason; None without one.
    An override that has brought its value back inside the limit by that much, and only waits for
    the rest, works as it should.
    """
    held = view.decision.rule in (Rule.MANUAL_HOLD, Rule.QUIET)
    furthest: tuple[float, float, Reason | None] = (-1.0, 1.0, None)
    for reason in view.reasons:
        if reason.rule not in RAISING_RULES or reason.status is ReasonStatus.DELAYED:
            continue
        # Unless held or quiet, an override gets the speed it asks for, or what is worth its power.
        at_its_best = view.decision.speed >= 1.0 or not held
        hysteresis = _hysteresis(reason, limits)
        if reason.value is None or reason.limit is None or hysteresis is None:
            continue
        if reason.status is ReasonStatus.LOCKED_OUT or at_its_best:
            past = reason.value - reason.limit
            if reason.quantity in (Quantity.VPD, Quantity.DEW_POINT):  # too little is too humid
                past = -past
            if furthest[2] is None or past * furthest[1] > furthest[0] * hysteresis:
                furthest = past, hysteresis, reason
    return furthest


def _hysteresis(reason: Reason, limits: AlarmLimits) -> float | None:
    """Half the hysteresis of an override against heat or moisture; None for another one."""
    hystereses = {
        Quantity.TEMPERATURE: limits.temperature_hysteresis_k,
        Quantity.HUMIDITY: limits.humidity_hysteresis_pct,
        Quantity.VPD: limits.vpd_hysteresis_pa,
        Quantity.DEW_POINT: limits.dew_point_hysteresis_k,
    }
    whole = hystereses.get(reason.quantity) if reason.quantity is not None else None
    return None if whole is None else 0.5 * whole
