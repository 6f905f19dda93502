"""The settings as a decision uses them: plain floats, thresholds worked out once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.control.types import Rule

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.targets import DayTargets, NightTargets
    from controller.control.modulation import Modulation


class Limits(NamedTuple):
    """The engage thresholds of one phase, day or night; the order is that of `OVERRIDES`."""

    hot_c: float
    humid_pct: float
    low_vpd_pa: float
    dew_margin_k: float
    cold_c: float
    dry_pct: float
    high_vpd_pa: float
    low_co2_ppm: float


class Wish(NamedTuple):
    """A speed asked for, 0-1, and by which row of the priority list."""

    speed: float
    rule: Rule


class Duty(NamedTuple):
    """How long a fan runs, and then rests, in turn [s]."""

    run_s: float
    rest_s: float


class Rules(NamedTuple):
    """The settings that `decide` uses.

    Attributes
    ----------
    day, night : Limits
        Engage thresholds by phase.
    hystereses, delays_s, speeds : tuple of float
        Of each override, in the order of `OVERRIDES`; its unit, seconds, 0–1.
    base : tuple of Wish
        The schedule's wish, indexed by in_fan_hours + 2 * purge_on.
    stale_after_s, failsafe_speed : float
        An older reading counts as none [s]; the fan's speed then, 0–1.
    min_on_s, min_off_s, min_speed, ramp_s : float
        The least run and rest [s], the least speed, 0–1, and the time from rest to full speed [s].
    pressure_pa : float
        Of the air [Pa].
    lamp_is_ours : bool
        Whether the controller switches the lamp, and so may cut it.
    cut_above_c, cut_delay_s, cut_hold_off_s : float
        The lamp's cutout: its temperature [°C], how long that lasts, and the lamp's rest then [s].
    dark_speeds : tuple of float or None
        Of each override in the dark, where the modulating law would need an intake reading.
    modulation : Modulation or None
        What the modulating law needs; None where overrides take fixed speeds.
    start_every_s : float
        From one start of the fan to the next at least, on average over days [s]; 0 without a
        limit. Heat and a failed sensor start it sooner; until the next is due it runs on or rests.
    quiet_speed : float or None
        The most that quiet hours allow, as the motor is given it, 0–1; None without any.
    heat_warning_c : float
        The heat warning [°C]; near it quiet and the duty in the dark give way.
    dark_duty : Duty or None
        How an override runs a relay in the dark; None: all the time.
    """

    day: Limits
    night: Limits
    hystereses: tuple[float, ...]
    delays_s: tuple[float, ...]
    speeds: tuple[float, ...]
    base: tuple[Wish, Wish, Wish, Wish]
    stale_after_s: float
    failsafe_speed: float
    min_on_s: float
    min_off_s: float
    min_speed: float
    ramp_s: float
    pressure_pa: float
    lamp_is_ours: bool
    cut_above_c: float
    cut_delay_s: float
    cut_hold_off_s: float
    dark_speeds: tuple[float, ...] | None = None
    modulation: Modulation | None = None
    start_every_s: float = 0.0
    quiet_speed: float | None = None
    heat_warning_c: float = math.inf
    dark_duty: Duty | None = None

    @property
    def heeds_warning(self) -> bool:
        """Whether anything gives way near the heat warning."""
        return self.quiet_speed is not None or self.dark_duty is not None

    @classmethod
    def from_settings(cls, settings: Settings) -> Rules:
        """Derive the rules from checked settings."""
        over, fan, plan = settings.overrides, settings.fan, settings.schedule
        margin_k = settings.targets.dew_point_margin_k
        night_speed = plan.night_speed
        # A fan that can turn slowly keeps doing so when less air is wanted: plants need CO2.
        least = night_speed if fan.drive == "relay" else max(night_speed, fan.resolved_min_speed)

        def reduced(speed: float | None) -> float:
            return least if speed is None else speed

        purge_speed = plan.purge.speed if plan.purge is not None else 0.0
        cutout = settings.lamp.cutout
        rules = cls(
            day=_limits(settings.targets.day, margin_k, settings.targets.low_co2_ppm),
            night=_limits(settings.targets.night, margin_k, 0.0),  # dark leaves take up none
            hystereses=(
                over.temperature.hysteresis_k,
                over.humidity.hysteresis_pct,
                over.vpd.hysteresis_pa,
                over.dew_point.hysteresis_k,
                over.temperature.hysteresis_k,
                over.humidity.hysteresis_pct,
                over.vpd.hysteresis_pa,
                over.co2.hysteresis_ppm,
            ),
            delays_s=(
                over.temperature.delay_s,
                over.humidity.delay_s,
                over.vpd.delay_s,
                over.dew_point.delay_s,
                over.temperature.delay_s,
                over.humidity.delay_s,
                over.vpd.delay_s,
                over.co2.delay_s,
            ),
            speeds=(
                over.temperature.speed,
                over.humidity.speed,
                over.vpd.speed,
                over.dew_point.speed,
                reduced(over.temperature.reduced_speed),
                reduced(over.humidity.reduced_speed),
                reduced(over.vpd.reduced_speed),
                _fresh_air_speed(settings),
            ),
            base=(
                Wish(night_speed, Rule.SCHEDULE),
                Wish(plan.day_speed, Rule.SCHEDULE),
                purged(purge_speed, night_speed),
                purged(purge_speed, plan.day_speed),
            ),
            stale_after_s=settings.failsafe.stale_after_s,
            failsafe_speed=settings.failsafe.speed,
            min_on_s=fan.min_on_s,
            min_off_s=fan.min_off_s,
            min_speed=fan.resolved_min_speed,
            ramp_s=0.0 if fan.drive == "relay" else fan.ramp_s,
            pressure_pa=air.pressure_at_elevation_pa(settings.tent.elevation_m),
            lamp_is_ours=settings.lamp.switched_by == "relay",
            cut_above_c=cutout.above_c,
            cut_delay_s=cutout.delay_s,
            cut_hold_off_s=cutout.hold_off_s,
            start_every_s=86_400.0 / most if (most := fan.resolved_most_starts) else 0.0,
            quiet_speed=_quiet_speed(settings),
            heat_warning_c=settings.targets.heat_warning_c,
            dark_duty=_dark_duty(settings),
        )
        if over.law == "fixed" or fan.drive == "relay":
            return rules
        from controller.tent_model import modulation

        dark_speeds = (min(rules.speeds[0], over.dark_speed), *rules.speeds[1:])
        return rules._replace(dark_speeds=dark_speeds, modulation=modulation(settings, rules))


def _fresh_air_speed(settings: Settings) -> float:
    """Speed against stale air: little is enough, so by default half of what the schedule leaves."""
    speed = settings.overrides.co2.speed
    if speed is not None:
        return speed
    return 1.0 if settings.fan.drive == "relay" else 0.5 * (1.0 + settings.schedule.day_speed)


def _dark_duty(settings: Settings) -> Duty | None:
    duty = settings.overrides.dark_duty
    if duty is None or settings.fan.drive != "relay":
        return None
    fan = settings.fan
    return Duty(max(duty.length_s, fan.min_on_s), max(duty.every_s - duty.length_s, fan.min_off_s))


def _quiet_speed(settings: Settings) -> float | None:
    quiet, least = settings.quiet, settings.fan.resolved_min_speed
    if quiet is None:
        return None
    return max(quiet.speed, least) if quiet.speed > 0.0 else 0.0


def _limits(targets: DayTargets | NightTargets, margin_k: float, low_co2_ppm: float) -> Limits:
    return Limits(
        hot_c=targets.temperature_c.high,
        humid_pct=targets.humidity_pct.high,
        low_vpd_pa=targets.vpd_pa.low,
        dew_margin_k=margin_k,
        cold_c=targets.temperature_c.low,
        dry_pct=targets.humidity_pct.low,
        high_vpd_pa=targets.vpd_pa.high,
        low_co2_ppm=low_co2_ppm,
    )


def purged(purge_speed: float, scheduled_speed: float) -> Wish:
    """The schedule's wish while a purge is due: at least the purge's speed."""
    if purge_speed <= scheduled_speed:
        return Wish(scheduled_speed, Rule.SCHEDULE)
    return Wish(purge_speed, Rule.PURGE)
