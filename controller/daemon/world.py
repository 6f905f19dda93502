"""What surrounds a daemon: clock, pins, sensors and disk, behind an interface."""

from __future__ import annotations

import contextlib
import os
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from controller.clock import Clock
from controller.daemon.control_socket import runtime_directory
from controller.daemon.edges import Edges
from controller.daemon.jobs import Calendar, Job, LateCalendar
from controller.daemon.wall import clock_was_set
from controller.locks import claim, claim_pins

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record import Record


class World(Protocol):
    """The surroundings of a daemon: a real rig, or a simulated one."""

    @property
    def clock(self) -> Clock:
        """The clock of the daemon."""

    @property
    def until_s(self) -> float:
        """Wall time at which the run ends [s]; infinite for a real one."""

    @property
    def tells_people(self) -> bool:
        """Whether alarms are sent to people."""

    def clock_was_set(self) -> bool:
        """Whether the wall clock was set from the network since the boot."""

    def open_edges(self, settings: Settings) -> Edges:
        """Open sensors and outputs."""

    def open_record(self, path: Path, commit_every_s: float) -> Record:
        """Open the record for writing."""

    def make_calendar(self, jobs: list[Job], settings: Settings) -> Calendar:
        """Start the calendar."""

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        """Claim the record and the pins for this process alone, until the context ends."""


@dataclass
class RealWorld:
    """The machine's own clock, pins, sensors and disk."""

    clock: Clock
    until_s: float = float("inf")
    tells_people: bool = True

    def clock_was_set(self) -> bool:
        """Ask systemd's time service."""
        return clock_was_set()

    def open_edges(self, settings: Settings, fan_speed: float | None = None) -> Edges:
        """Open sensors and outputs, the fan at a speed [0-1], else at the failsafe's."""
        from controller.outputs import open_outputs
        from controller.sensors.open_sensors import open_sensors

        os.environ.setdefault("LG_WD", str(runtime_directory()))
        # Outputs first: the fan is in a defined state before anything that may take time.
        outputs = open_outputs(settings, fan_speed=fan_speed)
        try:
            sensors = open_sensors(settings, self.clock)
        except BaseException:
            outputs.close()
            raise

        def close() -> None:
            outputs.close()
            sensors.close()

        return Edges.joined(sensors, outputs, close)

    def open_record(self, path: Path, commit_every_s: float) -> Record:
        """Open the record, written by a thread of its own."""
        from controller.record import BackgroundRecord
        from controller.record.simulated import simulation_set_aside
        from controller.record.volatile import record_volatile

        at_ms = round(self.clock.wall_s() * 1000)
        aside = simulation_set_aside(path, at_ms)
        record = BackgroundRecord(path, clock=self.clock, commit_every_s=commit_every_s)
        if aside is not None:
            record.event(at_ms, "record.set_aside", "warning", file=aside.name, simulated=True)
        why = record_volatile(path)
        if why:
            record.event(at_ms, "record.volatile", "warning", why=why, path=str(path))
        return record

    def make_calendar(self, jobs: list[Job], settings: Settings) -> Calendar:
        """Start APScheduler, after the first tick."""
        from zoneinfo import ZoneInfo

        def make() -> Calendar:
            from controller.daemon.scheduler import ThreadedCalendar

            return ThreadedCalendar(jobs, ZoneInfo(settings.place.timezone), self.clock.wall_s)

        return LateCalendar(make)

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        """Claim record, pins and converter: two daemons on one fan would fight."""
        from controller.outputs.iio_dac import converter_name

        with contextlib.ExitStack() as stack:
            stack.enter_context(claim(settings.record_path))
            stack.enter_context(claim_pins(runtime_directory(), "gpio", used_pins(settings)))
            dac = settings.fan.dac
            if settings.fan.drive == "dac" and dac is not None:
                name = converter_name(dac.device, dac.channel)
                stack.enter_context(claim_pins(runtime_directory(), name, [dac.channel]))
            return stack.pop_all()


def used_pins(settings: Settings) -> list[int]:
    """List every GPIO that a config uses."""
    pins = [settings.fan.pin, settings.lamp.pin]
    if settings.fan.tachometer is not None:
        pins.append(settings.fan.tachometer.pin)
    if settings.fan.current_switch is not None:
        pins.append(settings.fan.current_switch.pin)
    pins += [sensor.pin for sensor in settings.sensors]
    return sorted({pin for pin in pins if pin is not None})
