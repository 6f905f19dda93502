"""The quiet hours of a tent: a pure function of the instant.

They begin at the first instant of a day that reads the clock time `from`, and end at the last one
that reads `to`: as the lamp's hours do (`controller.timetable`), across midnight and across changes
of the clocks. So where a clock time comes twice, quiet lasts until the second.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, NamedTuple

from controller.timetable import Interval, Timetable

if TYPE_CHECKING:
    from controller.config import Settings


class QuietState(NamedTuple):
    """Whether it is quiet, in [valid_from_s, valid_until_s) (Unix epoch, UTC) [s]."""

    is_quiet: bool
    valid_from_s: float
    valid_until_s: float


_NEVER = QuietState(is_quiet=False, valid_from_s=-math.inf, valid_until_s=math.inf)


class QuietHours:
    """The quiet hours of one tent.

    Parameters
    ----------
    hours : Timetable or None
        One that is lit while it is quiet; None: it never is.
    """

    def __init__(self, hours: Timetable | None) -> None:
        self._hours = hours

    @classmethod
    def from_settings(cls, settings: Settings) -> QuietHours:
        """Those of a config."""
        quiet = settings.quiet
        if quiet is None:
            return cls(None)
        return cls(Timetable(settings.place.timezone, quiet.begins, quiet.ends))

    def state(self, wall_s: float) -> QuietState:
        """Whether it is quiet at an instant (Unix epoch, UTC) [s], and for how long that holds."""
        if self._hours is None:
            return _NEVER
        state = self._hours.state(wall_s)
        return QuietState(state.lamp_on, state.valid_from_s, state.valid_until_s)

    def intervals(self, date: dt.date) -> tuple[Interval, ...]:
        """The quiet stretches that touch a local day, each in full length."""
        return () if self._hours is None else self._hours.lamp_intervals(date)
