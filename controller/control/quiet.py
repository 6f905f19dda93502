"""Quiet hours in the decision: how fast the fan may turn, and which harm goes before quiet. Pure.

While it is quiet the fan is given no more than a stated speed, and a speed lasts a quarter of an
hour at least, since changes are what one wakes up by. Two harms overrule it: heat near the warning,
from a margin below it so that the fan still keeps the tent from it, and water that threatens to
stand on a surface. A failsafe and a hold by hand know no quiet: a blind controller must take the
tent to be hot, and a person knows what he does.
"""

from __future__ import annotations

from controller.control.modulation import NEAR_WARNING_K
from controller.control.override_state import HOT
from controller.control.thresholds import Rules, Wish
from controller.control.types import Now, Rule


def step_near_warning(was_near: bool, tent_c: float, rules: Rules) -> bool:
    """Say whether a tent is near its heat warning; once near, until cooler by the hysteresis.

    Parameters
    ----------
    was_near : bool
        Whether it was at the last decision.
    tent_c : float
        The tent's air [°C].
    rules : Rules
        The settings; where nothing gives way to heat it is never asked, and False.
    """
    if not rules.heeds_warning:
        return False
    near_c = near_warning_c(rules)
    return tent_c >= (near_c - rules.hystereses[HOT] if was_near else near_c)


def near_warning_c(rules: Rules) -> float:
    """Temperature from which heat goes before quiet [°C]."""
    return rules.heat_warning_c - NEAR_WARNING_K


def most_speed(now: Now, rules: Rules, *, is_overruled: bool) -> float:
    """The most that the fan may be given, 0–1.

    Parameters
    ----------
    now : Now
        The instant.
    rules : Rules
        The settings.
    is_overruled : bool
        Whether a harm goes before quiet.
    """
    if rules.quiet_speed is None or not now.is_quiet or is_overruled:
        return 1.0
    return rules.quiet_speed


def base_wish(now: Now, rules: Rules, cap: float = 1.0) -> Wish:
    """What the schedule wishes, purge included, and no more than `cap`, 0–1."""
    wish = rules.base[now.in_fan_hours + 2 * now.purge_on]
    return wish if wish.speed <= cap else Wish(cap, Rule.QUIET)


def planned_wish(now: Now, rules: Rules) -> Wish:
    """What the schedule wishes and quiet hours leave of it, whatever the air."""
    return base_wish(now, rules, most_speed(now, rules, is_overruled=False))
