"""The settings as a decision uses them: plain floats, thresholds worked out once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.decision.types import Reason, Rule, Standing

if TYPE_CHECKING:
    from controller.settings import Settings
    from controller.settings.sections.targets import DayTargets, NightTargets


class Limits(NamedTuple):
    """The engage thresholds of one phase, day or night; the order is that of `WATCHES`."""

    hot_c: float
    humid_pct: float
    low_vpd_pa: float
    dew_margin_k: float
    cold_c: float
    dry_pct: float
    high_vpd_pa: float


# Reasons, or what gives them when somebody asks.
Told = tuple[Reason, ...] | Callable[[], tuple[Reason, ...]]


def tell(reasons: Told) -> tuple[Reason, ...]:
    """Give the reasons, working them out if need be."""
    return reasons if isinstance(reasons, tuple) else reasons()


class Wish(NamedTuple):
    """A speed asked for, by which rule, and why; the schedule has its reasons ready made."""

    speed: float
    rule: Rule
    reasons: Told


class Rules(NamedTuple):
    """Everything `decide` compares with.

    Attributes
    ----------
    day, night : Limits
        Engage thresholds by phase.
    deadbands, delays_s, speeds : tuple of float
        Of each watch, in the order of `WATCHES`; units of the watch, seconds, 0–1.
    base : tuple of Wish
        The schedule's wish, indexed by window_open + 2 * purge_on.
    """

    day: Limits
    night: Limits
    deadbands: tuple[float, ...]
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

    @classmethod
    def from_settings(cls, settings: Settings) -> Rules:
        """Work the rules out of checked settings."""
        over, fan, plan = settings.overrides, settings.fan, settings.schedule
        margin_k = settings.targets.dew_point_margin_k
        night_speed = plan.night_speed
        # A fan that can turn slowly keeps doing so when less air is wanted: plants need CO2.
        least = night_speed if fan.drive == "relay" else max(night_speed, fan.resolved_min_speed)

        def reduced(speed: float | None) -> float:
            return least if speed is None else speed

        purge_speed = plan.purge.speed if plan.purge is not None else 0.0
        cutout = settings.lamp.cutout
        return cls(
            day=_limits(settings.targets.day, margin_k),
            night=_limits(settings.targets.night, margin_k),
            deadbands=(
                over.temperature.deadband_k,
                over.humidity.deadband_pct,
                over.vpd.deadband_pa,
                over.dew_point.deadband_k,
                over.temperature.deadband_k,
                over.humidity.deadband_pct,
                over.vpd.deadband_pa,
            ),
            delays_s=(
                over.temperature.delay_s,
                over.humidity.delay_s,
                over.vpd.delay_s,
                over.dew_point.delay_s,
                over.temperature.delay_s,
                over.humidity.delay_s,
                over.vpd.delay_s,
            ),
            speeds=(
                over.temperature.speed,
                over.humidity.speed,
                over.vpd.speed,
                over.dew_point.speed,
                reduced(over.temperature.reduced_speed),
                reduced(over.humidity.reduced_speed),
                reduced(over.vpd.reduced_speed),
            ),
            base=(
                _scheduled(night_speed),
                _scheduled(plan.day_speed),
                _purged(purge_speed, night_speed),
                _purged(purge_speed, plan.day_speed),
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
        )


def _limits(targets: DayTargets | NightTargets, margin_k: float) -> Limits:
    return Limits(
        hot_c=targets.temperature_c.high,
        humid_pct=targets.humidity_pct.high,
        low_vpd_pa=targets.vpd_pa.low,
        dew_margin_k=margin_k,
        cold_c=targets.temperature_c.low,
        dry_pct=targets.humidity_pct.low,
        high_vpd_pa=targets.vpd_pa.high,
    )


def _scheduled(speed: float) -> Wish:
    return Wish(
        speed, Rule.SCHEDULE, (Reason(Rule.SCHEDULE, Standing.RULING, value=speed, limit=speed),)
    )


def _purged(purge_speed: float, scheduled_speed: float) -> Wish:
    if purge_speed <= scheduled_speed:
        return _scheduled(scheduled_speed)
    return Wish(
        purge_speed,
        Rule.PURGE,
        (
            Reason(Rule.PURGE, Standing.RULING, value=purge_speed, limit=purge_speed),
            Reason(Rule.SCHEDULE, Standing.ENGAGED, value=scheduled_speed, limit=scheduled_speed),
        ),
    )
