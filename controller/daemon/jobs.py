"""Jobs of the calendar, and a calendar that starts late; without the library that runs them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, NamedTuple, Protocol

# Of a calendar that could not be made: a quarter of an hour of the daemon's ticks.
RETRY_AFTER_STEPS = 450

# A job gets the instant it runs at [s since the epoch].
Work = Callable[[float], None]


class Job(NamedTuple):
    """Something to do by the calendar.

    Attributes
    ----------
    name : str
        Unique among the jobs.
    fields : dict
        Of a cron trigger. Better hourly with a look at what is done than daily: cron triggers
        leave out or repeat days at clock changes.
    work : callable
        What to do; sees to its own errors.
    """

    name: str
    fields: dict[str, Any]
    work: Work


class Calendar(Protocol):
    """Runs jobs when they are due."""

    def step(self, wall_s: float) -> None:
        """Run what is due by now, where the calendar has no thread of its own."""

    def rearm(self) -> None:
        """Work out every next time anew: the clock was stepped."""

    def close(self) -> None:
        """Run no more jobs."""


class LateCalendar:
    """A calendar that is made after the first tick, in a thread: plants wait for no summary.

    The library that it takes is a third of the daemon's start-up.

    Parameters
    ----------
    make : callable
        Makes and starts it.
    """

    def __init__(self, make: Callable[[], Calendar]) -> None:
        self._make = make
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._calendar: Calendar | None = None
        self._error: Exception | None = None
        self._waits = 0
        self._is_closed = False
        self._was_stepped = False

    def step(self, wall_s: float) -> None:
        """Make it, once a tick was completed; later run what is due by now.

        Raises
        ------
        Exception
            What kept it from being made, once; it is tried again after `RETRY_AFTER_STEPS`.
        """
        if self._calendar is not None:
            self._calendar.step(wall_s)
        elif self._error is not None:
            error, self._error = self._error, None
            self._thread, self._waits = None, RETRY_AFTER_STEPS
            raise error
        elif self._waits:
            self._waits -= 1
        elif self._thread is None:
            self._thread = threading.Thread(target=self._start, name="calendar", daemon=True)
            try:
                self._thread.start()
            except RuntimeError as error:  # no more threads to be had
                self._error = error

    def _start(self) -> None:
        try:
            calendar = self._make()
        except Exception as error:  # short of memory, say
            self._error = error
            return
        with self._lock:
            if self._is_closed:
                calendar.close()
                return
            if self._was_stepped:  # while it was made
                calendar.rearm()
            self._calendar = calendar

    def rearm(self) -> None:
        """Work out every next time anew."""
        with self._lock:
            self._was_stepped = True
            if self._calendar is not None:
                self._calendar.rearm()

    def close(self) -> None:
        """Run no more jobs."""
        with self._lock:
            self._is_closed = True
            if self._calendar is not None:
                self._calendar.close()
