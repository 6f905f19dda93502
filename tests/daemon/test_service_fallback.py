"""A config that can't be run gives way to the one that ran last."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from daemon_builders import CONFIG, FakeFan, Source, utc_s

from controller.config import Loaded, Settings, load_settings
from controller.config.store import LastGood
from controller.daemon.calendar import Job
from controller.daemon.edges import Edges
from controller.daemon.jobs import Calendar
from controller.daemon.loop import End
from controller.daemon.scheduler import SteppedCalendar
from controller.daemon.service import Service
from controller.errors import UserError
from controller.locks import AlreadyRunning
from controller.measurement import Measurement
from controller.outputs.errors import HardwareError
from controller.record import MemoryRecord
from controller.sensors.open_sensors import open_sensors
from controller.sensors.simulated import SimulatedDriver
from simulators.clock import FastClock

OTHER_PIN = CONFIG.replace("pin: 17", "pin: 18")


@dataclass
class BenchWorld:
    """A world whose GPIO 18 is busy, and in which something happens at some ticks."""

    run_s: float = 60.0
    clock: FastClock = field(default_factory=lambda: FastClock(utc_s("2025-06-03 10:00")))
    record: MemoryRecord = field(default_factory=MemoryRecord)
    fan: FakeFan = field(default_factory=FakeFan)
    opened: list[int] = field(default_factory=list)
    tells_people: bool = False
    fail: Callable[[Settings], None] = lambda settings: None
    close: Callable[[], None] = lambda: None

    def __post_init__(self) -> None:
        self.until_s = self.clock.wall_s() + self.run_s

    def clock_was_set(self) -> bool:
        return False

    def open_edges(self, settings: Settings) -> Edges:
        if settings.fan.pin == 18:
            raise HardwareError("GPIO 18 is in use by another program")
        self.opened.append(settings.fan.pin)
        sensors = open_sensors(
            settings,
            self.clock,
            make_driver=lambda sensor: SimulatedDriver(Source(Measurement(23.0, 55.0))),
            inline=True,
        )
        return Edges(sensors, self.fan, None, None, None, self.close)

    def open_record(self, path: Path, commit_every_s: float) -> MemoryRecord:
        return self.record

    def make_calendar(self, jobs: list[Job], settings: Settings) -> Calendar:
        return SteppedCalendar([], ZoneInfo("Europe/Rome"), self.clock.wall_s())

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        self.fail(settings)
        return contextlib.nullcontext()

    def names(self) -> list[str]:
        return [event.name for event in self.record.events]


class Site:
    """A config file and the copy of what last ran."""

    def __init__(self, folder: Path) -> None:
        self.config = folder / "tent.yaml"
        self.config.write_text(CONFIG, encoding="utf-8")
        self.last_good = LastGood(self.config)

    def loaded(self, text: str) -> Loaded:
        self.config.write_text(text, encoding="utf-8")
        return load_settings(self.config)

    def service(self, world: BenchWorld, text: str) -> Service:
        return Service(
            self.config,
            self.loaded(text),
            world,
            load=load_settings,
            listen=False,
            last_good=self.last_good,
        )


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Site:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    return Site(tmp_path)


def finish_writing() -> None:
    for thread in threading.enumerate():
        if thread.name == "last-good":
            thread.join(60.0)


def test_a_config_that_ran_is_kept_for_its_owner_and_group(site: Site) -> None:
    assert site.service(BenchWorld(), CONFIG).run() is End.FINISHED
    finish_writing()
    assert site.last_good.path.read_text(encoding="utf-8") == CONFIG
    assert site.last_good.path.stat().st_mode & 0o777 == 0o640
    kept = site.last_good.load(load_settings)
    assert kept is not None
    assert kept.text == CONFIG


def test_two_configs_of_one_name_have_copies_of_their_own(site: Site, tmp_path: Path) -> None:
    assert LastGood(tmp_path / "a" / "tent.yaml").path != LastGood(tmp_path / "b/tent.yaml").path


def test_a_read_only_card_keeps_no_copy_and_does_no_harm(site: Site) -> None:
    site.last_good.path.parent.mkdir()
    site.last_good.path.mkdir()  # in the way, as an unwritable file would be
    site.last_good.keep(CONFIG)
    assert site.last_good.load(load_settings) is None


def test_a_start_whose_pins_are_busy_runs_the_last_good_config_and_says_so(site: Site) -> None:
    site.last_good.keep(CONFIG)
    world = BenchWorld()
    assert site.service(world, OTHER_PIN).run() is End.FINISHED
    assert world.opened == [17]
    assert world.fan.applied[-1] == 1.0
    rejected = next(e for e in world.record.events if e.name == "config.rejected")
    assert "GPIO 18 is in use" in str(rejected.data["problem"])
    assert any(
        e.name == "alarm.raised" and e.data["alarm"] == "config" for e in world.record.events
    )
    # What runs is not mistaken for what the file says.
    finish_writing()
    assert site.last_good.path.read_text(encoding="utf-8") == CONFIG


def test_an_edit_whose_pins_are_busy_gives_way_to_what_ran_before(site: Site) -> None:
    world = BenchWorld()
    service = site.service(world, CONFIG)
    edited = site.loaded(OTHER_PIN)
    site.config.write_text(CONFIG, encoding="utf-8")

    def load(path: Path) -> Loaded:
        return edited

    service.load = load
    service.last_good = None
    ticks = iter(range(10**9))
    apply = world.fan.apply

    def apply_and_edit(speed: float) -> None:
        apply(speed)
        if next(ticks) == 3:
            site.config.write_text(OTHER_PIN, encoding="utf-8")
        for thread in threading.enumerate():  # the simulated clock doesn't wait for the loading
            if thread.name == "config-load":
                thread.join(60.0)

    world.fan.apply = apply_and_edit  # type: ignore[method-assign]
    assert service.run() is End.FINISHED
    assert world.opened == [17, 17]
    assert world.names().count("daemon.started") == 2
    assert "config.rejected" in world.names()


def test_a_second_daemon_does_not_try_the_last_good_config(site: Site) -> None:
    site.last_good.keep(OTHER_PIN)

    def fail(settings: Settings) -> None:
        raise AlreadyRunning("pin 17 is in use by process 1")

    with pytest.raises(AlreadyRunning):
        site.service(BenchWorld(fail=fail), CONFIG).run()


def test_without_a_last_good_config_the_error_is_the_users(site: Site) -> None:
    with pytest.raises(HardwareError, match="GPIO 18"):
        site.service(BenchWorld(), OTHER_PIN).run()


def test_a_wire_that_fails_at_the_end_starts_nothing_anew(site: Site) -> None:
    def close() -> None:
        raise UserError("the wire fell off")

    world = BenchWorld(close=close)
    site.last_good.keep(CONFIG.replace("pre_run: 15 min", "pre_run: 40 min"))
    with pytest.raises(UserError, match="wire fell off"):
        site.service(world, CONFIG).run()
    assert world.opened == [17]
