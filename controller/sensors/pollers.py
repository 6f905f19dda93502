"""Pollers read one sensor at its own pace, in a thread or along a simulated clock."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

from controller.clock import Clock
from controller.sensors.driver import Driver, ErrorKind, Measurement, SensorError

# A thread that is busy with one read for longer is given up. More than a DHT child's deadlines.
HUNG_AFTER_S = 60.0
# A device that cannot be opened is looked for again after the period, doubling up to this.
LONGEST_BACKOFF_S = 60.0
# Threads stuck in the kernel cannot be ended. With so many of them there is no point in another.
MOST_GIVEN_UP = 4


class PollResult(NamedTuple):
    """The result of one attempt: a measurement or an error, never both.

    Attributes
    ----------
    monotonic_s : float
        When the attempt ended, or when a hang or a death was noticed [s]. Not when it began: some
        of the kernel's drivers wait for a new measurement at each value (scd4x: 5 s for each of
        three), and its reading would be half a minute old before the next one came.
    measurement : Measurement or None
        The measurement, if the attempt succeeded.
    error : SensorError or None
        The error, if it failed.
    """

    monotonic_s: float
    measurement: Measurement | None
    error: SensorError | None


class Poller(Protocol):
    """Reads one sensor at its own pace."""

    def drain(self, now_s: float) -> Sequence[PollResult]:
        """Give the results since the last call, oldest first; never blocks on a real sensor."""

    def close(self) -> None:
        """Stop reading and close the device."""


class _Attempts:
    """Opens the driver when need be and reads it; every failure comes back as an outcome."""

    __slots__ = ("_open_driver", "_period_s", "driver", "pause_s")

    def __init__(self, open_driver: Callable[[], Driver], period_s: float) -> None:
        self._open_driver = open_driver
        self._period_s = period_s
        self.driver: Driver | None = None
        self.pause_s = period_s

    def attempt(self, now_s: float) -> PollResult:
        driver = self.driver
        try:
            if driver is None:
                self.pause_s = min(2.0 * self.pause_s, LONGEST_BACKOFF_S)
                self.driver = driver = self._open_driver()
                self.pause_s = self._period_s
            return PollResult(now_s, driver.read(), None)
        except SensorError as error:
            return PollResult(now_s, None, error)
        except Exception as error:  # an unexpected error of a driver must not end the polling
            return PollResult(now_s, None, _surprise(error))


def _surprise(error: BaseException) -> SensorError:
    return SensorError(ErrorKind.CRASHED, f"the driver failed ({type(error).__name__}: {error})")


class InlinePoller:
    """Reads the sensor in the caller's own thread whenever it is due: deterministic.

    For simulated sensors, whose reads take no time. However much time has passed, one call makes
    one attempt at most.

    Parameters
    ----------
    open_driver : callable
        Opens the driver; called again, less and less often, while it raises SensorError.
    period_s : float
        From one attempt to the next [s].
    """

    __slots__ = ("_attempts", "_due_s")

    def __init__(self, open_driver: Callable[[], Driver], period_s: float) -> None:
        self._attempts = _Attempts(open_driver, period_s)
        self._due_s = float("-inf")

    def drain(self, now_s: float) -> Sequence[PollResult]:
        """Read once if due; see `Poller.drain`."""
        if now_s < self._due_s:
            return ()
        outcome = self._attempts.attempt(now_s)
        self._due_s = now_s + self._attempts.pause_s
        return (outcome,)

    def close(self) -> None:
        """Close the device."""
        if self._attempts.driver is not None:
            self._attempts.driver.close()


class _Worker(threading.Thread):
    """One thread that reads one sensor until it is stopped."""

    def __init__(
        self, open_driver: Callable[[], Driver], period_s: float, clock: Clock, name: str
    ) -> None:
        super().__init__(name=f"sensor-{name}", daemon=True)
        self._clock = clock
        self.attempts = _Attempts(open_driver, period_s)
        self.outcomes: deque[PollResult] = deque(maxlen=1000)
        self.stopping = threading.Event()
        self.busy_since_s: float | None = None

    def run(self) -> None:
        try:
            while not self.stopping.is_set():
                began_s = self.busy_since_s = self._clock.monotonic_s()
                outcome = self.attempts.attempt(began_s)
                self.busy_since_s = None
                ended_s = self._clock.monotonic_s()
                self.outcomes.append(outcome._replace(monotonic_s=ended_s))
                spent_s = ended_s - began_s
                self._clock.wait(max(0.0, self.attempts.pause_s - spent_s), self.stopping)
        except BaseException as error:  # reported, and the poller starts another thread
            self.outcomes.append(PollResult(self._clock.monotonic_s(), None, _surprise(error)))
        finally:
            # Or a DHT's child would live on and keep the pin from the next one.
            if self.attempts.driver is not None:
                self.attempts.driver.close()

    def give_up(self) -> None:
        """Ask the thread to end and close its device, which ends a read stuck in a child."""
        self.stopping.set()
        if self.attempts.driver is not None:
            self.attempts.driver.close()


class ThreadedPoller:
    """Reads the sensor in a thread of its own and replaces the thread when it dies or hangs.

    Parameters
    ----------
    open_driver : callable
        Opens the driver, in the thread.
    period_s : float
        From the beginning of one attempt to the next [s].
    clock : Clock
        The clock the thread goes by.
    name : str
        The sensor's name, for the thread's.
    hung_after_s : float
        How long one attempt may take [s].
    """

    def __init__(
        self,
        open_driver: Callable[[], Driver],
        period_s: float,
        clock: Clock,
        name: str,
        hung_after_s: float = HUNG_AFTER_S,
    ) -> None:
        self._open_driver = open_driver
        self._period_s = period_s
        self._clock = clock
        self._name = name
        self._hung_after_s = hung_after_s
        self._given_up: list[_Worker] = []
        self._restart_pause_s = period_s
        self._restart_at_s: float | None = None
        self._worker = self._start()

    def _start(self) -> _Worker:
        worker = _Worker(self._open_driver, self._period_s, self._clock, self._name)
        worker.start()
        return worker

    def drain(self, now_s: float) -> Sequence[PollResult]:
        """Give the thread's results, and replace it if dead or hung; see `Poller.drain`."""
        worker = self._worker
        alive = worker.is_alive()  # before emptying the queue: a dead one adds nothing more
        outcomes = []
        while worker.outcomes:
            outcomes.append(worker.outcomes.popleft())
        busy_since_s = worker.busy_since_s
        if any(outcome.measurement for outcome in outcomes):
            self._restart_pause_s = self._period_s
        if not alive:
            self._restart(now_s)
        elif busy_since_s is not None and now_s - busy_since_s > self._hung_after_s:
            outcomes.append(self._replace_hung(worker, now_s))
        return outcomes

    def _restart(self, now_s: float) -> None:
        """Start a thread in place of a dead one, after a pause that grows while they keep dying."""
        if self._restart_at_s is None:
            self._restart_at_s = now_s + self._restart_pause_s
            self._restart_pause_s = min(2.0 * self._restart_pause_s, LONGEST_BACKOFF_S)
        if now_s >= self._restart_at_s:
            self._restart_at_s = None
            self._worker = self._start()

    def _replace_hung(self, worker: _Worker, now_s: float) -> PollResult:
        self._given_up = [w for w in self._given_up if w.is_alive()]
        message = f"a read has not come back for {self._hung_after_s:.0f} s"
        if len(self._given_up) < MOST_GIVEN_UP:
            self._given_up.append(worker)
            # Closing may take a moment, and the caller must not wait.
            threading.Thread(target=worker.give_up, daemon=True).start()
            self._worker = self._start()
        else:
            worker.busy_since_s = now_s  # reported again after as long
            message += "; too many readers hang to start another, restart the machine"
        return PollResult(now_s, None, SensorError(ErrorKind.HUNG, message))

    def close(self) -> None:
        """Stop the thread and close the device."""
        self._worker.give_up()
        self._worker.join(timeout=0.2)  # one stuck in the kernel must not hold up the exit
