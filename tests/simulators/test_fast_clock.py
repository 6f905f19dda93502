"""The simulated clock; real time passes in one of these tests only, and is not asserted."""

from __future__ import annotations

import math
import threading

import pytest

from simulators.clock import FastClock


def test_without_a_pace_waiting_takes_exactly_the_time_asked_and_no_real_time() -> None:
    clock, wake = FastClock(1000.0), threading.Event()
    for _ in range(100_000):
        assert clock.wait(0.1, wake) is False
    assert clock.monotonic_s() == pytest.approx(10_000.0)
    assert clock.wall_s() == pytest.approx(11_000.0)


def test_at_a_pace_a_wait_still_moves_by_exactly_what_was_asked() -> None:
    clock, wake = FastClock(0.0, pace=1e6), threading.Event()
    clock.wait(86_400.0, wake)
    assert clock.monotonic_s() == 86_400.0


def test_a_wait_that_is_woken_ends_early() -> None:
    clock, wake = FastClock(0.0, pace=1e-3), threading.Event()
    wake.set()
    assert clock.wait(3600.0, wake) is True
    assert clock.monotonic_s() < 1.0


def test_a_step_of_the_wall_clock_leaves_durations_alone() -> None:
    clock = FastClock(5000.0)
    clock.advance(10.0)
    clock.step_wall(-3600.0)
    assert (clock.monotonic_s(), clock.wall_s()) == (10.0, 5010.0 - 3600.0)


def test_whoever_rides_along_is_notified_before_the_wait_returns() -> None:
    seen: list[float] = []
    clock = FastClock(0.0, on_advance=seen.append)
    clock.wait(2.0, threading.Event())
    clock.wait(3.0, threading.Event())
    assert seen == [2.0, 5.0]


def test_another_thread_waits_for_the_one_that_drives() -> None:
    clock, reached = FastClock(0.0), []
    clock.wait(0.0, threading.Event())  # this thread drives

    def follow() -> None:
        clock.wait(50.0, threading.Event())
        reached.append(clock.monotonic_s())

    thread = threading.Thread(target=follow)
    thread.start()
    while not reached:
        clock.wait(1.0, threading.Event())
    thread.join()
    assert reached[0] >= 50.0


@pytest.mark.parametrize("pace", [0.0, -1.0, math.nan])
def test_a_pace_that_goes_nowhere_is_refused(pace: float) -> None:
    with pytest.raises(ValueError, match="pace must be above 0"):
        FastClock(0.0, pace)


def test_time_does_not_go_back() -> None:
    with pytest.raises(ValueError, match="forward only"):
        FastClock(0.0).advance(-1.0)
