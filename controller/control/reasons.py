"""Why a decision came out as it did: a pure function of it and of what it was made from."""

from __future__ import annotations

from controller import air
from controller.control.decide import Decision, base_wish, fresh, overridden
from controller.control.override_state import WATCHES, OverrideState, Watches
from controller.control.override_values import values
from controller.control.thresholds import Limits, Rules, Wish
from controller.control.types import (
    Now,
    Quantity,
    Reading,
    Readings,
    Reason,
    Rule,
    Standing,
)


def reasons(decision: Decision, now: Now, readings: Readings, rules: Rules) -> tuple[Reason, ...]:
    """Give the reason of every row that had something to say.

    Parameters
    ----------
    decision : Decision
        What `decide` gave for just these arguments.
    now : Now
        The instant.
    readings : Readings
        What was known of the air.
    rules : Rules
        The settings, worked out.

    Returns
    -------
    tuple of Reason
        The deciding row first, then the others by priority; last, where one stands in the way,
        the fan's minimum time.
    """
    now_s, memory = now.monotonic_s, decision.memory
    tent, intake = fresh(readings, now_s, rules)
    if memory.in_failsafe:
        rows: tuple[Reason, ...] = (_failsafe_reason(readings.tent, now_s, rules),)
    else:
        base = base_wish(now, rules)
        rows = _base_reasons(base, now, rules)
        if tent is not None:
            limits = rules.day if now.lamp_on else rules.night
            rows = (*_watch_reasons(memory.watches, tent, intake, limits, rules), *rows)
            rows = _deciding_first(rows, overridden(base, memory.watches, rules.speeds).rule)
    hold = memory.hold
    if hold is not None:
        held = Reason(
            Rule.MANUAL_HOLD, Standing.DECIDING, value=hold.speed, limit=hold.speed,
            until_s=hold.until_s,
        )  # fmt: skip
        rows = (held, *(_only_engaged(reason) for reason in rows))
    if decision.is_limited:
        rows = (*rows, _limiting_reason(decision, now_s, rules))
    return rows


def _failsafe_reason(tent: Reading | None, now_s: float, rules: Rules) -> Reason:
    return Reason(
        Rule.SENSOR_FAILSAFE,
        Standing.DECIDING,
        value=None if tent is None else now_s - tent.monotonic_s,
        limit=rules.stale_after_s,
        unit="s",
    )


def _base_reasons(base: Wish, now: Now, rules: Rules) -> tuple[Reason, ...]:
    asked = Reason(base.rule, Standing.DECIDING, value=base.speed, limit=base.speed)
    if base.rule is Rule.SCHEDULE:
        return (asked,)
    scheduled = rules.base[now.in_fan_hours].speed
    return asked, Reason(Rule.SCHEDULE, Standing.ENGAGED, value=scheduled, limit=scheduled)


def _watch_reasons(
    watches: Watches, tent: Reading, intake: Reading | None, limits: Limits, rules: Rules
) -> list[Reason]:
    if not any(watches):
        return []
    compared = values(tent, intake)
    rows = []
    for i, (kind, watch) in enumerate(zip(WATCHES, watches, strict=True)):
        if watch is None:
            continue
        reason = Reason(
            kind.rule,
            Standing.ENGAGED if watch.engaged else Standing.DELAYED,
            kind.quantity,
            compared[i],
            limits[i],
            kind.unit,
            until_s=_delay_ends_s(watch, rules.delays_s[i], tent.monotonic_s),
        )
        if watch.locked_out and intake is not None:
            reason = _locked_out_reason(reason, tent, intake, rules.pressure_pa)
        rows.append(reason)
    return rows


def _delay_ends_s(watch: OverrideState, delay_s: float, now_s: float) -> float | None:
    """When a delay ends; None once it has, and the watch only waits for its value to come back."""
    ends_s = watch.since_s + delay_s
    return None if watch.engaged or ends_s <= now_s else ends_s


def _locked_out_reason(
    reason: Reason, tent: Reading, intake: Reading, pressure_pa: float
) -> Reason:
    if reason.quantity is Quantity.TEMPERATURE:
        outside, inside = intake.temperature_c, tent.temperature_c
    else:
        outside, inside = (
            1000.0 * air.humidity_ratio(r.temperature_c, r.humidity_pct, pressure_pa)
            for r in (intake, tent)
        )
    return reason._replace(standing=Standing.LOCKED_OUT, intake=outside, inside=inside)


def _deciding_first(rows: tuple[Reason, ...], deciding: Rule) -> tuple[Reason, ...]:
    """Mark the first reason of the deciding row as such, and put it first."""
    at = next(
        i
        for i, reason in enumerate(rows)
        if reason.rule is deciding and reason.standing in (Standing.DECIDING, Standing.ENGAGED)
    )
    others = (_only_engaged(reason) for reason in (*rows[:at], *rows[at + 1 :]))
    return rows[at]._replace(standing=Standing.DECIDING), *others


def _only_engaged(reason: Reason) -> Reason:
    if reason.standing is Standing.DECIDING:
        return reason._replace(standing=Standing.ENGAGED)
    return reason


def _limiting_reason(decision: Decision, now_s: float, rules: Rules) -> Reason:
    memory = decision.memory
    least_s = rules.min_on_s if memory.ramp.to_speed > 0.0 else rules.min_off_s
    return Reason(
        decision.rule,
        Standing.LIMITING,
        value=now_s - memory.switched_s,
        limit=least_s,
        unit="s",
        until_s=memory.switched_s + least_s,
    )
