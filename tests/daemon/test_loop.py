"""The loop around the tick: beat, stop, reload, requests, faults of our own."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest
from daemon_builders import CONFIG, Bench, utc_s

from controller.config import ConfigError, Loaded, Problem, settings_from_text
from controller.control import Hold, Memory
from controller.daemon.control_socket import Request
from controller.daemon.loop import End, Loop
from controller.daemon.scheduler import SteppedCalendar
from controller.daemon.systemd import Notifier
from controller.daemon.tick import MEMORY_KEY
from controller.record import InlineRecord, MemoryRecord, RecordReader


class Heard(Notifier):
    """A notifier that keeps what systemd would hear."""

    def __init__(self) -> None:
        super().__init__({})
        self.messages: list[str] = []

    def _send(self, message: str) -> None:
        self.messages.append(message)


class FakeControl:
    """Hands over one batch of requests."""

    def __init__(self, *bodies: dict[str, Any]) -> None:
        self.waiting = [Request(body) for body in bodies]
        self.sent = list(self.waiting)

    def requests(self) -> list[Request]:
        waiting, self.waiting = self.waiting, []
        return waiting


class FakeWatch:
    """Gives one outcome."""

    def __init__(self, outcome: Loaded | ConfigError) -> None:
        self.outcome: Loaded | ConfigError | None = outcome
        self.asked = False

    def ask(self) -> None:
        self.asked = True

    def look(self) -> Loaded | ConfigError | None:
        outcome, self.outcome = self.outcome, None
        return outcome


def make_loop(bench: Bench, for_s: float = 60.0, **changes: Any) -> tuple[Loop, Heard]:
    heard = Heard()
    wake = threading.Event()
    start_s = bench.clock.wall_s()
    changes.setdefault("calendar", SteppedCalendar([], bench.controller.timetable.zone, start_s))
    loop = Loop(
        bench.controller,
        bench.record,
        bench.clock,
        notifier=heard,
        wake=wake,
        until_s=start_s + for_s,
        **changes,
    )
    return loop, heard


def test_the_loop_ticks_every_period_and_says_so() -> None:
    bench = Bench()
    loop, heard = make_loop(bench, for_s=60.0)
    assert loop.run() is End.FINISHED
    assert loop.ticks == len(bench.fan.applied) == 31
    assert heard.messages[0] == "READY=1"
    assert sum(m.startswith("WATCHDOG=1") for m in heard.messages) == 31
    assert "STATUS=fan at 100 %, schedule" in heard.messages[1]


def test_what_was_measured_before_a_new_config_is_recorded_under_the_old_one(
    tmp_path: Path,
) -> None:
    new = settings_from_text(CONFIG.replace("pre_run: 15 min", "pre_run: 40 min"))
    with closing(InlineRecord(tmp_path / "tent.sqlite3")) as record:
        bench = Bench(record=record)
        record.config(0, bench.loaded.text, bench.loaded.sha256)
        bench.run(41.0)  # no interval has ended
        loop, _ = make_loop(bench, config_watch=FakeWatch(new), for_s=90.0)
        assert loop.run() is End.FINISHED
    with RecordReader(tmp_path / "tent.sqlite3") as reader:
        configs = [row[0] for row in reader.sql("SELECT sha256 FROM configs ORDER BY id")]
        assert configs == [bench.loaded.sha256, new.sha256]
        by_config = list(reader.sql("SELECT config_id, sum(interval_s) FROM readings GROUP BY 1"))
    assert [config_id for config_id, _ in by_config] == [1, 2]
    assert by_config[0][1] == pytest.approx(41.0, abs=3.0)


def test_a_tick_that_fails_does_not_feed_the_watchdog_and_the_next_one_may_work() -> None:
    bench = Bench()
    loop, heard = make_loop(bench, for_s=20.0)
    poll = bench.sensors.poll
    calls = iter([True, False, False])

    def fail_twice(now_s: float, lit: bool | None = None) -> None:
        if not next(calls, True):
            raise RuntimeError("a fault of ours")
        poll(now_s, lit)

    bench.sensors.poll = fail_twice  # type: ignore[method-assign]
    assert loop.run() is End.FINISHED
    assert bench.names().count("tick.failed") == 2
    assert loop.ticks == sum(m.startswith("WATCHDOG=1") for m in heard.messages) == 9


def test_a_tick_that_hangs_feeds_no_watchdog() -> None:
    bench = Bench()
    loop, heard = make_loop(bench, for_s=600.0)
    tick, hangs, go_on = bench.controller.tick, threading.Event(), threading.Event()
    count = iter(range(1000))

    def hang() -> Any:
        if next(count) == 5:
            hangs.set()
            assert go_on.wait(60.0)
            loop.stop()
        return tick()

    bench.controller.tick = hang  # type: ignore[method-assign]
    thread = threading.Thread(target=loop.run)
    thread.start()
    assert hangs.wait(60.0)
    assert sum(m.startswith("WATCHDOG=1") for m in heard.messages) == 5
    go_on.set()
    thread.join(60.0)


def test_ticks_without_memory_are_reported_and_end_in_a_fresh_process() -> None:
    bench = Bench()
    loop, heard = make_loop(bench, for_s=600.0)

    def fail(now_s: float, lit: bool | None = None) -> None:
        raise MemoryError

    bench.sensors.poll = fail  # type: ignore[method-assign]
    began_s = bench.clock.monotonic_s()
    assert loop.run() is End.FAILED
    assert bench.clock.monotonic_s() - began_s <= 12.0
    assert bench.names().count("tick.failed") == 5
    assert heard.messages == []


def test_a_daemon_whose_every_tick_fails_gives_up_for_a_fresh_process() -> None:
    bench = Bench()
    loop, heard = make_loop(bench, for_s=600.0)

    def fail(now_s: float, lit: bool | None = None) -> None:
        raise RuntimeError("a fault of ours")

    bench.sensors.poll = fail  # type: ignore[method-assign]
    assert loop.run() is End.FAILED
    assert heard.messages == []


def test_stop_ends_the_loop() -> None:
    bench = Bench()
    loop, _ = make_loop(bench, for_s=1e9)
    tick = bench.controller.tick
    count = iter(range(100))

    def stop_later() -> Any:
        if next(count) == 9:
            loop.stop()
        return tick()

    bench.controller.tick = stop_later  # type: ignore[method-assign]
    assert loop.run() is End.STOPPED
    assert loop.ticks == 10


def test_a_good_edit_is_in_force_and_a_bad_one_is_reported_with_its_line() -> None:
    bench = Bench()
    good = settings_from_text(CONFIG.replace("pre_run: 15 min", "pre_run: 40 min"))
    loop, _ = make_loop(bench, config_watch=FakeWatch(good))
    loop.run()
    assert bench.controller.loaded is good
    assert "config.reloaded" in bench.names()

    bench = Bench()
    bad = ConfigError((Problem("tent.yaml", 7, 18, "'soon' is no duration", "such as 15 min"),))
    loop, _ = make_loop(bench, config_watch=FakeWatch(bad))
    loop.run()
    _, data = bench.events("config.rejected")[0]
    assert (data["line"], data["column"]) == (7, 18)
    assert bench.controller.loaded is bench.loaded


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("pin: 17", "pin: 18"),
        ("name: bench", "name: other"),
        ("name: canopy", "name: leaves"),
        ("sensors:", "failsafe: {stale_after: 5 min}\nsensors:"),
        ("sensors:", "notify: {most_per_hour: 3}\nsensors:"),
        ("timezone: Europe/Rome", "timezone: Europe/Rome, units: us"),
    ],
)
def test_a_config_with_other_edges_has_them_opened_anew(old: str, new: str) -> None:
    bench = Bench()
    other = settings_from_text(CONFIG.replace(old, new))
    loop, _ = make_loop(bench, config_watch=FakeWatch(other))
    assert loop.run() is End.REOPEN
    assert loop.next_loaded is other


def test_a_hold_through_the_socket_sets_the_speed_and_is_recorded() -> None:
    bench = Bench()
    control = FakeControl({"command": "hold", "speed": 0, "for_s": 30})
    loop, _ = make_loop(bench, for_s=60.0, control=control)
    loop.run()
    assert bench.fan.applied[0] == 0.0
    assert bench.speed == 1.0
    assert [n for n in bench.names() if n.startswith("hold")] == ["hold.set", "hold.expired"]
    assert control.sent[0].wait(0.0)["speed"] == 0


class SlowRecord(MemoryRecord):
    """A record whose disk has not taken anything yet; `trouble` as a test says."""

    def __init__(self, trouble: str | None = None) -> None:
        super().__init__()
        self.why = trouble
        self.asked: list[Callable[[], None]] = []
        self.held_when_asked: list[bool] = []

    @property
    def trouble(self) -> str | None:
        return self.why

    def commit(self, done: Callable[[], None]) -> None:
        memory = cast(dict[str, Any], self.states[MEMORY_KEY])
        self.held_when_asked.append(memory["hold"] is not None)
        self.asked.append(done)


HOLD = {"command": "hold", "speed": 0.0, "for_s": 600}


@pytest.mark.parametrize(("body", "held"), [(HOLD, True), ({"command": "release"}, False)])
def test_a_request_is_answered_once_the_record_has_it_for_a_restart(
    body: dict[str, Any], held: bool
) -> None:
    record = SlowRecord()
    bench = Bench(record=record, memory=Memory(hold=Hold(1.0, 1e6)))
    control = FakeControl(body)
    loop, _ = make_loop(bench, for_s=4.0, control=control)
    loop.run()
    assert control.sent[0].wait(0.0)["recorded"] is False  # as of a disk that hangs for too long
    assert record.held_when_asked == [held]
    (done,) = record.asked
    done()
    assert control.sent[0].wait(0.0)["recorded"] is True


def test_a_request_that_cannot_be_recorded_is_obeyed_and_says_so() -> None:
    bench = Bench(record=SlowRecord("disk full"))
    control = FakeControl(HOLD)
    loop, _ = make_loop(bench, for_s=4.0, control=control)
    loop.run()
    assert bench.fan.applied[0] == 0.0
    assert control.sent[0].wait(0.0)["recorded"] is False


def test_who_asks_for_what_is_held_in_memory_does_not_wait_for_a_full_disk() -> None:
    """The next attempt to write may be a minute away, and `lungwort now` is waiting."""
    record = SlowRecord("disk full")
    control = FakeControl({"command": "commit"})
    loop, _ = make_loop(Bench(record=record), for_s=4.0, control=control)
    loop.run()
    assert control.sent[0].wait(0.0) == {"recorded": False}
    assert not record.asked


def test_a_hold_outlives_a_config_that_comes_with_it_and_wants_other_pins() -> None:
    bench = Bench()
    make_loop(bench, for_s=4.0)[0].run()
    other = settings_from_text(CONFIG.replace("pin: 17", "pin: 18"))
    loop, _ = make_loop(bench, control=FakeControl(HOLD), config_watch=FakeWatch(other))
    assert loop.run() is End.REOPEN
    bench.clock.advance(1.0)
    bench.controller.finish()
    assert cast(dict[str, Any], bench.record.states[MEMORY_KEY])["hold"] is not None


def test_a_changed_filter_is_recorded_with_the_time_even_before_the_first_tick() -> None:
    bench = Bench("2025-06-03 10:00")
    control = FakeControl({"command": "filter_changed"})
    loop, _ = make_loop(bench, for_s=60.0, control=control)
    loop.run()
    (event,) = [event for event in bench.record.events if event.name == "filter.changed"]
    assert event.at_ms == 1000 * utc_s("2025-06-03 10:00")
    assert "error" not in control.sent[0].wait(0.0)


@pytest.mark.parametrize(
    "body",
    [
        {"command": "hold", "speed": 1.5, "for_s": 60},
        {"command": "hold", "speed": True, "for_s": 60},
        {"command": "hold", "speed": 0.4, "for_s": 60},  # the fan is on a relay
        {"command": "hold", "speed": 1.0, "for_s": 0},
        {"command": "hold", "speed": 1.0, "for_s": 1e9},
        {"command": "hold", "speed": float("nan"), "for_s": 60},
        {"command": "hold", "speed": 1.0},
        {"command": "dance"},
        {},
    ],
)
def test_a_request_that_makes_no_sense_is_refused(body: dict[str, Any]) -> None:
    bench = Bench()
    control = FakeControl(body)
    loop, _ = make_loop(bench, for_s=4.0, control=control)
    loop.run()
    assert "error" in control.sent[0].wait(0.0)
    assert bench.controller.memory.hold is None


def test_a_release_says_whether_anything_was_held() -> None:
    bench = Bench()
    control = FakeControl(
        {"command": "hold", "speed": 0.0, "for_s": 600},
        {"command": "release"},
        {"command": "release"},
    )
    loop, _ = make_loop(bench, for_s=4.0, control=control)
    loop.run()
    assert [r.wait(0.0).get("released") for r in control.sent] == [None, True, False]


def test_the_notifier_speaks_to_the_socket_that_systemd_named(tmp_path: Path) -> None:
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(str(path))
        systemd.settimeout(5.0)
        notifier = Notifier({"NOTIFY_SOCKET": str(path)})
        notifier.ready()
        notifier.alive("fan at 40 %")
        notifier.alive("fan at 40 %")
        notifier.stopping()
        heard = [systemd.recv(1000).decode() for _ in range(4)]
        notifier.close()
    assert heard == ["READY=1", "WATCHDOG=1\nSTATUS=fan at 40 %", "WATCHDOG=1", "STOPPING=1"]


def test_a_notifier_without_a_socket_or_with_a_dead_one_does_no_harm(tmp_path: Path) -> None:
    Notifier({}).ready()
    dead = Notifier({"NOTIFY_SOCKET": str(tmp_path / "gone")})
    dead.alive("x")
    dead.close()


def test_the_status_names_trouble_with_the_record() -> None:
    bench = Bench()
    loop, heard = make_loop(bench, for_s=4.0)
    type(bench.record).trouble = property(lambda self: "disk full")  # type: ignore[assignment]
    try:
        loop.run()
    finally:
        type(bench.record).trouble = property(lambda self: None)  # type: ignore[assignment]
    assert "record: disk full" in heard.messages[1]
    assert replace(bench.controller.memory) == bench.controller.memory


def test_a_hold_below_the_fans_least_speed_is_answered_with_the_speed_it_gets() -> None:
    bench = Bench(config=CONFIG.replace("drive: relay", "drive: pwm"))
    control = FakeControl({"command": "hold", "speed": 0.1, "for_s": 600})
    loop, _ = make_loop(bench, for_s=20.0, control=control)
    loop.run()
    assert control.sent[0].wait(0.0)["speed"] == bench.speed == 0.2


def test_a_calendar_that_fails_is_an_event_and_no_end_of_the_loop() -> None:
    class Failing(SteppedCalendar):
        def step(self, wall_s: float) -> None:
            if wall_s == start_s + 2.0:
                raise RuntimeError("can't start new thread")

    bench = Bench()
    start_s = bench.clock.wall_s()
    calendar = Failing([], bench.controller.timetable.zone, start_s)
    loop, _ = make_loop(bench, for_s=10.0, calendar=calendar)
    assert loop.run() is End.FINISHED
    (event,) = [event for event in bench.record.events if event.name == "job.failed"]
    assert (event.data["job"], event.level) == ("calendar", "warning")


def test_a_request_that_meets_a_fault_of_ours_does_not_end_the_loop() -> None:
    bench = Bench()
    control = FakeControl({"command": "release"})
    loop, _ = make_loop(bench, for_s=10.0, control=control)

    def fail() -> bool:
        raise RuntimeError("a fault of ours")

    bench.controller.release = fail  # type: ignore[method-assign]
    assert loop.run() is End.FINISHED
    assert "error" in control.sent[0].wait(0.0)
    assert bench.names().count("request.failed") == 1


def test_a_loop_asked_to_stop_before_its_first_tick_ends_without_one() -> None:
    bench = Bench()
    loop, _ = make_loop(bench)
    loop.stop()
    assert loop.run() is End.STOPPED
    assert bench.fan.applied == []
