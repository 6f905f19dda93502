"""A clock that runs as fast as is asked, for the same loops that run on the machine's clock."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable

# How often a thread that doesn't drive the clock looks whether it was woken.
_GLANCE_S = 0.02


class FastClock:
    """Simulated time; implements `controller.clock.Clock`.

    The thread that calls `wait` first drives the clock: each of its waits moves simulated time on
    by exactly what it asked for, then sleeps until the pace is kept again. Other threads wait
    until the driver has got there. So what a single loop does depends on simulated time alone,
    however busy the machine is.

    Parameters
    ----------
    start_wall_s : float
        Wall time at the start [Unix s].
    pace : float
        Simulated seconds per real second, > 0; `math.inf` never sleeps.
    on_advance : callable or None
        Called by the driver with the monotonic time reached, before it sleeps.

    Notes
    -----
    Monotonic time starts at 0. An early wake ends the driver's wait at the time reached by then;
    at an infinite pace a wait that finds `wake` set doesn't move time at all.
    """

    def __init__(
        self,
        start_wall_s: float,
        pace: float = math.inf,
        on_advance: Callable[[float], None] | None = None,
    ) -> None:
        if not pace > 0.0:
            raise ValueError(f"pace must be above 0 simulated seconds a second, got {pace!r}")
        self.pace = pace
        self.on_advance = on_advance
        self._wall_at_zero_s = start_wall_s
        self._now_s = 0.0
        self._driver: int | None = None
        self._moved = threading.Condition()
        # Simulated and real time that belonged together when the pace was last set.
        self._anchor_s = 0.0
        self._anchor_real_s: float | None = None

    def monotonic_s(self) -> float:
        """Simulated seconds since the start; steps of the wall clock don't touch it."""
        return self._now_s

    def wall_s(self) -> float:
        """Seconds since the Unix epoch as the simulated machine believes."""
        return self._wall_at_zero_s + self._now_s

    def step_wall(self, by_s: float) -> None:
        """Put the wall clock forward, or back, as a time server or a person does [s]."""
        self._wall_at_zero_s += by_s

    def advance(self, seconds: float) -> None:
        """Move on without sleeping [s]."""
        if not seconds >= 0.0:
            raise ValueError(f"time moves forward only, got {seconds!r} s")
        with self._moved:
            self._now_s += seconds
            self._moved.notify_all()
        if self.on_advance is not None:
            self.on_advance(self._now_s)

    def wait(self, seconds: float, wake: threading.Event) -> bool:
        """Let `seconds` of simulated time pass, or until `wake` is set; True when it was set."""
        seconds = max(0.0, seconds)
        with self._moved:
            if self._driver is None:
                self._driver = threading.get_ident()
        if self._driver != threading.get_ident():
            return self._follow(seconds, wake)
        if math.isinf(self.pace):
            if wake.is_set():
                return True
            self.advance(seconds)
            return wake.is_set()
        return self._drive(seconds, wake)

    def _drive(self, seconds: float, wake: threading.Event) -> bool:
        real_s = time.monotonic()
        if self._anchor_real_s is None:
            self._anchor_s, self._anchor_real_s = self._now_s, real_s
        target_s = self._now_s + seconds
        due_s = self._anchor_real_s + (target_s - self._anchor_s) / self.pace
        was_set = wake.wait(due_s - real_s) if due_s > real_s else wake.is_set()
        if was_set:
            reached = self._anchor_s + (time.monotonic() - self._anchor_real_s) * self.pace
            target_s = min(target_s, max(self._now_s, reached))
        self.advance(target_s - self._now_s)
        return was_set

    def _follow(self, seconds: float, wake: threading.Event) -> bool:
        until_s = self._now_s + seconds
        with self._moved:
            while self._now_s < until_s and not wake.is_set():
                self._moved.wait(_GLANCE_S)
        return wake.is_set()
