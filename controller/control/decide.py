"""The one place where the fan's speed is chosen.

`decide` is a pure function, called every tick by the daemon and every simulated minute by a
rehearsal or a replay. It walks the priority list of `Rule` from the bottom: the schedule (or a
purge) is the base, too cold or too dry lowers it, too stale, too humid and too hot raise it, a
failed sensor or a person's hold replaces it. Minimum times, the least speed of the motor and the
ramp then stand between that wish and the command; a fan that rests is started at once by heat. Why
it came out so is worked out by `reasons`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.control.actuator import actuate, may_run_on, motor_speed
from controller.control.lamp_interlock import step_lamp_cut
from controller.control.memory import Memory
from controller.control.modulation import SpeedChoice, SpeedRange
from controller.control.override_state import (
    CALM,
    IS_FORECAST,
    LASTS_S,
    OVERRIDES,
    RAISES,
    SIDES,
    STALE,
    OverrideKind,
    OverrideState,
    OverrideStates,
    compared_values,
    intake_advantage,
    step_lock_out,
    step_override,
)
from controller.control.quiet import base_wish, most_speed, step_near_warning
from controller.control.thresholds import Duty, Limits, Rules, Wish
from controller.control.types import Now, Reading, Readings, Rule

_AT_ONCE = (0.0,) * len(OVERRIDES)
_RAISING = tuple(i for i, raises in enumerate(RAISES) if raises)
_LOWERING = tuple(i for i, raises in enumerate(RAISES) if not raises)
_FORECAST = tuple(i for i, is_forecast in enumerate(IS_FORECAST) if is_forecast)
_HOT, _DEW_POINT, _COLD = 0, 3, 4


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
        base = base_wish(now, rules, cap)
        speeds = asked_speeds(rules, base, overrides, lamp_on=now.lamp_on, intake=intake)
        wish = wished(base, overrides, speeds, choice, cap)
        duty = duty_in_the_dark(now, rules, base, overrides, near_warning=near_warning)
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
        is_too_hot=_acts(_HOT, overrides),
        runs_on=may_run_on(tent, limits, cap),
        cap=cap,
        duty=duty,
    )
    memory = memory.followed_by(
        Memory(
            started_s,
            overrides,
            command.ramp,
            command.switched_s,
            lamp_cut,
            hold,
            in_failsafe,
            choice,
            near_warning,
            command.start_due_s,
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


def quiet_cap(now: Now, rules: Rules, overrides: OverrideStates, *, near_warning: bool) -> float:
    """The most that the fan may be given, 0–1; less than 1 only in quiet hours."""
    is_overruled = near_warning or _acts(_DEW_POINT, overrides)
    return most_speed(now, rules, is_overruled=is_overruled)


def duty_in_the_dark(
    now: Now, rules: Rules, base: Wish, overrides: OverrideStates, *, near_warning: bool
) -> Duty | None:
    """How an override runs a relay in the dark, where the schedule has it rest; None: always.

    Heat near the warning and a surface near the dew point ask for all the air there is.
    """
    if now.lamp_on or base.speed > 0.0 or near_warning or _acts(_DEW_POINT, overrides):
        return None
    return rules.dark_duty


def asked_speeds(
    rules: Rules,
    base: Wish,
    overrides: OverrideStates,
    *,
    lamp_on: bool,
    intake: Reading | None,
) -> tuple[float, ...]:
    """What each override asks for, 0–1.

    In the dark less, where no intake reading tells: nothing heats a dark tent, and the fan can
    bring it no lower than its intake air, so that a little air does as well as much. And a cold or
    dry tent gets no more than scheduled for its carbon dioxide: little air brings what leaves need.
    """
    speeds = rules.speeds
    if intake is None and not lamp_on and rules.dark_speeds is not None:
        speeds = rules.dark_speeds
    if _acts(STALE, overrides) and any(_acts(i, overrides) for i in _LOWERING):
        return (*speeds[:STALE], min(speeds[STALE], base.speed))  # the last of them
    return speeds


def wished(
    base: Wish,
    overrides: OverrideStates,
    speeds: tuple[float, ...],
    choice: SpeedChoice | None,
    cap: float = 1.0,
) -> Wish:
    """Let the engaged overrides change the schedule's wish, by a choice or by fixed speeds.

    Parameters
    ----------
    base : Wish
        The schedule's.
    overrides : OverrideStates
        The state of each override.
    speeds : tuple of float
        What each override asks for at the most, or at the least, 0–1.
    choice : SpeedChoice or None
        The modulating law's; None where it has none.
    cap : float
        What quiet hours allow, 0–1; the wish is theirs where more was asked for.
    """
    wish = _chosen(base, overrides, choice)
    if wish is None:
        wish = overridden(base, overrides, [min(speed, cap) for speed in speeds])
    if wish.speed == cap < max([speeds[i] for i in _RAISING if _acts(i, overrides)], default=0.0):
        return Wish(cap, Rule.QUIET)
    return wish


def _chosen(base: Wish, overrides: OverrideStates, choice: SpeedChoice | None) -> Wish | None:
    """A choice as a wish, by the row that asked for it."""
    if choice is None:
        return None
    low, scheduled, _ = choice.between
    if choice.speed == low > scheduled:
        return Wish(choice.speed, Rule.TOO_STALE)  # nothing else keeps a choice above the schedule
    if choice.speed != scheduled:
        raises = choice.speed > scheduled
        for i, kind in enumerate(OVERRIDES):
            if kind.raises is raises and _acts(i, overrides):
                return Wish(choice.speed, kind.rule)
    return Wish(choice.speed, base.rule)


def overridden(base: Wish, overrides: OverrideStates, speeds: Sequence[float]) -> Wish:
    """Let the engaged overrides lower and raise the schedule's wish.

    Parameters
    ----------
    base : Wish
        The schedule's.
    overrides : OverrideStates
        The state of each override.
    speeds : sequence of float
        What each override asks for, 0-1.
    """
    if overrides is CALM:
        return base
    floor, ceiling = 0.0, 1.0
    for i, state in enumerate(overrides):
        if state is not None and _acts(i, overrides):
            if RAISES[i]:
                floor = max(floor, speeds[i])
            else:
                ceiling = min(ceiling, speeds[i])
    # The deciding row is the highest one that asked for just this speed.
    if floor > 0.0 and floor >= min(base.speed, ceiling):
        return Wish(floor, _first_rule(overrides, speeds, floor, raises=True))
    if ceiling < base.speed:
        return Wish(ceiling, _first_rule(overrides, speeds, ceiling, raises=False))
    return base


def _acts(index: int, overrides: OverrideStates) -> bool:
    """Whether an override moves the speed: engaged, not locked out, and not undone by heat."""
    state = overrides[index]
    if state is None or not state.engaged or state.locked_out:
        return False
    return not is_ignored(OVERRIDES[index], overrides)


def is_ignored(kind: OverrideKind, overrides: OverrideStates) -> bool:
    """Whether heat undoes an override, be it engaged itself, delayed or locked out.

    Hot air is dry because it is hot: less air would make it hotter, and so drier still.
    """
    return kind.rule is Rule.TOO_DRY and overrides[_HOT] is not None


def _first_rule(
    overrides: OverrideStates, speeds: Sequence[float], speed: float, *, raises: bool
) -> Rule:
    for i, kind in enumerate(OVERRIDES):
        if _acts(i, overrides) and kind.raises is raises and speeds[i] == speed:
            return kind.rule
    raise AssertionError("a floor or ceiling always comes from an override")


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


def speed_range(
    base: Wish, overrides: OverrideStates, rules: Rules, cap: float = 1.0
) -> SpeedRange | None:
    """What the modulating law may choose from; None where no override asks for more air.

    Speeds that overrides ask for are the most now, as far as quiet hours allow (`cap`). A cold
    tent gets no more than scheduled, since it may be thought warmer or moister than it is, unless
    water threatens to stand on its walls. What stale air asks for is the least: no forecast has it.
    """
    asked = [rules.speeds[i] for i in _FORECAST if _acts(i, overrides)]
    if not asked:
        return None
    low = high = base.speed
    if not _acts(_HOT, overrides):
        low = min([low, *(rules.speeds[i] for i in _LOWERING if _acts(i, overrides))])
    if not _acts(_COLD, overrides) or _acts(_DEW_POINT, overrides):
        high = max(high, min(cap, max(asked)))
    if _acts(STALE, overrides):
        speeds = asked_speeds(rules, base, overrides, lamp_on=True, intake=None)
        low = max(low, min(cap, speeds[STALE]))
        high = max(high, low)
    return SpeedRange(*(motor_speed(speed, rules) for speed in (low, base.speed, high)))


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
        is_too_hot=_acts(_HOT, overrides),
        is_near_dew_point=_acts(_DEW_POINT, overrides),
    )


def _awaits_first_reading(tent: Reading | None, running_s: float, rules: Rules) -> bool:
    """Whether a first reading may still come: until then the schedule holds."""
    return tent is None and running_s <= rules.stale_after_s
