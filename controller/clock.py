"""The clock as an argument: monotonic time for durations, wall time for the schedule only."""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """What the daemon needs of a clock; simulated clocks provide the same three methods."""

    def monotonic_s(self) -> float:
        """Seconds that never step, from an arbitrary origin: for every duration."""

    def wall_s(self) -> float:
        """Seconds since the Unix epoch, UTC: for the schedule and the record only."""

    def wait(self, seconds: float, wake: threading.Event) -> bool:
        """Block for `seconds` of this clock's time or until `wake` is set; True when it was set."""


class SystemClock:
    """The machine's own clock."""

    def monotonic_s(self) -> float:
        """Seconds of the kernel's monotonic clock."""
        return time.monotonic()

    def wall_s(self) -> float:
        """Seconds since the Unix epoch as the machine believes."""
        return time.time()

    def wait(self, seconds: float, wake: threading.Event) -> bool:
        """Block for `seconds` or until `wake` is set; True when it was set."""
        return wake.wait(max(0.0, seconds))
