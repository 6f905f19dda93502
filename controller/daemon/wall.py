"""Wall time that can be used before the clock is right, and steps of it noticed.

A Pi has no clock of its own that survives a power cut. Until the network has set it, it may
believe any date. The record knows better: time has not gone back since the last thing it holds.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

# Less than this between two readings of the clock is slewing, not a step.
STEP_S = 2.0
# So long without a step a clock that is right is settled.
SETTLED_AFTER_S = 2 * 86_400.0
# Exists once systemd's time service has set the clock since the boot (systemd-timesyncd(8)).
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")


def clock_was_set() -> bool:
    """Whether this machine's clock was set from the network since the boot, as far as is known."""
    return _SYNCHRONISED.exists()


def _never() -> bool:
    return False


class WallTime(NamedTuple):
    """What the wall clock says at a tick.

    Attributes
    ----------
    wall_s : float
        The time to use, seconds since the Unix epoch [s].
    stepped_by_s : float
        By how much the clock was stepped since the last call [s]; 0 without a step.
    is_trusted : bool
        False while the machine's clock is behind the record, so that `wall_s` is a guess.
    """

    wall_s: float
    stepped_by_s: float
    is_trusted: bool


class WallWatch:
    """Follows the wall clock against the monotonic one.

    Parameters
    ----------
    not_before_s : float
        The newest instant in the record, seconds since the epoch [s]; the true time is later.
    was_set : callable
        Whether the clock was set from a source that knows. It is then right even if it is behind
        the record, which was written while the clock was far ahead.

    Attributes
    ----------
    is_trusted : bool
        Whether the wall clock is right, as far as the last look could tell.
    """

    def __init__(self, not_before_s: float = 0.0, was_set: Callable[[], bool] = _never) -> None:
        self._not_before_s = not_before_s
        self._was_set = was_set
        self._since_s: float | None = None
        self._offset_s: float | None = None
        self._stepped_s: float | None = None
        self.is_trusted = True

    def is_settled(self, monotonic_s: float) -> bool:
        """Whether the wall clock is trusted and has not been stepped for two days."""
        stepped_s = self._stepped_s
        has_kept_still = stepped_s is None or monotonic_s - stepped_s >= SETTLED_AFTER_S
        return self.is_trusted and has_kept_still

    def look(self, monotonic_s: float, wall_s: float) -> WallTime:
        """Give the wall time to use now.

        Parameters
        ----------
        monotonic_s, wall_s : float
            Both clocks of the machine [s].
        """
        offset_s = wall_s - monotonic_s
        stepped_by_s = 0.0
        if self._offset_s is not None and abs(offset_s - self._offset_s) >= STEP_S:
            stepped_by_s = offset_s - self._offset_s
            self._stepped_s = monotonic_s
        self._offset_s = offset_s
        if self._since_s is None:
            self._since_s = monotonic_s
        # At a start, and then until the clock is set, a clock behind the record is wrong. Once
        # it was right, a step back is somebody's doing and is followed.
        self.is_trusted = wall_s >= self._not_before_s or self._was_set()
        if self.is_trusted:
            self._not_before_s = 0.0
            return WallTime(wall_s, stepped_by_s, True)
        return WallTime(self._not_before_s + monotonic_s - self._since_s, stepped_by_s, False)
