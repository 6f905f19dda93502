"""The watches: what can leave its band, and the hysteresis and delay of each.

A watch is *calm* until its value passes the engage threshold, then *delayed*, and *engaged*
once it has stayed past the release threshold for its delay. It is calm again when the value
is back by the deadband. So noise narrower than the deadband can start a watch once and never
make it chatter, and a delay that has begun is not restarted by noise around the threshold.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from controller.decision.types import Quantity, Rule


class WatchKind(NamedTuple):
    """One thing watched: the rule it serves, the quantity, and on which side of its limit."""

    rule: Rule
    quantity: Quantity
    side: int  # +1: out of band above the limit, -1: below it
    unit: str

    @property
    def raises(self) -> bool:
        """Whether it asks for more air; else it asks for less."""
        return self.rule in (Rule.TOO_HOT, Rule.TOO_HUMID)


WATCHES: tuple[WatchKind, ...] = (
    WatchKind(Rule.TOO_HOT, Quantity.TEMPERATURE, +1, "°C"),
    WatchKind(Rule.TOO_HUMID, Quantity.HUMIDITY, +1, "%"),
    WatchKind(Rule.TOO_HUMID, Quantity.VPD, -1, "Pa"),
    WatchKind(Rule.TOO_HUMID, Quantity.DEW_POINT, -1, "K"),
    WatchKind(Rule.TOO_COLD, Quantity.TEMPERATURE, -1, "°C"),
    WatchKind(Rule.TOO_DRY, Quantity.HUMIDITY, -1, "%"),
    WatchKind(Rule.TOO_DRY, Quantity.VPD, +1, "Pa"),
)


@dataclass(frozen=True, slots=True)
class Watch:
    """A watch that is not calm.

    Attributes
    ----------
    since_s : float
        Monotonic time at which its value passed the engage threshold [s].
    engaged : bool
        Whether it has lasted its delay.
    withheld : bool
        Whether it is engaged but outside air cannot serve it.
    """

    since_s: float
    engaged: bool = False
    withheld: bool = False


Watches = tuple[Watch | None, ...]
CALM: Watches = (None,) * len(WATCHES)


def step_watch(
    watch: Watch | None,
    *,
    excess: float,
    deadband: float,
    delay_s: float,
    now_s: float,
) -> Watch | None:
    """Give the watch's next state.

    Parameters
    ----------
    watch : Watch or None
        The state so far; None when calm.
    excess : float
        How far the value is past the engage threshold, in the quantity's unit; negative inside.
    deadband : float
        How far back inside the value must come to release, same unit, at least 0.
    delay_s : float
        How long it must last before it engages [s].
    now_s : float
        Monotonic time [s].

    Returns
    -------
    Watch or None
        The very same object when nothing changed.
    """
    if watch is None:
        if excess <= 0.0:
            return None
        return Watch(now_s, engaged=delay_s <= 0.0)
    if excess < -deadband:
        return None
    if not watch.engaged and now_s - watch.since_s >= delay_s:
        return Watch(watch.since_s, engaged=True)
    return watch


def step_withheld(watch: Watch, *, potential: float, margin: float) -> Watch:
    """Say whether outside air can serve an engaged watch.

    Parameters
    ----------
    watch : Watch
        An engaged watch.
    potential : float
        By how much the intake air is better than the tent's (cooler, or drier).
    margin : float
        How much better it must be before an override once withheld is served again.

    Returns
    -------
    Watch
        The very same object when nothing changed.
    """
    withheld = potential < margin if watch.withheld else potential <= 0.0
    if withheld == watch.withheld:
        return watch
    return Watch(watch.since_s, engaged=True, withheld=withheld)
