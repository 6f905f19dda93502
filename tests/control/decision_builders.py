"""Rules and readings for decision tests, built without a config file."""

from __future__ import annotations

from typing import Any, NamedTuple

import controller.control
from controller.control import Limits, Memory, Now, Reading, Readings, Reason, Rule, Rules, Wish
from controller.control.thresholds import purged

DAY = Limits(
    hot_c=24.0,
    humid_pct=70.0,
    low_vpd_pa=600.0,
    dew_margin_k=1.0,
    cold_c=20.0,
    dry_pct=40.0,
    high_vpd_pa=1600.0,
    low_co2_ppm=300.0,
)
NIGHT = Limits(
    hot_c=24.0,
    humid_pct=80.0,
    low_vpd_pa=300.0,
    dew_margin_k=1.0,
    cold_c=15.0,
    dry_pct=40.0,
    high_vpd_pa=1600.0,
    low_co2_ppm=0.0,
)


def make_rules(day_speed: float = 0.5, night_speed: float = 0.0, **changes: Any) -> Rules:
    """Rules of a PWM fan without ramp or minimum times, unless asked for."""
    purge_speed = changes.pop("purge_speed", 0.8)
    rules = Rules(
        day=DAY,
        night=NIGHT,
        hystereses=(1.0, 4.0, 150.0, 1.0, 1.0, 4.0, 150.0, 40.0),
        delays_s=(60.0, 120.0, 120.0, 120.0, 60.0, 120.0, 120.0, 300.0),
        speeds=(1.0, 0.9, 0.9, 0.9, 0.2, 0.2, 0.2, 0.6),
        base=(
            Wish(night_speed, Rule.SCHEDULE),
            Wish(day_speed, Rule.SCHEDULE),
            purged(purge_speed, night_speed),
            purged(purge_speed, day_speed),
        ),
        stale_after_s=120.0,
        failsafe_speed=0.7,
        min_on_s=0.0,
        min_off_s=0.0,
        min_speed=0.2,
        ramp_s=0.0,
        pressure_pa=101325.0,
        lamp_is_ours=False,
        cut_above_c=35.0,
        cut_delay_s=300.0,
        cut_hold_off_s=1800.0,
    )
    return rules._replace(**changes)


def day(at_s: float, *, open_: bool = True, purge: bool = False) -> Now:
    return Now(at_s, lamp_on=True, in_fan_hours=open_, purge_on=purge)


def night(at_s: float, *, purge: bool = False) -> Now:
    return Now(at_s, lamp_on=False, in_fan_hours=False, purge_on=purge)


def air_is(
    at_s: float,
    temperature_c: float = 22.0,
    humidity_pct: float = 55.0,
    intake: tuple[float, float] | None = None,
) -> Readings:
    return Readings(
        Reading(at_s, temperature_c, humidity_pct),
        None if intake is None else Reading(at_s, *intake),
    )


class Decided(NamedTuple):
    """A decision and its reasons."""

    speed: float
    lamp_on: bool
    rule: Rule
    is_limited: bool
    memory: Memory
    reasons: tuple[Reason, ...]


def decide(now: Now, readings: Readings, rules: Rules, memory: Memory) -> Decided:
    """Decide, and say why; the reasons always agree with the decision."""
    decision = controller.control.decide(now, readings, rules, memory)
    why = controller.control.reasons(decision, now, readings, rules)
    assert why[0].rule is decision.rule
    assert (why[-1].status in ("limiting", "resting")) is decision.is_limited
    return Decided(*decision, why)
