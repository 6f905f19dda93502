"""YearlyEnergy and money of a year of fan and lamp. Pure."""

from __future__ import annotations

from typing import NamedTuple

from controller.sizing.plan import Plan

DAYS_PER_YEAR = 365.0


class YearlyEnergy(NamedTuple):
    """A year's energy [kWh].

    Attributes
    ----------
    fan_kwh : float
        The fan on its schedule, without overrides.
    fan_all_day_kwh : float
        The fan at full speed day and night.
    lamp_kwh : float
        The lamp.
    """

    fan_kwh: float
    fan_all_day_kwh: float
    lamp_kwh: float


def fan_hours_a_day(plan: Plan) -> float:
    """Fan hours a day [h]: the light with its pre-run and run-on."""
    lit = plan.hours_of_light.best
    if lit <= 0.0:
        return 0.0
    return min(24.0, lit + (plan.pre_run_s + plan.run_on_s) / 3600.0)


def energy_of_a_year(
    plan: Plan,
    fan_power_w: float,
    day_speed: float | None = None,
    night_speed: float | None = None,
) -> YearlyEnergy:
    """YearlyEnergy of a year by schedule and quiet hours, the cube law for the fan's power.

    Parameters
    ----------
    plan : Plan
        The tent.
    fan_power_w : float
        Power of the fan at full speed [W].
    day_speed, night_speed : float or None
        Other speeds than the schedule's (0–1).
    """
    day = plan.day_speed if day_speed is None else day_speed
    night = plan.night_speed if night_speed is None else night_speed
    hours = fan_hours_a_day(plan)
    by_day, by_night, most = plan.quiet or (0.0, 0.0, 1.0)
    full_speed_hours = hours * (
        (1.0 - by_day) * _with_purge(plan, day) + by_day * _with_purge(plan, day, most)
    ) + (24.0 - hours) * (
        (1.0 - by_night) * _with_purge(plan, night) + by_night * _with_purge(plan, night, most)
    )
    return YearlyEnergy(
        fan_power_w * full_speed_hours * DAYS_PER_YEAR / 1000.0,
        fan_power_w * 24.0 * DAYS_PER_YEAR / 1000.0,
        plan.lamp_power_w * plan.hours_of_light.best * DAYS_PER_YEAR / 1000.0,
    )


def _with_purge(plan: Plan, speed: float, most: float = 1.0) -> float:
    """Share of full power at a speed, with the purge where that is faster, and `most` at most."""
    speed = min(speed, most)
    if plan.purge is None:
        return speed**3
    every_s, length_s, purge_speed = plan.purge
    share = min(1.0, length_s / every_s) if every_s > 0.0 else 0.0
    return share * max(speed, min(purge_speed, most)) ** 3 + (1.0 - share) * speed**3
