"""Why a decision came out as it did: a pure function of it and of what it was made from."""

from __future__ import annotations

from controller import air
from controller.control.actuator import QUIET_LASTS_S, least_rest_s, least_run_s, may_run_on
from controller.control.decide import Decision, fresh
from controller.control.forecast import Worth
from controller.control.modulation import HeatStage, SpeedChoice
from controller.control.override_state import (
    OVERRIDES,
    OverrideKind,
    OverrideState,
    OverrideStates,
    compared_values,
    intake_co2_ppm,
)
from controller.control.quiet import base_wish, near_warning_c
from controller.control.thresholds import Duty, Limits, Rules, Wish
from controller.control.types import (
    Now,
    Quantity,
    Reading,
    Readings,
    Reason,
    ReasonStatus,
    Rule,
    SpeedForecast,
    Worsening,
)
from controller.control.wish import is_ignored, quiet_cap, wish_and_duty


def reasons(decision: Decision, now: Now, readings: Readings, rules: Rules) -> tuple[Reason, ...]:
    """Give the reason of every row that asks for a speed, waits, or is locked out.

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
        The deciding row first, then the others by priority; last the fan's minimum time, where it
        delays the command.
    """
    now_s, memory = now.monotonic_s, decision.memory
    tent, intake = fresh(readings, now_s, rules)
    limits, cap, duty = rules.day if now.lamp_on else rules.night, 1.0, None
    if memory.in_failsafe:
        rows: tuple[Reason, ...] = (_failsafe_reason(readings.tent, now_s, rules),)
    else:
        cap = quiet_cap(now, rules, memory.overrides, near_warning=memory.near_warning)
        wish = base_wish(now, rules, cap)
        rows = _base_reasons(base_wish(now, rules), now, rules)
        if tent is not None:
            overriding = _override_reasons(
                memory.overrides, tent, intake, limits, rules, memory.choice
            )
            rows = (*overriding, *rows)
            wish, duty = wish_and_duty(
                now,
                intake,
                rules,
                memory.overrides,
                memory.choice,
                cap,
                near_warning=memory.near_warning,
            )
            if now.is_quiet and rules.quiet_speed is not None and cap > rules.quiet_speed:
                rows = (*rows, _overruled_reason(tent, rules, near_warning=memory.near_warning))
        if wish.rule is Rule.QUIET:
            rows = (*rows, _quiet_reason(cap))
        rows = _deciding_first(rows, wish.rule)
    hold = memory.hold
    if hold is not None:
        held = Reason(
            Rule.MANUAL_HOLD, ReasonStatus.DECIDING, value=hold.speed, limit=hold.speed,
            until_s=hold.until_s,
        )  # fmt: skip
        rows = (held, *(_only_engaged(reason) for reason in rows))
    if decision.is_limited:
        runs_on = may_run_on(tent, limits, cap)
        limiting = _limiting_reason(decision, now_s, rules, duty, runs_on=runs_on)
        awaited = next((row.quantity for row in rows if row.rule is limiting.rule), None)
        rows = (*rows, limiting._replace(quantity=awaited))
    return rows


def _failsafe_reason(tent: Reading | None, now_s: float, rules: Rules) -> Reason:
    return Reason(
        Rule.SENSOR_FAILSAFE,
        ReasonStatus.DECIDING,
        value=None if tent is None else now_s - tent.monotonic_s,
        limit=rules.stale_after_s,
        unit="s",
    )


def _base_reasons(base: Wish, now: Now, rules: Rules) -> tuple[Reason, ...]:
    reason = Reason(base.rule, ReasonStatus.DECIDING, value=base.speed, limit=base.speed)
    if base.rule is Rule.SCHEDULE:
        return (reason,)
    scheduled = rules.base[now.in_fan_hours].speed
    return reason, Reason(Rule.SCHEDULE, ReasonStatus.ENGAGED, value=scheduled, limit=scheduled)


def _quiet_reason(cap: float) -> Reason:
    return Reason(Rule.QUIET, ReasonStatus.ENGAGED, value=cap, limit=cap)


def _overruled_reason(tent: Reading, rules: Rules, *, near_warning: bool) -> Reason:
    if not near_warning:
        return Reason(Rule.QUIET, ReasonStatus.OVERRULED, Quantity.DEW_POINT)
    return Reason(
        Rule.QUIET,
        ReasonStatus.OVERRULED,
        Quantity.TEMPERATURE,
        tent.temperature_c,
        near_warning_c(rules),
        "°C",
    )


def _override_reasons(
    states: OverrideStates,
    tent: Reading,
    intake: Reading | None,
    limits: Limits,
    rules: Rules,
    choice: SpeedChoice | None,
) -> list[Reason]:
    if not any(states):
        return []
    compared = compared_values(tent, intake)
    worsens = None
    if choice is not None and rules.modulation is not None:
        worsens = worsening(choice, limits, rules.modulation.worth)
    rows = []
    for i, (kind, state) in enumerate(zip(OVERRIDES, states, strict=True)):
        if state is None:
            continue
        reason = Reason(
            kind.rule,
            _status(kind, state, states),
            kind.quantity,
            compared[i],
            limits[i],
            kind.unit,
            until_s=_delay_ends_s(state, rules.delays_s[i], tent.monotonic_s),
            forecast=_forecast(kind, choice, worsens)
            if state.engaged and kind.is_forecast
            else None,
        )
        if state.locked_out:
            reason = _locked_out_reason(reason, tent, intake, rules.pressure_pa)
        rows.append(reason)
    return rows


