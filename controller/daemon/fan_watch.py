"""Whether the fan does what it is told, as far as a tachometer can tell."""

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
    """What was commanded and since when, and the fault that stands.

    Attributes
    ----------
    commanded_on : bool
        Whether the fan is to turn.
    since_s : float
        Since when it is disobeying, or was told something else [s].
    fault : FanFault or None
        The fault that stands.
    """

    commanded_on: bool = False
    since_s: float | None = None
    fault: FanFault | None = None


def step_fan_watch(watch: FanWatch, speed: float, rpm: float | None, now_s: float) -> FanWatch:
    """Compare command and tachometer.

    Parameters
    ----------
    watch : FanWatch
        The state so far.
    speed : float
        Speed commanded, 0-1.
    rpm : float or None
        As measured [1/min]; None without a tachometer.
    now_s : float
        Monotonic time [s].

    Returns
    -------
    FanWatch
        The very same object when nothing changed.
    """
    if rpm is None:
        return watch
    commanded_on = speed > 0.0
    obeys = (rpm >= TURNING_RPM) is commanded_on
    if obeys:
        if watch.since_s is None and watch.fault is None and watch.commanded_on is commanded_on:
            return watch
        return FanWatch(commanded_on)
    if watch.commanded_on is not commanded_on or watch.since_s is None:
        return FanWatch(commanded_on, now_s, None)
    patience_s = SPIN_UP_S if commanded_on else COAST_DOWN_S
    if watch.fault is None and now_s - watch.since_s >= patience_s:
        fault = FanFault.NOT_TURNING if commanded_on else FanFault.TURNING_WHEN_OFF
        return FanWatch(commanded_on, watch.since_s, fault)
    return watch
