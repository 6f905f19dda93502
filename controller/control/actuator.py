"""From the speed wished for to the speed commanded: minimum times, least speed and ramp.

In quiet hours a speed lasts, too: what one wakes up by is a change.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from controller.control.memory import Ramp
from controller.control.thresholds import Duty, Limits, Rules, Wish
from controller.control.types import Reading, Rule

# From so far below its band on a tent is too cold for its fan to run on for want of starts [K]; up
# to there it spares a tent more damp than it costs it warmth (both examples, see DEVELOPERS.md).
_COLD_ENOUGH_TO_REST_K = 1.0
# So long a fan runs at most so that it can start again at once when it rests [s].
_RUNS_ON_S = 3600.0
# So many seconds' share of the starts may come at once [s]: nights with many follow days without.
_STARTS_AHEAD_S = 43_200.0
# Rows that may start a fan within its minimum off time: a blind controller must take the tent to
# be hot, and a person knows what he does. So may heat, whichever row sets the speed: a motor bears
# one early start better than a crop bears heat.
_STARTS_AT_ONCE = frozenset({Rule.MANUAL_HOLD, Rule.SENSOR_FAILSAFE})


QUIET_LASTS_S = 900.0
"""How long a speed lasts in quiet hours at least [s]: four changes an hour (common practice, no
source)."""


class Command(NamedTuple):
    """The command to the motor.

    Attributes
    ----------
    speed : float
        The speed commanded now, 0-1.
    is_limited : bool
        Whether a minimum on or off time, quiet, or a duty stands between wish and command.
    ramp : Ramp
        The speed on its way; the same object when nothing changed.
    switched_s : float
        When the fan was last started or stopped [s].
    start_due_s : float
        When another start is due, were they evenly spread; see `Rules.start_every_s` [s].
    """

    speed: float
    is_limited: bool
    ramp: Ramp
    switched_s: float
    start_due_s: float


def ramped_speed(ramp: Ramp, now_s: float, ramp_s: float) -> float:
    """Give the speed that a ramp has reached.

    Parameters
    ----------
    ramp : Ramp
        Where it started and where it goes.
    now_s : float
        Monotonic time [s].
    ramp_s : float
        Time from standstill to full speed [s]; 0 jumps.

    Returns
    -------
    float
        Speed, 0-1.
    """
    gap = ramp.to_speed - ramp.from_speed
    if ramp_s <= 0.0 or gap == 0.0:
        return ramp.to_speed
    moved = max(0.0, now_s - ramp.from_s) / ramp_s
    if moved >= abs(gap):
        return ramp.to_speed
    return ramp.from_speed + (moved if gap > 0.0 else -moved)


def motor_speed(speed: float, rules: Rules) -> float:
    """The speed to command: never above 0 and below the least at which the motor turns reliably."""
    return max(speed, rules.min_speed) if speed > 0.0 else 0.0


def least_rest_s(rules: Rules, switched_s: float, start_due_s: float) -> float:
    """How long a fan rests at least that was stopped at a time [s]; heat does not wait for it.

    Parameters
    ----------
    rules : Rules
        The least rest, and how often the fan may start.
    switched_s, start_due_s : float
        As in `Command` [s].
    """
    return max(rules.min_off_s, start_due_s - _ahead_s(rules) - switched_s)


def may_run_on(tent: Reading | None, limits: Limits, cap: float) -> bool:
    """Whether a fan may run on for want of starts: not in quiet hours, nor in a cold tent."""
    is_too_cold = tent is not None and tent.temperature_c < limits.cold_c - _COLD_ENOUGH_TO_REST_K
    return cap >= 1.0 and not is_too_cold


def least_run_s(
    rule: Rule, rules: Rules, switched_s: float, start_due_s: float, *, runs_on: bool = True
) -> float:
    """How long a fan runs at least that was started at a time, where a rule would stop it [s].

    Where starts are scarce it runs on until it could start again, rather than rest for as long: a
    tent that needs air every few minutes is better off with too much of it than without.

    Parameters
    ----------
    rule : Rule
        The row that asks for rest.
    rules : Rules
        The least run, and how often the fan may start.
    switched_s, start_due_s : float
        As in `Command` [s].
    runs_on : bool
        Whether it may; see `may_run_on`.
    """
    if rule is Rule.MANUAL_HOLD:
        return 0.0
    if not runs_on:
        return rules.min_on_s
    # What heat has started too often is made up for before heat can start it again.
    made_up_s = start_due_s - _due_within_s(rules) - switched_s
    next_start_s = start_due_s - _ahead_s(rules) - switched_s
    return max(rules.min_on_s, made_up_s, min(_RUNS_ON_S, next_start_s))


def rests_by_duty(duty: Duty | None, switched_s: float, now_s: float, *, running: bool) -> bool:
    """Whether a duty has the fan rest now that an override would run.

    By when it last started or stopped, so that whatever else started it counts; a fan that has
    rested for long starts at once.
    """
    if duty is None:
        return False
    for_s = now_s - switched_s
    return for_s >= duty.run_s if running else for_s < duty.rest_s


def _due_within_s(rules: Rules) -> float:
    """How far off the next start is due at most, after one that was not for heat [s]."""
    return max(_STARTS_AHEAD_S, rules.start_every_s)


def _ahead_s(rules: Rules) -> float:
    """How long before a start is due it may come [s]."""
    return _due_within_s(rules) - rules.start_every_s


def actuate(
    wish: Wish,
    now_s: float,
    rules: Rules,
    before: Ramp,
    switched_s: float,
    start_due_s: float = -math.inf,
    *,
    is_too_hot: bool = False,
    runs_on: bool = True,
    cap: float = 1.0,
    duty: Duty | None = None,
) -> Command:
    """Turn a wish into a command that keeps to the fan's minimum times, least speed and ramp.

    Parameters
    ----------
    wish : Wish
        The speed asked for, 0-1, and by which rule.
    now_s : float
        Monotonic time [s].
    rules : Rules
        Minimum times, least speed and ramp.
    before : Ramp
        The ramp so far.
    switched_s : float
        When the fan was last started or stopped [s].
    start_due_s : float
        As the last command gave it [s].
    is_too_hot : bool
        Whether too hot is engaged and not locked out; no minimum off time then keeps the fan off.
    runs_on : bool
        As in `least_run_s`.
    cap : float
        The most that quiet hours allow, 0–1; below 1 a speed up to it lasts `QUIET_LASTS_S`.
    duty : Duty or None
        How the fan runs and rests in turn, whatever the wish; it never runs on for want of starts.
    """
    target = motor_speed(wish.speed, rules)
    was_running, for_s = before.to_speed > 0.0, now_s - switched_s
    is_limited = False
    if target > 0.0 and rests_by_duty(duty, switched_s, now_s, running=was_running):
        is_limited, target, runs_on = True, 0.0, False
    if target > 0.0 and not was_running:
        least_s = least_rest_s(rules, switched_s, start_due_s)
        if for_s < least_s and not (is_too_hot or wish.rule in _STARTS_AT_ONCE):
            is_limited, target = True, 0.0
    elif (
        target == 0.0
        and was_running
        and for_s < least_run_s(wish.rule, rules, switched_s, start_due_s, runs_on=runs_on)
    ):
        is_limited, target = True, min(before.to_speed, rules.min_speed)
    if (
        target != before.to_speed <= cap < 1.0
        and now_s - before.from_s < QUIET_LASTS_S
        and wish.rule not in _STARTS_AT_ONCE
    ):
        is_limited, target = True, before.to_speed

    ramp = before
    if target != before.to_speed:
        start = ramped_speed(before, now_s, rules.ramp_s)
        if target > 0.0:
            start = max(start, rules.min_speed)  # below it the motor may hum and not turn
        ramp = Ramp(start, now_s, target)
        if (target > 0.0) is not was_running:
            switched_s = now_s
            if target > 0.0 and rules.start_every_s > 0.0:
                # Heat may start it as often as it likes: no more than one is made up for.
                most_s = now_s + _due_within_s(rules) + rules.start_every_s
                start_due_s = min(max(start_due_s, now_s) + rules.start_every_s, most_s)
    speed = ramped_speed(ramp, now_s, rules.ramp_s)
    if speed < rules.min_speed and target == 0.0:
        speed = 0.0
    if speed == target and ramp.from_speed != target:
        ramp = Ramp(target, ramp.from_s, target)
    return Command(speed, is_limited, ramp, switched_s, start_due_s)