def _status(kind: OverrideKind, state: OverrideState, states: OverrideStates) -> ReasonStatus:
    if not state.engaged:
        return ReasonStatus.DELAYED
    return ReasonStatus.IGNORED if is_ignored(kind, states) else ReasonStatus.ENGAGED


def worsening(choice: SpeedChoice, limits: Limits, worth: Worth) -> Worsening | None:
    """What holds a modulated speed below the fastest where its power does not.

    Parameters
    ----------
    choice : SpeedChoice
        The modulating law's.
    limits : Limits
        The bands of the phase.
    worth : Worth
        What straying from them is worth.

    Returns
    -------
    Worsening or None
        What too much air makes too cold or too dry, the worst of it; None where the fastest speed
        would do less harm, or where heat alone counts.
    """
    near, far = choice.outlook, choice.outlook_at_high
    only_heat_counts = choice.lit and choice.heat is not HeatStage.NONE
    if only_heat_counts or far.harm_w(limits, worth) <= near.harm_w(limits, worth):
        return None
    w_per = {
        Quantity.TEMPERATURE: (worth.w_per_k, near.air_c, far.air_c),
        Quantity.HUMIDITY: (worth.w_per_pct, near.humidity_pct, far.humidity_pct),
        Quantity.VPD: (worth.w_per_pa, near.vpd_pa, far.vpd_pa),
    }
    more_w, worst = 0.0, None
    for kind, limit in zip(OVERRIDES, limits, strict=True):
        if kind.raises or kind.quantity not in w_per:
            continue
        w_per_unit, value, at_fastest = w_per[kind.quantity]
        before, after = (max(0.0, kind.side * (v - limit)) for v in (value, at_fastest))
        if w_per_unit * (after - before) > more_w:
            more_w = w_per_unit * (after - before)
            worst = Worsening(kind.rule, kind.quantity, at_fastest, limit, kind.unit)
    return worst


def _forecast(
    kind: OverrideKind, choice: SpeedChoice | None, worsens: Worsening | None
) -> SpeedForecast | None:
    """What the choice was made by, for the quantity of one override."""
    if choice is None or kind.quantity is Quantity.DEW_POINT:
        return None
    value, at_fastest = (
        outlook.air_c
        if kind.quantity is Quantity.TEMPERATURE
        else outlook.humidity_pct
        if kind.quantity is Quantity.HUMIDITY
        else outlook.vpd_pa
        for outlook in (choice.outlook, choice.outlook_at_high)
    )
    high = choice.between.high
    return SpeedForecast(choice.speed, high, value, at_fastest, choice.saved_w, worsens)


def _delay_ends_s(state: OverrideState, delay_s: float, now_s: float) -> float | None:
    """When a delay ends; None once it has and only the value keeps the override from engaging."""
    ends_s = state.since_s + delay_s
    return None if state.engaged or ends_s <= now_s else ends_s


def _locked_out_reason(
    reason: Reason, tent: Reading, intake: Reading | None, pressure_pa: float
) -> Reason:
    outside: float | None
    if reason.quantity is Quantity.CO2 or intake is None:
        outside, inside = intake_co2_ppm(intake), tent.co2_ppm
    elif reason.quantity is Quantity.TEMPERATURE:
        outside, inside = intake.temperature_c, tent.temperature_c
    else:
        outside, inside = (
            1000.0 * air.humidity_ratio(r.temperature_c, r.humidity_pct, pressure_pa)
            for r in (intake, tent)
        )
    return reason._replace(status=ReasonStatus.LOCKED_OUT, intake=outside, inside=inside)


def _deciding_first(rows: tuple[Reason, ...], deciding: Rule) -> tuple[Reason, ...]:
    """Mark the first reason of the deciding row as such, and put it first."""
    at = next(
        i
        for i, reason in enumerate(rows)
        if reason.rule is deciding
        and reason.status in (ReasonStatus.DECIDING, ReasonStatus.ENGAGED)
    )
    others = (_only_engaged(reason) for reason in (*rows[:at], *rows[at + 1 :]))
    return rows[at]._replace(status=ReasonStatus.DECIDING), *others


def _only_engaged(reason: Reason) -> Reason:
    """The same row as one that asks, and another decides."""
    if reason.status is ReasonStatus.DECIDING:
        return reason._replace(status=ReasonStatus.ENGAGED)
    return reason


def _limiting_reason(
    decision: Decision, now_s: float, rules: Rules, duty: Duty | None, *, runs_on: bool
) -> Reason:
    memory, status = decision.memory, ReasonStatus.LIMITING
    since_s, due_s = memory.switched_s, memory.start_due_s
    rule = decision.rule
    if memory.ramp.to_speed > 0.0:
        least_s = least_run_s(rule, rules, since_s, due_s, runs_on=runs_on)
    else:
        least_s = least_rest_s(rules, since_s, due_s)
        if duty is not None and duty.rest_s >= least_s:
            status, least_s = ReasonStatus.RESTING, duty.rest_s
    if now_s - since_s >= least_s:  # neither a minimum time nor the number of starts: quiet
        rule, since_s, least_s = Rule.QUIET, memory.ramp.from_s, QUIET_LASTS_S
    elif rule is Rule.QUIET:  # only its own wait is told by that row
        rule = Rule.SCHEDULE
    return Reason(
        rule,
        status,
        value=now_s - since_s,
        limit=least_s,
        unit="s",
        until_s=since_s + least_s,
    )
