"""Starting and stopping: what is opened, closed, and in which order."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from daemon_builders import CONFIG, Bench

from controller.clock import Clock
from controller.config import Settings, settings_from_text
from controller.control import Memory
from controller.control.types import Hold
from controller.daemon.config_watch import ConfigWatch
from controller.daemon.edges import Edges
from controller.daemon.jobs import Calendar, Job
from controller.daemon.loop import End
from controller.daemon.scheduler import SteppedCalendar
from controller.daemon.service import Service, restore
from controller.daemon.systemd import Notifier
from controller.daemon.tick import MEMORY_KEY
from controller.daemon.world import RealWorld
from controller.record import MemoryRecord, Record, RecordReader
from controller.record.simulated import is_simulated
from controller.record.status import KEY as STATUS_KEY
from controller.timetable import Timetable
from controller.wording import event_words
from simulators.records import simulated_record


class BenchWorld:
    """A world around a bench; keeps what is opened and closed, in order."""

    tells_people = False

    def __init__(self, bench: Bench, for_s: float = 20.0) -> None:
        self.bench = bench
        self.clock: Clock = bench.clock
        self.until_s = bench.clock.wall_s() + for_s
        self.seen: list[str] = []
        self.while_opening: Callable[[], object] = list

    def clock_was_set(self) -> bool:
        return False

    def open_edges(self, settings: Settings) -> Edges:
        self.while_opening()
        self.seen.append("edges opened")
        return replace(self.bench.edges, close=lambda: self.seen.append("edges closed"))

    def open_record(self, path: Path, commit_every_s: float) -> Record:
        close = self.bench.record.close

        def shown(timeout_s: float = 1.5) -> bool:
            self.seen.append("record closed")
            return close(timeout_s)

        self.bench.record.close = shown  # type: ignore[method-assign]
        return self.bench.record

    def make_calendar(self, jobs: list[Job], settings: Settings) -> Calendar:
        zone = Timetable.from_settings(settings).zone
        return SteppedCalendar(jobs, zone, self.clock.wall_s())

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        return contextlib.nullcontext()


def make_service(world: BenchWorld) -> Service:
    return Service(
        Path("tent.yaml"), world.bench.loaded, world, listen=False, notifier=Notifier({})
    )


def test_the_fan_is_let_go_before_the_record_is_closed() -> None:
    world = BenchWorld(Bench())
    assert make_service(world).run() is End.FINISHED
    assert world.seen == ["edges opened", "edges closed", "record closed"]
    assert world.bench.names()[0] == "daemon.started"
    assert world.bench.names()[-1] == "daemon.stopped"


def test_a_signal_to_stop_during_the_start_ends_it_in_order_without_a_tick() -> None:
    world = BenchWorld(Bench())
    service = make_service(world)
    world.while_opening = service._stop
    assert service.run() is End.STOPPED
    assert world.seen == ["edges opened", "edges closed", "record closed"]
    assert world.bench.fan.applied == []
    assert (world.bench.names()[0], world.bench.names()[-1]) == ("daemon.started", "daemon.stopped")
    assert "fan.changed" not in world.bench.names()


def test_a_signal_to_reload_during_the_start_does_no_harm() -> None:
    world = BenchWorld(Bench())
    service = make_service(world)
    world.while_opening = service._reload
    assert service.run() is End.FINISHED


def test_a_hold_outlives_an_edit_that_names_another_record() -> None:
    """The person who asked for it hears nothing of the record; the fan must not start again."""
    bench = Bench()
    world = BenchWorld(bench, for_s=60.0)
    now_s, now_ms = bench.clock.monotonic_s(), round(bench.clock.wall_s() * 1000)
    held = Memory(hold=Hold(0.0, now_s + 600.0)).snapshot(now_s)
    bench.record.save_state(MEMORY_KEY, now_ms, {"at_ms": now_ms, **held})
    records = [bench.record, MemoryRecord()]
    world.open_record = lambda path, commit_every_s: records[path.stem == "other"]  # type: ignore[method-assign]
    service = make_service(world)
    edits = [settings_from_text(f"{CONFIG}record: {{path: other.sqlite3}}\n")]
    watch = cast(ConfigWatch, SimpleNamespace(look=lambda: edits.pop() if edits else None))
    service._watch_config = lambda wake: watch  # type: ignore[method-assign]
    assert service.run() is End.FINISHED
    (started,) = [event for event in records[1].events if event.name == "daemon.started"]
    assert started.data["held"] is True
    assert cast(dict[str, Any], records[1].states[MEMORY_KEY])["hold"] is not None
    assert set(bench.fan.applied) == {0.0}


def test_a_simulations_record_in_the_tents_place_is_set_aside(tmp_path: Path) -> None:
    """Its state, of a summer to come, would make the present a clock that is wrong."""
    path, clock = tmp_path / "tent.sqlite3", Bench().clock
    now_ms = round(clock.wall_s() * 1000)
    simulation = simulated_record(path, now_ms + 86_400_000)
    simulation.save_state(STATUS_KEY, now_ms + 86_400_000, {})
    simulation.close()
    record = RealWorld(clock).open_record(path, 300.0)
    memory, not_before_s = restore(record, clock)
    assert (memory, not_before_s) == restore(MemoryRecord(), clock)
    record.close()
    (aside,) = tmp_path.glob("tent.sqlite3.simulated-*Z")
    assert is_simulated(aside)
    assert not is_simulated(path)
    with RecordReader(path) as reader:
        (event,) = reader.events()
    assert (event.name, event.level) == ("record.set_aside", "warning")
    assert event_words(event.name, event.data).startswith("Record of a simulation set aside")
    assert aside.name in event_words(event.name, event.data)


def test_a_tents_own_record_stays_where_it_is(tmp_path: Path) -> None:
    path, clock = tmp_path / "tent.sqlite3", Bench().clock
    for _ in range(2):
        RealWorld(clock).open_record(path, 300.0).close()
    assert [file.name for file in tmp_path.glob("*simulated*")] == []
