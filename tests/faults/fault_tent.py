"""A tent that lives for weeks in seconds, and in which anything can be broken.

The real tick, decision, sensors' array, alarms and record run on a simulated tent and clock. Far
from a fault a tick stands for two minutes; around it the ticks come every 2 s as in the daemon.
"""

from __future__ import annotations

import datetime as dt
import functools
import itertools
import math
import os
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

from controller import air
from controller.config import Loaded, Settings, settings_from_text
from controller.daemon.calendar import calendar_jobs
from controller.daemon.edges import Edges
from controller.daemon.scheduler import SteppedCalendar
from controller.daemon.service import restore
from controller.daemon.tick import Controller
from controller.measurement import Measurement
from controller.record import MemoryRecord, Record
from controller.sensors.open_sensors import open_sensors
from controller.sensors.simulated import SimulatedDriver
from controller.tent_physics import TentPhysics
from controller.timetable import Timetable
from simulators.clock import FastClock
from simulators.fan import Fan
from simulators.tent import Tent

TICK_S = 2.0
QUIET_S = 120.0
DAY_S = 86_400.0
# How long a tent lives with a fault: four days in the quick run, a month in `benches/faults.sh`.
DAYS = float(os.environ.get("LUNGWORT_FAULT_DAYS", "4"))
# Of these it is sound at first, and then broken.
SETTLED_DAYS = min(3.0, DAYS / 4.0)
BROKEN_DAYS = min(10.0, DAYS / 2.0)
START = dt.datetime(2025, 7, 1, 0, 0, tzinfo=ZoneInfo("Europe/Rome"))

CONFIG = """\
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp:
  power: 150 W
  photoperiod: {on: 06:00, off: 22:00}
fan: {drive: relay, pin: 17, free_flow: 190 m³/h, max_pressure: 250 Pa}
sensors:
  - {name: canopy, role: tent, driver: simulated}
record: {interval: 2 min}
targets:
  day: {temperature: [18 °C, 27 °C], humidity: [30 %, 80 %], vpd: [0.3 kPa, 2.5 kPa]}
  night: {temperature: [14 °C, 25 °C], humidity: [30 %, 90 %], vpd: [0.1 kPa, 2.5 kPa]}
"""
TWIN = (
    "driver: simulated}\n",
    "driver: simulated}\n  - {name: twin, role: tent, driver: simulated}\n",
)
INTAKE = (
    "driver: simulated}\n",
    "driver: simulated}\n  - {name: intake, role: intake, driver: simulated}\n",
)
TACHOMETER = ("pin: 17,", "pin: 17, tachometer: {pin: 24},")
LAMP_RELAY = ("off: 22:00}", "off: 22:00}\n  switched_by: relay\n  pin: 27")
PHOTOCELL = ("off: 22:00}", "off: 22:00}\n  switched_by: photocell\n  pin: 27")
FAIL_SAFE_WIRING = ("pin: 17,", "pin: 17, contact: normally_closed,")


@functools.cache
def loaded_from(text: str) -> Loaded:
    return settings_from_text(text)


class Sensor:
    """What one sensor says of the air at its place; `fault` turns it into something else."""

    def __init__(self, tent: FaultTent, is_intake: bool, seed: int) -> None:
        self._tent = tent
        self._is_intake = is_intake
        dice = random.Random(seed)
        # One digit of a DHT22 up or down; a tent's air never stands still.
        self._noise: Iterator[float] = itertools.cycle(
            [dice.choice((-0.1, 0.0, 0.1)) for _ in range(997)]
        )
        self.fault: Callable[[Measurement], Measurement | None] = lambda measured: measured

    def measurement(self) -> Measurement | None:
        tent, noise = self._tent, next(self._noise)
        air_c, pct = tent.room if self._is_intake else (tent.tent.air_c, tent.tent.humidity_pct)
        return self.fault(
            Measurement(round(air_c + noise, 1), round(min(99.9, pct + 3.0 * noise), 1))
        )


