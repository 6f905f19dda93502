"""A decision that stands: as long as the air stays within bounds, nothing can change.

`decide` notes them when it has come to rest and looks here first.
"""

from __future__ import annotations

from math import inf

from controller.decision.bounds import EDGE, Stage, Stages, bounds_of
from controller.decision.rules import Limits, Rules, Wish
from controller.decision.types import Reading, Rule
from controller.decision.watches import CALM, LASTS_S, Watch, Watches

_ALL_CALM: Stages = ((Stage.CALM, False),) * len(CALM)


class Settled:
    """What a decision stood on when it came to rest.

    Parameters
    ----------
    rules : Rules
        What was decided by.
    limits : Limits
        Those of the phase, day or night.
    base : Wish
        The schedule's wish.
    ruling : Rule
        The row that rules.
    watches : Watches
        As they are.
    now_s : float
        Monotonic time of that decision [s].

    Attributes
    ----------
    bounds : Bounds
        Within which the air leaves every watch as it is.
    until_s : float
        Monotonic time at which time alone can change one [s].
    """

    __slots__ = ("base", "bounds", "limits", "rules", "ruling", "until_s", "watches")

    def __init__(
        self,
        rules: Rules,
        limits: Limits,
        base: Wish,
        ruling: Rule,
        watches: Watches,
        now_s: float,
    ) -> None:
        self.rules = rules
        self.limits = limits
        self.base = base
        self.ruling = ruling
        self.watches = watches
        self.until_s = inf
        stages = _ALL_CALM
        if watches is not CALM:
            found = list(_ALL_CALM)
            for i, watch in enumerate(watches):
                if watch is None:
                    continue
                stage, ends_s = _stage(watch, rules.delays_s[i], LASTS_S[i], now_s)
                found[i] = stage, watch.withheld
                if ends_s < self.until_s:
                    self.until_s = ends_s
            stages = tuple(found)
        self.bounds = bounds_of(
            limits, rules.deadbands, rules.cut_above_c if rules.lamp_is_ours else inf, stages
        )

    def is_for(self, rules: Rules, limits: Limits, base: Wish, watches: Watches) -> bool:
        """Whether this is what was decided by, these very objects."""
        return (
            self.base is base
            and self.limits is limits
            and self.watches is watches
            and self.rules is rules
        )

    def stands(self, now_s: float, tent: Reading, intake: Reading | None) -> bool:
        """Whether nothing can have changed. True only if sure."""
        return now_s < self.until_s and self.bounds.hold(tent, intake)


def _stage(watch: Watch, delay_s: float, lasts_s: float, now_s: float) -> tuple[Stage, float]:
    """Say how far a watch has come, and until when by time alone [s]."""
    for_s = now_s - watch.since_s
    if watch.engaged:
        if for_s < lasts_s:
            return Stage.LASTING, watch.since_s + lasts_s - EDGE
        return Stage.ENGAGED, inf
    if for_s < delay_s:
        return Stage.DELAYED, watch.since_s + delay_s - EDGE
    return Stage.DUE, inf
