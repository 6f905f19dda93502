"""The one place where the fan's speed is chosen.

`decide` is a pure function, called every tick by the daemon and every simulated minute by a
rehearsal or a replay. It walks the priority list of `Rule` from the bottom: the schedule (or a
purge) is the base, too cold or too dry lowers it, too stale, too humid and too hot raise it, a
failed sensor or a person's hold replaces it. Minimum times, the least speed of the motor and the
ramp then stand between that wish and the command; a fan that rests is started at once by heat. Why
it came out so is worked out by `reasons`.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.control.actuator import actuate, may_run_on
from controller.control.lamp_interlock import step_lamp_cut
from controller.control.memory import Memory
from controller.control.modulation import SpeedChoice
from controller.control.override_state import (
    CALM,
    DEW_POINT,
    HOT,
    IS_FORECAST,
    LASTS_S,
    OVERRIDES,
    RAISES,
    SIDES,
    OverrideState,
    OverrideStates,
    compared_values,
    intake_advantage,
    step_lock_out,
    step_override,
)
from controller.control.quiet import base_wish, step_near_warning
from controller.control.thresholds import Limits, Rules, Wish
from controller.control.types import Now, Reading, Readings, Rule
from controller.control.wish import acts, quiet_cap, speed_range, wish_and_duty

_AT_ONCE = (0.0,) * len(OVERRIDES)


class Decision(NamedTuple):
    """What to do now, and what to remember.

    Attributes
    ----------
    speed : float
        Fan speed commanded, 0-1.
    lamp_on : bool
        Whether the lamp is to be lit; a command only where the controller switches it.
    rule : Rule
        The row of the priority list that set the speed.
    is_limited : bool
        Whether a minimum on or off time keeps the fan from what that row asks for.
    memory : Memory
        To be handed to the next decision; the same object when nothing changed.
    """

    speed: float
    lamp_on: bool
    rule: Rule
    is_limited: bool
    memory: Memory


def decide(now: Now, readings: Readings, rules: Rules, memory: Memory) -> Decision:
    """Choose the fan's speed.

    Parameters
    ----------
    now : Now
        The instant, already looked up in the schedule.
    readings : Readings
        What is known of the air in the tent and at the intake.
    rules : Rules
        The settings, worked out.
    memory : Memory
        What the last decision left; `Memory()` at a first start.

    Returns
    -------
    Decision
        Speed, lamp, the deciding row and the new memory.
    """
    now_s = now.monotonic_s
    started_s = now_s if memory.started_s is None else memory.started_s
    tent, intake = fresh(readings, now_s, rules)
    limits = rules.day if now.lamp_on else rules.night
    overrides, in_failsafe, choice = memory.overrides, False, None
    near_warning, cap, duty = memory.near_warning, 1.0, None
    if tent is not None:
        # Whoever comes out of the failsafe has waited long enough: a second delay, at the
        # scheduled speed, would only let the fan go slow and fast again.
        delays_s = _AT_ONCE if memory.in_failsafe else rules.delays_s
        overrides = _step_overrides(tent, intake, limits, rules, delays_s, overrides, now_s)
        near_warning = step_near_warning(near_warning, tent.temperature_c, rules)
        cap = quiet_cap(now, rules, overrides, near_warning=near_warning)
        choice = _choose(now, tent, intake, limits, rules, overrides, cap, memory.choice)
        wish, duty = wish_and_duty(
            now, intake, rules, overrides, choice, cap, near_warning=near_warning
        )
    elif memory.in_failsafe or not _awaits_first_reading(readings.tent, now_s - started_s, rules):
        overrides, in_failsafe = CALM, True
        wish = Wish(rules.failsafe_speed, Rule.SENSOR_FAILSAFE)
    else:
        cap = quiet_cap(now, rules, overrides, near_warning=near_warning)
        wish = base_wish(now, rules, cap)
    tent_c = None if tent is None else tent.temperature_c
    lamp_cut = step_lamp_cut(memory.lamp_cut, tent_c, rules, now_s)
    hold = memory.hold
    if hold is not None and now_s >= hold.until_s:
        hold = None
    if hold is not None:
        wish, duty = Wish(hold.speed, Rule.MANUAL_HOLD), None
    command = actuate(
        wish,
        now_s,
        rules,
        memory.ramp,
        memory.switched_s,
        memory.start_due_s,
        is_too_hot=acts(HOT, overrides),
        runs_on=may_run_on(tent, limits, cap),
        cap=cap,
        duty=duty,
    )
    memory = memory.followed_by(
        Memory(
            started_s=started_s,
            overrides=overrides,
            ramp=command.ramp,
            switched_s=command.switched_s,
            lamp_cut=lamp_cut,
            hold=hold,
            in_failsafe=in_failsafe,
            choice=choice,
            near_warning=near_warning,
            start_due_s=command.start_due_s,
        )
    )
    lamp_on = now.lamp_on and not memory.lamp_is_cut
    return Decision(command.speed, lamp_on, wish.rule, command.is_limited, memory)


def fresh(readings: Readings, now_s: float, rules: Rules) -> Readings:
    """Leave out the readings that are older than `failsafe.stale_after`."""
    tent, intake = readings
    if tent is not None and now_s - tent.monotonic_s > rules.stale_after_s:
        tent = None
    if intake is not None and now_s - intake.monotonic_s > rules.stale_after_s:
        intake = None
    return Readings(tent, intake)


def _step_overrides(
    tent: Reading,
    intake: Reading | None,
    limits: Limits,
    rules: Rules,
    delays_s: tuple[float, ...],
    overrides: OverrideStates,
    now_s: float,
) -> OverrideStates:
    is_modulated = rules.modulation is not None and intake is not None
    compared = zip(overrides, SIDES, compared_values(tent, intake), limits, strict=True)
    stepped: list[OverrideState | None] = []
    changed = False
    for i, (before, side, value, threshold) in enumerate(compared):
        state = step_override(
            before,
            excess=side * (value - threshold),
            hysteresis=rules.hystereses[i],
            delay_s=delays_s[i],
            lasts_s=LASTS_S[i],
            now_s=now_s,
        )
        if state is not None and state.engaged:
            advantage, margin = 1.0, 0.0
            if not (is_modulated and IS_FORECAST[i]):  # the law sees what the intake offers
                advantage, margin = intake_advantage(i, tent, intake, rules)
            state = step_lock_out(state, raises=RAISES[i], advantage=advantage, margin=margin)
        changed = changed or state is not before
        stepped.append(state)
    if not changed:
        return overrides
    return tuple(stepped) if any(stepped) else CALM


def _choose(
    now: Now,
    tent: Reading,
    intake: Reading | None,
    limits: Limits,
    rules: Rules,
    overrides: OverrideStates,
    cap: float,
    before: SpeedChoice | None,
) -> SpeedChoice | None:
    if rules.modulation is None or intake is None or overrides is CALM:
        return None
    between = speed_range(base_wish(now, rules, cap), overrides, rules, cap)
    if between is None:
        return None
    return rules.modulation.choose(
        before,
        now.monotonic_s,
        tent=tent,
        intake=intake,
        lit=now.lamp_on,
        limits=limits,
        between=between,
        is_too_hot=acts(HOT, overrides),
        is_near_dew_point=acts(DEW_POINT, overrides),
    )


def _awaits_first_reading(tent: Reading | None, running_s: float, rules: Rules) -> bool:
    """Whether a first reading may still come: until then the schedule holds."""
    return tent is None and running_s <= rules.stale_after_s
