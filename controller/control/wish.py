"""From the schedule and the overrides' states to the speed wished for, and by which row.

The schedule, a purge included, is the base. Engaged overrides that are not locked out lower and
raise it, to fixed speeds or to the one that the modulating law chose, and quiet hours cap it. Pure;
asked by `decide` for the speed and by `reasons` for why.
"""

from __future__ import annotations

from collections.abc import Sequence

from controller.control.actuator import motor_speed
from controller.control.modulation import SpeedChoice, SpeedRange
from controller.control.override_state import (
    CALM,
    COLD,
    DEW_POINT,
    HOT,
    IS_FORECAST,
    OVERRIDES,
    RAISES,
    STALE,
    OverrideKind,
    OverrideStates,
)
from controller.control.quiet import base_wish, most_speed
from controller.control.thresholds import Duty, Rules, Wish
from controller.control.types import Now, Reading, Rule

_RAISING = tuple(i for i, raises in enumerate(RAISES) if raises)
_LOWERING = tuple(i for i, raises in enumerate(RAISES) if not raises)
_FORECAST = tuple(i for i, is_forecast in enumerate(IS_FORECAST) if is_forecast)


def quiet_cap(now: Now, rules: Rules, overrides: OverrideStates, *, near_warning: bool) -> float:
    """The most that the fan may be given, 0–1; less than 1 only in quiet hours."""
    is_overruled = near_warning or acts(DEW_POINT, overrides)
    return most_speed(now, rules, is_overruled=is_overruled)


def wish_and_duty(
    now: Now,
    intake: Reading | None,
    rules: Rules,
    overrides: OverrideStates,
    choice: SpeedChoice | None,
    cap: float,
    *,
    near_warning: bool,
) -> tuple[Wish, Duty | None]:
    """What schedule and overrides together ask for, and how the fan runs then in the dark.

    Parameters
    ----------
    now : Now
        The instant.
    intake : Reading or None
        The air drawn in.
    rules : Rules
        The settings.
    overrides : OverrideStates
        The state of each override.
    choice : SpeedChoice or None
        The modulating law's; None where it has none.
    cap : float
        What quiet hours allow, 0–1.
    near_warning : bool
        Whether the tent is near its heat warning.
    """
    base = base_wish(now, rules, cap)
    speeds = _asked_speeds(rules, base, overrides, lamp_on=now.lamp_on, intake=intake)
    duty = _duty_in_the_dark(now, rules, base, overrides, near_warning=near_warning)
    return wished(base, overrides, speeds, choice, cap), duty


def _duty_in_the_dark(
    now: Now, rules: Rules, base: Wish, overrides: OverrideStates, *, near_warning: bool
) -> Duty | None:
    """How an override runs a relay in the dark, where the schedule has it rest; None: always.

    Heat near the warning and a surface near the dew point ask for all the air there is.
    """
    if now.lamp_on or base.speed > 0.0 or near_warning or acts(DEW_POINT, overrides):
        return None
    return rules.dark_duty


def _asked_speeds(
    rules: Rules,
    base: Wish,
    overrides: OverrideStates,
    *,
    lamp_on: bool,
    intake: Reading | None,
) -> tuple[float, ...]:
    """What each override asks for, 0–1.

    In the dark less, where no intake reading tells: nothing heats a dark tent, and the fan can
    bring it no lower than its intake air, so that a little air does as well as much.
    """
    speeds = rules.speeds
    if intake is None and not lamp_on and rules.dark_speeds is not None:
        speeds = rules.dark_speeds
    if not acts(STALE, overrides):
        return speeds
    return (
        *speeds[:STALE],
        _speed_against_stale_air(speeds, base, overrides),
        *speeds[STALE + 1 :],
    )


def _speed_against_stale_air(
    speeds: tuple[float, ...], base: Wish, overrides: OverrideStates
) -> float:
    """What too little carbon dioxide asks for, 0–1; of a cold or dry tent no more than scheduled.

    Little air brings what leaves need.
    """
    is_lowered = any(acts(i, overrides) for i in _LOWERING)
    return min(speeds[STALE], base.speed) if is_lowered else speeds[STALE]


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
        wish = _overridden(base, overrides, [min(speed, cap) for speed in speeds])
    if wish.speed == cap < max([speeds[i] for i in _RAISING if acts(i, overrides)], default=0.0):
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
            if kind.raises is raises and acts(i, overrides):
                return Wish(choice.speed, kind.rule)
    return Wish(choice.speed, base.rule)


def _overridden(base: Wish, overrides: OverrideStates, speeds: Sequence[float]) -> Wish:
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
        if state is not None and acts(i, overrides):
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


def _first_rule(
    overrides: OverrideStates, speeds: Sequence[float], speed: float, *, raises: bool
) -> Rule:
    for i, kind in enumerate(OVERRIDES):
        if acts(i, overrides) and kind.raises is raises and speeds[i] == speed:
            return kind.rule
    raise AssertionError("a floor or ceiling always comes from an override")


def speed_range(
    base: Wish, overrides: OverrideStates, rules: Rules, cap: float = 1.0
) -> SpeedRange | None:
    """What the modulating law may choose from; None where no override asks for more air.

    Speeds that overrides ask for are the most now, as far as quiet hours allow (`cap`). A cold
    tent gets no more than scheduled, since it may be thought warmer or moister than it is, unless
    water threatens to stand on its walls. What stale air asks for is the least: no forecast has it.
    """
    asked = [rules.speeds[i] for i in _FORECAST if acts(i, overrides)]
    if not asked:
        return None
    low = high = base.speed
    if not acts(HOT, overrides):
        low = min([low, *(rules.speeds[i] for i in _LOWERING if acts(i, overrides))])
    if not acts(COLD, overrides) or acts(DEW_POINT, overrides):
        high = max(high, min(cap, max(asked)))
    if acts(STALE, overrides):
        low = max(low, min(cap, _speed_against_stale_air(rules.speeds, base, overrides)))
        high = max(high, low)
    return SpeedRange(*(motor_speed(speed, rules) for speed in (low, base.speed, high)))


def acts(index: int, overrides: OverrideStates) -> bool:
    """Whether an override moves the speed: engaged, not locked out, and not undone by heat."""
    state = overrides[index]
    if state is None or not state.engaged or state.locked_out:
        return False
    return not is_ignored(OVERRIDES[index], overrides)


def is_ignored(kind: OverrideKind, overrides: OverrideStates) -> bool:
    """Whether heat undoes an override, be it engaged itself, delayed or locked out.

    Hot air is dry because it is hot: less air would make it hotter, and so drier still.
    """
    return kind.rule is Rule.TOO_DRY and overrides[HOT] is not None
