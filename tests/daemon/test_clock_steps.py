"""Steps of the wall clock, from an hour to decades: no tick is late, no job is run for the past.

Work is counted in calls of functions, not in seconds: the same on every machine.
"""

from __future__ import annotations

import datetime as dt
import sys
import threading
from types import FrameType
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from apscheduler.schedulers import base
from daemon_builders import CONFIG, Bench

from controller.daemon.calendar import calendar_jobs
from controller.daemon.jobs import RETRY_AFTER_STEPS, Job, LateCalendar
from controller.daemon.loop import TICK_S, Loop
from controller.daemon.scheduler import NextOnlyTrigger, SteppedCalendar, ThreadedCalendar
from controller.daemon.systemd import Notifier
from controller.measurement import Measurement

STEPPED_AT = 200  # by the number of ticks, of 2 s each
ROME = ZoneInfo("Europe/Rome")
HOUR_S, DAY_S, YEAR_S = 3600.0, 86_400.0, 365.25 * 86_400.0
STEPS_S = [
    sign * step_s
    for step_s in (HOUR_S, DAY_S, 30 * DAY_S, YEAR_S, 10 * YEAR_S, 30 * YEAR_S, 50 * YEAR_S)
    for sign in (1, -1)
]
NAMES = [f"{step_s / HOUR_S:+.0f} h" for step_s in STEPS_S]


class Counted(Notifier):
    """Notes when each tick was completed, and the calls of functions since the one before."""

    def __init__(self, bench: Bench) -> None:
        super().__init__({})
        self._bench = bench
        self._calls = 0
        self.at_s: list[float] = []
        self.calls: list[int] = []

    def count(self, _frame: FrameType, event: str, _argument: Any) -> None:
        self._calls += event in ("call", "c_call")

    def alive(self, status: str) -> None:
        self.at_s.append(self._bench.clock.monotonic_s())
        self.calls.append(self._calls)
        self._calls = 0
        if len(self.at_s) == STEPPED_AT:
            self._bench.clock.step_wall(self.step_s)

    step_s = 0.0


@pytest.mark.parametrize("step_s", STEPS_S, ids=NAMES)
def test_no_tick_is_late_or_laborious_after_a_step_of_the_clock(step_s: float) -> None:
    bench = Bench()
    counted = Counted(bench)
    counted.step_s = step_s
    settings, start_s = bench.loaded.settings, bench.clock.wall_s()
    jobs = calendar_jobs(lambda: settings, bench.record, lambda *_: {})
    loop = Loop(
        bench.controller,
        bench.record,
        bench.clock,
        notifier=counted,
        calendar=SteppedCalendar(jobs, ROME, start_s),
        wake=threading.Event(),
    )
    bench.clock.on_advance = lambda at_s: loop.stop() if at_s >= 1600.0 else None
    sys.setprofile(counted.count)
    try:
        loop.run()
    finally:
        sys.setprofile(None)
    gaps_s = [after - before for before, after in zip(counted.at_s, counted.at_s[1:], strict=False)]
    assert max(gaps_s) <= 2 * TICK_S
    assert "tick.failed" not in bench.names()
    usual, after = max(counted.calls[1:STEPPED_AT]), max(counted.calls[STEPPED_AT:])
    # New looks at the timetable, and jobs that are due: not one more for each hour stepped over.
    assert after <= 3 * usual + 20_000


