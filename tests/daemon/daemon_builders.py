"""A daemon on a bench: real tick, decision, sensors' array and loop; fake air, pins and clock."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass, field

from controller.config import Loaded, settings_from_text
from controller.control import Memory
from controller.daemon.edges import Edges
from controller.daemon.tick import Controller
from controller.measurement import Measurement
from controller.record import MemoryRecord
from controller.sensors.array import SensorArray
from controller.sensors.open_sensors import open_sensors
from controller.sensors.simulated import SimulatedDriver
from simulators.clock import FastClock

CONFIG = """\
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp:
  power: 150 W
  photoperiod: {on: 06:00, off: 22:00}
fan: {drive: relay, pin: 17, min_on: 0 s, min_off: 0 s}
schedule: {pre_run: 15 min, run_on: 15 min}
sensors:
  - {name: canopy, role: tent, driver: simulated}
  - {name: intake, role: intake, driver: simulated}
targets:
  day: {temperature: [20 °C, 26 °C], humidity: [40 %, 70 %], vpd: [0.5 kPa, 1.8 kPa]}
  night: {temperature: [15 °C, 24 °C], humidity: [40 %, 80 %], vpd: [0.2 kPa, 1.8 kPa]}
"""


def utc_s(text: str) -> float:
    """Seconds since the epoch of "2025-06-03 10:00" in UTC."""
    return float(calendar.timegm(dt.datetime.fromisoformat(text).timetuple()))


@dataclass
class Source:
    """Air that a test sets."""

    air: Measurement | None

    def measurement(self) -> Measurement | None:
        return self.air


@dataclass
class FakeFan:
    applied: list[float] = field(default_factory=list)
    error: Exception | None = None

    def apply(self, speed: float) -> None:
        if self.error is not None:
            raise self.error
        self.applied.append(speed)

    def close(self) -> None:
        self.applied.append(-1.0)


@dataclass
class FakeLamp:
    applied: list[bool] = field(default_factory=list)

    def apply(self, on: bool) -> None:
        self.applied.append(on)

    def close(self) -> None: ...


@dataclass
class FakePhotocell:
    lit: bool = False

    def is_lit(self) -> bool:
        return self.lit

    def close(self) -> None: ...


@dataclass
class FakeTachometer:
    value: float | None = 0.0

    def rpm(self, now_s: float) -> float | None:
        return self.value

    def close(self) -> None: ...


@dataclass
class FakeCurrentSwitch:
    draws: bool | None = False

    def draws_current(self) -> bool:
        if self.draws is None:
            raise OSError("line gone")
        return self.draws

    def close(self) -> None: ...


class Bench:
    """One tent on the bench."""

    def __init__(
        self,
        at: str = "2025-06-03 10:00",
        config: str = CONFIG,
        *,
        record: MemoryRecord | None = None,
        memory: Memory | None = None,
        not_before_s: float = 0.0,
        photocell: FakePhotocell | None = None,
        tachometer: FakeTachometer | None = None,
        current_switch: FakeCurrentSwitch | None = None,
    ) -> None:
        self.clock = FastClock(utc_s(at))
        self.tent = Source(Measurement(23.0, 55.0))
        self.intake = Source(Measurement(18.0, 50.0))
        self.fan, self.lamp = FakeFan(), FakeLamp()
        self.loaded: Loaded = settings_from_text(config)
        self.record = record or MemoryRecord()
        sources = {"canopy": self.tent, "intake": self.intake}
        self.sensors: SensorArray = open_sensors(
            self.loaded.settings,
            self.clock,
            make_driver=lambda sensor: SimulatedDriver(sources[sensor.name]),
            inline=True,
        )
        self.edges = Edges(
            self.sensors,
            self.fan,
            self.lamp if self.loaded.settings.lamp.switched_by == "relay" else None,
            photocell,
            tachometer,
            lambda: None,
            current_switch,
        )
        self.controller = Controller(
            self.loaded,
            self.edges,
            self.record,
            self.clock,
            memory=memory,
            not_before_s=not_before_s,
        )

    def run(self, seconds: float, step_s: float = 2.0) -> None:
        """Tick for a while."""
        end_s = self.clock.monotonic_s() + seconds
        while self.clock.monotonic_s() < end_s:
            self.controller.tick()
            self.clock.advance(step_s)

    @property
    def speed(self) -> float:
        """The speed last applied."""
        return self.fan.applied[-1]

    def events(self, *names: str) -> list[tuple[str, dict[str, object]]]:
        """The recorded events, or those of some names."""
        return [(e.name, e.data) for e in self.record.events if not names or e.name in names]

    def names(self) -> list[str]:
        """The names of the recorded events, in order."""
        return [e.name for e in self.record.events]