class FaultTent:
    """One tent, its controller, and its faults.

    Attributes
    ----------
    sensors : dict of str to Sensor
        By name.
    fan_stuck : float or None
        Speed at which the fan turns whatever it is told.
    fan_error, lamp_error : Exception or None
        Raised by the pin.
    lamp_stuck : bool or None
        Whether the lamp is lit whatever timer or relay say.
    room_extra_k : float
        A heat wave [K].
    """

    def __init__(self, *changes: tuple[str, str], record: Record | None = None) -> None:
        text = CONFIG
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        self.loaded = loaded_from(text)
        self.settings: Settings = self.loaded.settings
        physics = TentPhysics.from_settings(self.settings)
        self._ratio = air.humidity_ratio(20.0, 50.0, physics.pressure_pa)
        self._pressure_pa = physics.pressure_pa
        self.tent = Tent(physics, 20.0, self._ratio, 430.0)
        self._fan = Fan(self.settings, physics.density_kg_m3)
        self.timetable = Timetable.from_settings(self.settings)
        self.clock = FastClock(START.timestamp())
        self.record: Record = MemoryRecord() if record is None else record
        self.sensors = {
            sensor.name: Sensor(self, sensor.role == "intake", seed)
            for seed, sensor in enumerate(self.settings.sensors)
        }
        self.fan_stuck: float | None = None
        self.lamp_stuck: bool | None = None
        self.fan_error: Exception | None = None
        self.lamp_error: Exception | None = None
        self.room_extra_k = 0.0
        self.clock_was_set = False
        self.prunes = False  # going through a memory record every hour takes its time
        self.speed = 0.0
        self.lamp_command = False
        self.alive_s = 0.0
        self.cuts = 0
        self.peak_c = -math.inf
        self.room = (20.0, 50.0)
        self._look_around()
        self.controller: Controller | None = None
        self.start()

    # The world.

    @property
    def now_s(self) -> float:
        """True time since the start [s]; no clock step touches it."""
        return self.clock.monotonic_s()

    @property
    def lit(self) -> bool:
        if self.lamp_stuck is not None:
            return self.lamp_stuck
        if self.settings.lamp.switched_by == "relay":
            return self.lamp_command
        return self.timetable.state(START.timestamp() + self.now_s).lamp_on

    @property
    def turning(self) -> float:
        """The speed at which the fan turns, 0-1."""
        return self.speed if self.fan_stuck is None else self.fan_stuck

    def _look_around(self) -> None:
        room_c = 20.0 - 3.0 * math.cos(2.0 * math.pi * (self.now_s / DAY_S - 1.0 / 12.0))
        room_c += self.room_extra_k
        pct = air.humidity_pct_from_ratio(room_c, self._ratio, self._pressure_pa)
        self.room = (room_c, min(99.0, pct))

    def _carry_on(self, step_s: float) -> None:
        room_c = self.room[0]
        flow = self._fan.flow_m3_s(self.turning)
        heat_w = self._fan.heat_w(self.turning)
        self.tent.advance(flow, self.lit, step_s, room_c, room_c, self._ratio, heat_w)
        self.peak_c = max(self.peak_c, self.tent.air_c)
        self.clock.advance(step_s)
        self._look_around()

    # What the controller holds in its hands.

    def apply_fan(self, speed: float) -> None:
        if self.fan_error is not None:
            raise self.fan_error
        self.speed = speed

    def apply_lamp(self, on: bool) -> None:
        if self.lamp_error is not None:
            raise self.lamp_error
        self.lamp_command = on

    def is_lit(self) -> bool:
        return self.lit

    def rpm(self, now_s: float) -> float | None:
        return 2600.0 * self.turning

    def close(self) -> None: ...

    # The controller.

    def start(self) -> None:
        """Power on, or a fresh process: what is known comes out of the record."""
        memory, not_before_s = restore(self.record, self.clock)
        self.controller = Controller(
            self.loaded,
            Edges(
                open_sensors(
                    self.settings,
                    self.clock,
                    make_driver=lambda sensor: SimulatedDriver(self.sensors[sensor.name]),
                    inline=True,
                ),
                _Wire(self.apply_fan),
                _Wire(self.apply_lamp) if self.settings.lamp.switched_by == "relay" else None,
                self if self.settings.lamp.switched_by == "photocell" else None,
                self if self.settings.fan.tachometer is not None else None,
                lambda: None,
            ),
            self.record,
            self.clock,
            memory=memory,
            not_before_s=not_before_s,
            clock_was_set=lambda: self.clock_was_set,
        )
        controller = self.controller
        jobs = calendar_jobs(
            lambda: self.settings,
            self.record,
            lambda settings, date: {"date": date.isoformat()},
            is_settled=lambda: controller.clock_is_settled,
        )
        jobs = [job for job in jobs if job.name == "summary" or self.prunes]
        self.calendar = SteppedCalendar(jobs, self.timetable.zone, self.clock.wall_s())

    def cut_power(self) -> None:
        """Mains and Pi are dead; the record keeps what it has."""
        self.controller = None
        self.cuts += 1
        self.speed, self.lamp_command = 0.0, False

    @property
    def now(self) -> Controller:
        assert self.controller is not None
        return self.controller

    def tick(self, step_s: float = TICK_S) -> None:
        """One tick, and the tent lives on until the next."""
        if self.controller is not None:
            self.controller.tick()
            self.calendar.step(self.controller.wall_s)
            self.alive_s += step_s
        self._carry_on(step_s)

    # The script.

    def run(self, *, days: float = 0.0, hours: float = 0.0, seconds: float = 0.0) -> FaultTent:
        """Live on: the first and last few minutes tick by tick, two minutes at a time between."""
        end_s = self.now_s + days * DAY_S + hours * 3600.0 + seconds
        near_s = self.now_s + 180.0
        while (left_s := end_s - self.now_s) > 1e-6:
            quiet = self.now_s >= near_s and left_s > 120.0 + QUIET_S
            self.tick(QUIET_S if quiet else min(TICK_S, left_s))
        return self

    def run_until(self, hour: float, *, days: float = 0.0) -> FaultTent:
        """Live on for whole days and then until a local hour."""
        into_s = (self.now_s + days * DAY_S) % DAY_S
        return self.run(days=days, seconds=(hour * 3600.0 - into_s) % DAY_S)

    def finish(self) -> FaultTent:
        """Live on until all the days have passed."""
        return self.run(seconds=max(0.0, DAYS * DAY_S - self.now_s))

    def seconds_until(self, is_so: Callable[[], bool], within_s: float = 2 * DAY_S) -> float:
        """How long it takes, tick by tick where it may be soon."""
        start_s = self.now_s
        while not is_so():
            elapsed_s = self.now_s - start_s
            assert elapsed_s <= within_s, f"not within {within_s:.0f} s"
            self.tick(TICK_S if elapsed_s < 1200.0 else 20.0 if elapsed_s < 3 * 3600.0 else 60.0)
        return self.now_s - start_s

    # What came of it.

    def events(self, *names: str) -> list[dict[str, object]]:
        """The data of the events of some names."""
        assert isinstance(self.record, MemoryRecord)
        return [e.data for e in self.record.events if e.name in names]

    def names(self) -> set[str]:
        """The names of all events."""
        return {name for name, _ in self.all_events()}

    def all_events(self) -> list[tuple[str, dict[str, object]]]:
        assert isinstance(self.record, MemoryRecord)
        return [(e.name, e.data) for e in self.record.events]

    def has_raised(self, alarm: str) -> bool:
        return any(
            name == "alarm.raised" and data["alarm"] == alarm for name, data in self.all_events()
        )

    def readings_s(self) -> float:
        """How long the recorded intervals are together [s]."""
        assert isinstance(self.record, MemoryRecord)
        return sum(row.interval_s for row in self.record.readings)


class _Wire:
    """A fan's or a lamp's pin."""

    def __init__(self, apply: Callable[..., None]) -> None:
        self.apply = apply

    def close(self) -> None: ...


def repository() -> Path:
    return Path(__file__).parents[2]
