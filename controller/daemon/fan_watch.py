"""Whether the fan follows its command, by its tachometer, or else by its current."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

# A fan takes a few seconds to spin up and longer to coast down (common practice, no source).
SPIN_UP_S = 20.0
COAST_DOWN_S = 60.0
# Slower than this is not turning: a fan at its least speed does several hundred.
TURNING_RPM = 60.0


class FanFault(StrEnum):
    """What is wrong with the fan."""

    NOT_TURNING = "not_turning"
    TURNING_WHEN_OFF = "turning_when_off"


@dataclass(frozen=True, slots=True)
class FanWatch:
    """The command, since when the fan differs from it, and the active fault.

    Attributes
    ----------
    commanded_on : bool
        Whether the fan is to turn.
    since_s : float
        Since when it differs from the command, or from a new one [s].
    fault : FanFault or None
        The active fault.
    """

    commanded_on: bool = False
    since_s: float | None = None
    fault: FanFault | None = None


def step_fan_watch(watch: FanWatch, speed: float, turning: bool | None, now_s: float) -> FanWatch:
    """Compare command and fan.

    Parameters
    ----------
    watch : FanWatch
        The state so far.
    speed : float
        Speed commanded, 0-1.
    turning : bool or None
        Whether it turns by its tachometer, or draws current where it has none; None where nothing
        can tell. Current is the less sure of the two: a blocked fan draws some, too.
    now_s : float
        Monotonic time [s].

    Returns
    -------
    FanWatch
        The very same object when nothing changed.
    """
    if turning is None:
        return watch
    commanded_on = speed > 0.0
    fault = watch.fault
    # A fault ends when the fan is seen to do what it failed to do: a dead fan commanded off has not
    # recovered, nor has one with a welded relay that is commanded on.
    if fault is (FanFault.NOT_TURNING if turning else FanFault.TURNING_WHEN_OFF):
        fault = None
    since_s = watch.since_s
    if turning is commanded_on:
        since_s = None
    elif since_s is None or watch.commanded_on is not commanded_on:
        since_s = now_s
    elif now_s - since_s >= (SPIN_UP_S if commanded_on else COAST_DOWN_S):
        fault = FanFault.NOT_TURNING if commanded_on else FanFault.TURNING_WHEN_OFF
    after = FanWatch(commanded_on, since_s, fault)
    return watch if after == watch else after
