"""The watches: what can leave its band, and the hysteresis and delay of each.

A watch is *calm* until its value passes the engage threshold, then *delayed*, and *engaged* when
its delay is over and the value is past the threshold still or again. It is calm again when the
value is back by the hysteresis. So noise narrower than that can start a watch once and never make
it chatter, a delay that has begun is not restarted by noise around the threshold, and nothing
engages while its value is in band.

A watch that lowers the speed stays engaged for ten minutes at least. A small tent dries and
moistens within a minute or two of a change of speed, so that with that alone the fan would go
back and forth every few minutes for hours; and a tent whose air is merely a little dry or cold
loses nothing by waiting, since every row that asks for more air goes before.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.control.types import Quantity, Rule

# The rules that ask for more air; the other watches ask for less.
RAISING_RULES = (Rule.TOO_HOT, Rule.TOO_HUMID)


class OverrideKind(NamedTuple):
    """One thing watched: the rule it serves, the quantity, and on which side of its limit."""

    rule: Rule
    quantity: Quantity
    side: int  # +1: out of band above the limit, -1: below it
    unit: str

    @property
    def raises(self) -> bool:
        """Whether it asks for more air; else it asks for less."""
        return self.rule in RAISING_RULES


# How long a lowered speed lasts at least (engineering judgement, no source).
LOWERED_AT_LEAST_S = 600.0

# Bound on d(ln es)/dT above −40 °C, in percent per kelvin (it is 11.3 at −40 °C and 7.3 at 0 °C,
# from Clausius–Clapeyron): turns a hysteresis in kelvins of dew point into a share of the vapour.
MOST_PCT_PER_K = 12.0

WATCHES: tuple[OverrideKind, ...] = (
    OverrideKind(Rule.TOO_HOT, Quantity.TEMPERATURE, +1, "°C"),
    OverrideKind(Rule.TOO_HUMID, Quantity.HUMIDITY, +1, "%"),
    OverrideKind(Rule.TOO_HUMID, Quantity.VPD, -1, "Pa"),
    OverrideKind(Rule.TOO_HUMID, Quantity.DEW_POINT, -1, "K"),
    OverrideKind(Rule.TOO_COLD, Quantity.TEMPERATURE, -1, "°C"),
    OverrideKind(Rule.TOO_DRY, Quantity.HUMIDITY, -1, "%"),
    OverrideKind(Rule.TOO_DRY, Quantity.VPD, +1, "Pa"),
)
RAISES: tuple[bool, ...] = tuple(kind.raises for kind in WATCHES)
SIDES: tuple[int, ...] = tuple(kind.side for kind in WATCHES)


class OverrideState(NamedTuple):
    """A watch that is not calm.

    Attributes
    ----------
    since_s : float
        Monotonic time at which its value passed the engage threshold; once engaged, at which it
        engaged [s].
    engaged : bool
        Whether it has lasted its delay.
    locked_out : bool
        Whether it is engaged but outside air cannot serve it.
    """

    since_s: float
    engaged: bool = False
    locked_out: bool = False


Watches = tuple[OverrideState | None, ...]
CALM: Watches = (None,) * len(WATCHES)
# How long each stays engaged at least [s].
LASTS_S: tuple[float, ...] = tuple(0.0 if kind.raises else LOWERED_AT_LEAST_S for kind in WATCHES)


def step_watch(
    watch: OverrideState | None,
    *,
    excess: float,
    hysteresis: float,
    delay_s: float,
    lasts_s: float,
    now_s: float,
) -> OverrideState | None:
    """Give the watch's next state.

    Parameters
    ----------
    watch : OverrideState or None
        The state so far; None when calm.
    excess : float
        How far the value is past the engage threshold, in the quantity's unit; negative inside.
    hysteresis : float
        How far back inside the value must come to release, same unit, at least 0.
    delay_s : float
        How long it must last before it engages [s].
    lasts_s : float
        How long it then stays engaged at least [s].
    now_s : float
        Monotonic time [s].

    Returns
    -------
    OverrideState or None
        The very same object when nothing changed.
    """
    if watch is None:
        if excess <= 0.0:
            return None
        return OverrideState(now_s, engaged=delay_s <= 0.0)
    for_s = now_s - watch.since_s
    if excess < -hysteresis and not (watch.engaged and for_s < lasts_s):
        return None
    if not watch.engaged and for_s >= delay_s and excess > 0.0:
        return OverrideState(now_s, engaged=True)
    return watch


def step_lock_out(
    watch: OverrideState, *, raises: bool, potential: float, margin: float
) -> OverrideState:
    """Say whether outside air can serve an engaged watch.

    Parameters
    ----------
    watch : OverrideState
        An engaged watch.
    raises : bool
        Whether it asks for more air, else for less.
    potential : float
        By how much the intake air is cooler, or drier, than the tent's.
    margin : float
        What keeps it from flapping, in the unit of the potential.

    Returns
    -------
    OverrideState
        The very same object when nothing changed.

    Notes
    -----
    More air serves as long as the intake air is cooler, or drier, at all; once locked out, it has
    to be so by the margin. Less air serves even if both are alike, for the lamp warms the tent and
    the plants moisten it: it is locked out only where the intake air is warmer, or moister, by the
    margin, and served again once it is no longer so at all. The other way round a fan that runs
    would itself keep the two airs too much alike for it to be slowed down.
    """
    if raises:
        locked_out = potential < margin if watch.locked_out else potential <= 0.0
    else:
        locked_out = potential < 0.0 if watch.locked_out else potential <= -margin
    if locked_out == watch.locked_out:
        return watch
    return OverrideState(watch.since_s, engaged=True, locked_out=locked_out)
