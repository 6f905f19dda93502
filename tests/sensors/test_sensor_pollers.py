"""Pollers: one sensor at its own pace, whatever it does to its thread."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from itertools import pairwise

import pytest

from controller.sensors.driver import ErrorKind, Measurement, SensorError
from controller.sensors.pollers import InlinePoller, PollResult, ThreadedPoller

GOOD = Measurement(24.0, 55.0)


class HandClock:
    """A clock that the test moves on; waiting threads look up at every move."""

    def __init__(self) -> None:
        self._now_s = 100.0
        self._moved = threading.Condition()

    def monotonic_s(self) -> float:
        return self._now_s

    def wall_s(self) -> float:
        return 0.0

    def wait(self, seconds: float, wake: threading.Event) -> bool:
        until_s = self._now_s + seconds
        with self._moved:
            # The timeout only bounds how late a `wake` from elsewhere is seen.
            while self._now_s < until_s and not wake.is_set():
                self._moved.wait(0.01)
        return wake.is_set()

    def advance(self, seconds: float) -> None:
        with self._moved:
            self._now_s += seconds
            self._moved.notify_all()


class Sensor:
    """A driver that does what the test says, one step a read; the last step is repeated."""

    def __init__(self, *steps: Callable[[], Measurement]) -> None:
        self._steps = list(steps)
        self.reads = 0
        self.opened = 0
        self.closed = threading.Event()

    def open(self) -> Sensor:
        self.opened += 1
        return self

    def read(self) -> Measurement:
        self.reads += 1
        step = self._steps.pop(0) if len(self._steps) > 1 else self._steps[0]
        return step()

    def close(self) -> None:
        self.closed.set()


def good() -> Measurement:
    return GOOD


def silent() -> Measurement:
    raise SensorError(ErrorKind.NO_ANSWER, "no answer")


def broken() -> Measurement:
    raise ZeroDivisionError("oops")


def deadly() -> Measurement:
    raise SystemExit(1)


def until(condition: Callable[[], bool], within_s: float = 60.0) -> None:
    """Wait for what another thread is about to do."""
    pause = threading.Event()
    for _ in range(int(within_s / 0.002)):
        if condition():
            return
        pause.wait(0.002)
    raise AssertionError("it never came to be")


class Watched:
    """A threaded poller and everything it has brought."""

    def __init__(self, sensor: Sensor, clock: HandClock, hung_after_s: float = 60.0) -> None:
        self.clock = clock
        self.poller = ThreadedPoller(sensor.open, 2.5, clock, "tent", hung_after_s)
        self.seen: list[PollResult] = []

    def drain(self) -> list[PollResult]:
        self.seen += self.poller.drain(self.clock.monotonic_s())
        return self.seen

    def wait_for(self, count: int) -> None:
        until(lambda: len(self.drain()) >= count)


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def watch(clock: HandClock) -> Iterator[Callable[..., Watched]]:
    made: list[Watched] = []

    def make(sensor: Sensor, hung_after_s: float = 60.0) -> Watched:
        made.append(Watched(sensor, clock, hung_after_s))
        return made[-1]

    yield make
    for watched in made:
        watched.poller.close()


Make = Callable[..., Watched]


def test_a_thread_brings_measurements_and_failures_with_their_times(
    watch: Make, clock: HandClock
) -> None:
    watched = watch(Sensor(good, silent, good))
    for count in (1, 2, 3):
        watched.wait_for(count)
        clock.advance(2.5)
    assert [o.monotonic_s for o in watched.seen[:3]] == [100.0, 102.5, 105.0]
    assert [o.measurement for o in watched.seen[:3]] == [GOOD, None, GOOD]
    error = watched.seen[1].error
    assert error is not None
    assert error.kind is ErrorKind.NO_ANSWER


def test_each_outcome_is_given_once(watch: Make) -> None:
    watched = watch(Sensor(good))
    watched.wait_for(1)
    assert watched.poller.drain(100.0) == []


def test_no_read_is_made_before_its_time(watch: Make, clock: HandClock) -> None:
    sensor = Sensor(good)
    watched = watch(sensor)
    watched.wait_for(1)
    clock.advance(2.4)
    clock.advance(0.1)
    watched.wait_for(2)
    assert [o.monotonic_s for o in watched.seen] == [100.0, 102.5]


def test_the_caller_is_never_blocked_by_a_sensor(watch: Make, clock: HandClock) -> None:
    reading, release = threading.Event(), threading.Event()

    def slow() -> Measurement:
        reading.set()
        assert release.wait(60.0)
        return GOOD

    watched = watch(Sensor(slow))
    assert reading.wait(60.0)
    assert watched.drain() == []  # while the read is going on
    release.set()
    watched.wait_for(1)


def test_a_measurement_that_took_long_is_dated_when_it_came(watch: Make, clock: HandClock) -> None:
    """Three values of an SCD41 take 15 s: else it would be half a minute old before the next."""
    reading, release = threading.Event(), threading.Event()

    def slow() -> Measurement:
        reading.set()
        assert release.wait(60.0)
        return GOOD

    watched = watch(Sensor(slow))
    assert reading.wait(60.0)
    clock.advance(15.0)
    release.set()
    watched.wait_for(1)
    assert watched.seen[0].monotonic_s == 115.0


def test_a_drivers_surprise_is_a_failure_and_the_thread_goes_on(
    watch: Make, clock: HandClock
) -> None:
    watched = watch(Sensor(broken, good))
    watched.wait_for(1)
    clock.advance(2.5)
    watched.wait_for(2)
    error = watched.seen[0].error
    assert error is not None
    assert (error.kind, "ZeroDivisionError: oops" in error.message) == (ErrorKind.CRASHED, True)
    assert watched.seen[1].measurement == GOOD


def test_a_dead_thread_is_reported_and_replaced(watch: Make, clock: HandClock) -> None:
    sensor = Sensor(deadly, good)
    watched = watch(sensor)
    watched.wait_for(1)
    error = watched.seen[0].error
    assert error is not None
    assert "SystemExit" in error.message
    until(lambda: not watched.poller._worker.is_alive())
    assert sensor.closed.is_set()  # or its pin would be busy for the next thread
    watched.drain()
    clock.advance(2.5)
    watched.wait_for(2)
    assert watched.seen[1].measurement == GOOD
    assert sensor.opened == 2


def test_threads_that_keep_dying_are_replaced_less_and_less_often(
    watch: Make, clock: HandClock
) -> None:
    sensor = Sensor(deadly)
    watched = watch(sensor)
    deaths = []
    for count in range(1, 8):
        watched.wait_for(count)
        until(lambda: not watched.poller._worker.is_alive())
        deaths.append(clock.monotonic_s())
        while sensor.opened == count:
            watched.drain()
            if watched.poller._worker.is_alive() or sensor.opened > count:
                break
            clock.advance(2.5)
        until(lambda opened=count: sensor.opened > opened)  # type: ignore[misc]
    assert [b - a for a, b in pairwise(deaths)] == [
        2.5, 5.0, 10.0, 20.0, 40.0, 60.0,
    ]  # fmt: skip


def test_a_hung_thread_is_reported_and_replaced_and_its_late_result_ignored(
    watch: Make, clock: HandClock
) -> None:
    reading, release = threading.Event(), threading.Event()

    def hang() -> Measurement:
        reading.set()
        release.wait(60.0)
        return Measurement(99.0, 99.0)

    sensor = Sensor(hang, good)
    watched = watch(sensor, hung_after_s=30.0)
    assert reading.wait(60.0)
    hung = watched.poller._worker
    clock.advance(30.0)
    assert watched.drain() == []
    clock.advance(0.5)
    watched.wait_for(2)
    error = watched.seen[0].error
    assert error is not None
    assert error.kind is ErrorKind.HUNG
    assert watched.seen[1].measurement == GOOD
    assert sensor.closed.wait(60.0)  # which is what kills a DHT's child
    release.set()
    hung.join(60.0)
    watched.drain()
    assert Measurement(99.0, 99.0) not in [o.measurement for o in watched.seen]


def test_hung_threads_do_not_pile_up(watch: Make, clock: HandClock) -> None:
    release = threading.Event()

    def hang() -> Measurement:
        release.wait(60.0)
        return GOOD

    sensor = Sensor(hang)
    watched = watch(sensor, hung_after_s=30.0)
    for count in range(1, 9):
        until(lambda: watched.poller._worker.busy_since_s is not None)
        clock.advance(31.0)
        watched.drain()
        assert len(watched.seen) == count
    assert sensor.opened == 5
    error = watched.seen[-1].error
    assert error is not None
    assert "restart the machine" in error.message
    release.set()


def test_closing_wakes_a_waiting_thread(watch: Make) -> None:
    sensor = Sensor(good)
    watched = watch(sensor)
    watched.wait_for(1)
    watched.poller.close()
    assert not watched.poller._worker.is_alive()
    assert sensor.closed.is_set()


def test_a_missing_device_is_looked_for_less_and_less_often_and_found() -> None:
    present = False
    attempts: list[float] = []
    now_s = 0.0

    def opener() -> Sensor:
        attempts.append(now_s)
        if not present:
            raise SensorError(ErrorKind.MISSING, "plug it in")
        return Sensor(good)

    poller = InlinePoller(opener, 2.0)
    for tick in range(300):
        now_s = float(tick)
        poller.drain(now_s)
    gaps = [b - a for a, b in pairwise(attempts)]
    assert gaps == [4.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0]
    present = True
    outcomes = [o for tick in range(300, 370) for o in poller.drain(float(tick))]
    assert {o.measurement for o in outcomes} == {GOOD}
    assert outcomes[1].monotonic_s - outcomes[0].monotonic_s == 2.0


def test_in_line_a_sensor_is_read_when_due_and_once_however_late() -> None:
    sensor = Sensor(good)
    poller = InlinePoller(sensor.open, 2.5)
    times = [0.0, 1.0, 2.0, 2.5, 4.0, 5.0, 1000.0, 1001.0, 1002.5]
    read = [o.monotonic_s for t in times for o in poller.drain(t)]
    assert read == [0.0, 2.5, 5.0, 1000.0, 1002.5]
    assert sensor.opened == 1