# The least and the most of them: each takes two seconds of real time, until the jobs' next second.
@pytest.mark.parametrize("step_s", [STEPS_S[0], STEPS_S[-1]], ids=[NAMES[0], NAMES[-1]])
def test_the_calendars_thread_looks_for_no_run_in_the_past(
    step_s: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    stepped = {"by_s": 0.0}
    looks: list[dt.datetime] = []
    plain = NextOnlyTrigger.get_next_fire_time

    class Clock(dt.datetime):
        @classmethod
        def now(cls, tz: dt.tzinfo | None = None) -> Clock:  # type: ignore[override]
            return super().now(tz) + dt.timedelta(seconds=stepped["by_s"])  # type: ignore[return-value]

    def look(self: NextOnlyTrigger, previous: Any, now: dt.datetime) -> dt.datetime | None:
        looks.append(now)
        return plain(self, previous, now)

    monkeypatch.setattr(base, "datetime", Clock)
    monkeypatch.setattr(NextOnlyTrigger, "get_next_fire_time", look)
    ran = {name: threading.Event() for name in "abcd"}
    every_second = {"second": "*"}
    jobs = [Job(name, every_second, lambda _, done=done: done.set()) for name, done in ran.items()]
    calendar = ThreadedCalendar(jobs, ROME, lambda: 0.0)
    try:
        assert all(done.wait(60.0) for done in ran.values())
        stepped["by_s"] = step_s
        looks.clear()
        calendar.rearm()
        for done in ran.values():
            done.clear()
        assert all(done.wait(60.0) for done in ran.values())
        # Each job when armed anew, when due and after its run, and the same in a second or two that
        # a busy machine may take.
        assert len(looks) <= 4 * 40
    finally:
        calendar.close()


class Noted:
    """A calendar that notes what is asked of it."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def step(self, wall_s: float) -> None:
        self.asked.append("step")

    def rearm(self) -> None:
        self.asked.append("rearm")

    def close(self) -> None:
        self.asked.append("close")


def test_the_calendar_is_made_after_the_first_tick_and_misses_no_step_of_the_clock() -> None:
    noted, go, made = Noted(), threading.Event(), threading.Event()

    def make() -> Noted:
        made.set()
        assert go.wait(60.0)
        return noted

    calendar = LateCalendar(make)
    assert not made.is_set()
    calendar.step(0.0)
    assert made.wait(60.0)
    calendar.rearm()  # the clock is stepped while the library loads
    go.set()
    assert calendar._thread is not None
    calendar._thread.join(60.0)
    calendar.step(2.0)
    calendar.rearm()
    calendar.close()
    assert noted.asked == ["rearm", "step", "rearm", "close"]


def test_a_calendar_that_cannot_be_made_is_said_and_tried_again() -> None:
    noted, tries = Noted(), list[int]()

    def make() -> Noted:
        tries.append(1)
        if len(tries) == 1:
            raise MemoryError("no thread")
        return noted

    calendar = LateCalendar(make)
    calendar.step(0.0)
    assert calendar._thread is not None
    calendar._thread.join(60.0)
    with pytest.raises(MemoryError, match="no thread"):
        calendar.step(2.0)
    for n in range(RETRY_AFTER_STEPS):
        calendar.step(4.0 + 2.0 * n)
    assert len(tries) == 1
    calendar.step(2000.0)
    assert calendar._thread is not None
    calendar._thread.join(60.0)
    calendar.step(2002.0)
    assert noted.asked == ["step"]


def test_a_calendar_that_comes_after_the_stop_is_closed() -> None:
    noted, go = Noted(), threading.Event()

    def make() -> Noted:
        assert go.wait(60.0)
        return noted

    calendar = LateCalendar(make)
    calendar.step(0.0)
    calendar.close()
    go.set()
    assert calendar._thread is not None
    calendar._thread.join(60.0)
    assert noted.asked == ["close"]


def test_a_trigger_asked_after_a_run_gives_a_time_after_now() -> None:
    trigger = NextOnlyTrigger(timezone=ROME, minute=5)
    run = dt.datetime(1995, 6, 3, 10, 5, tzinfo=ROME)
    now = dt.datetime(2025, 6, 3, 10, 5, tzinfo=ROME)
    assert trigger.get_next_fire_time(run, now) == now + dt.timedelta(hours=1)
    assert trigger.get_next_fire_time(None, now) == now


OVERNIGHT = CONFIG.replace("Europe/Rome", "UTC").replace(
    "min_off: 0 s}",
    "min_off: 0 s, most_starts: 24}\nquiet: {from: '22:00', to: '23:00', speed: 0 %}",
)


def evening(step_s: float) -> tuple[list[object], list[object]]:
    """Two and a half hours in which most timers run, and a step of the clock amid them.

    Gives what the fan was set to and what the memory held, and the events, each with its tick.
    """
    bench = Bench("2025-06-03 20:50", OVERNIGHT)
    states: list[object] = []
    events: list[object] = []
    for tick in range(300):
        if tick == 20:
            bench.tent.air = Measurement(31.0, 62.0)  # an override's delay, then an alarm's
        if tick == 100:
            bench.controller.hold(0.0, 1200.0)
        if tick == 120:
            bench.clock.step_wall(step_s)
        if tick == 200:
            bench.tent.air, bench.intake.air = None, None  # stale_after, then the failsafe
        if tick == 260:
            bench.tent.air = Measurement(23.0, 55.0)
        before = len(bench.record.events)
        bench.run(30.0, 30.0)
        memory = bench.controller.memory.snapshot(bench.clock.monotonic_s())
        alarms = [
            (name, alarm.state, alarm.since_s)
            for name, alarm in bench.controller.alarms.alarms.items()
        ]
        states.append((bench.speed, memory, alarms))
        new = [event.name for event in bench.record.events[before:]]
        events.append([name for name in new if not name.startswith("clock.")])
    return states, events


# Whole days, after which the timetable says the same at every tick: what differs is a timer's.
@pytest.mark.parametrize("days", [1, -1, 18_262, -18_262])
def test_no_timer_of_decision_alarms_or_holds_goes_by_the_clock(
    days: int, undisturbed: tuple[list[object], list[object]]
) -> None:
    assert evening(days * DAY_S) == undisturbed


@pytest.fixture(scope="module")
def undisturbed() -> tuple[list[object], list[object]]:
    states, events = evening(0.0)
    names = {name for of_tick in events for name in of_tick}  # type: ignore[attr-defined]
    expected = {"override.engaged", "override.released", "alarm.raised", "sensor.failed"}
    assert names >= {*expected, "failsafe.entered", "fan.changed"}, names
    return states, events
