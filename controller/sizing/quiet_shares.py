"""What quiet hours take of a day's schedule. Pure."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from controller.config import Settings

_DAY_S = 86_400.0


class QuietShares(NamedTuple):
    """Quiet hours by the schedule: what share of its hours they take, and the speed they allow.

    Attributes
    ----------
    by_day, by_night : float
        Share of the fan hours, and of the others, that is quiet (0–1).
    speed : float
        The most that the fan gets then (0–1).
    """

    by_day: float
    by_night: float
    speed: float


def quiet_shares(settings: Settings) -> QuietShares | None:
    """Quiet hours beside the fan hours, on a day without a change of the clocks."""
    quiet, schedule = settings.quiet, settings.schedule
    if quiet is None:
        return None
    lit_s = settings.lamp.photoperiod.hours * 3600.0
    fan_s = min(_DAY_S, lit_s + schedule.pre_run_s + schedule.run_on_s) if lit_s else 0.0
    fan_from_s = _clock_s(settings.lamp.photoperiod.lights_on) - schedule.pre_run_s
    quiet_from_s = _clock_s(quiet.begins)
    quiet_s = (_clock_s(quiet.ends) - quiet_from_s) % _DAY_S
    # Both come again each day: the hours that they share are those with the day before or after.
    apart_s = (quiet_from_s - fan_from_s) % _DAY_S
    both_s = max(0.0, min(fan_s, apart_s + quiet_s) - apart_s)
    both_s += max(0.0, min(fan_s, apart_s + quiet_s - _DAY_S))
    return QuietShares(
        both_s / fan_s if fan_s else 0.0,
        (quiet_s - both_s) / (_DAY_S - fan_s) if fan_s < _DAY_S else 0.0,
        max(quiet.speed, settings.fan.resolved_min_speed) if quiet.speed else 0.0,
    )


def _clock_s(time: dt.time) -> float:
    return time.hour * 3600.0 + time.minute * 60.0 + time.second
