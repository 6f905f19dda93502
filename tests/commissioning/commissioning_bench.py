"""A rig small enough to know by heart: one tent of well-mixed air, two or more sensors, a fan."""

import contextlib
import math
import random
from dataclasses import dataclass, field

from controller import air
from controller.config import settings_from_text
from controller.daemon.edges import Edges
from controller.measurement import Measurement
from controller.sensors.driver import ErrorKind, SensorError
from controller.sensors.open_sensors import open_sensors
from controller.sensors.simulated import SimulatedDriver
from simulators.clock import FastClock

CONFIG = """\
tent: {name: Bench, width: 1 m, depth: 1 m, height: 1 m}
place: {timezone: Europe/Rome}
lamp: {power: 100 W, photoperiod: {on: "06:00", off: "22:00"}}
fan:
  drive: pwm
  pin: 12
  active_low: true
  free_flow: 90 m³/h
  max_pressure: 300 Pa
  tachometer: {pin: 13}
duct: {diameter: 125 mm, length: 0 m, kind: smooth, intake: {openings: 4, diameter: 200 mm}}
sensors:
  - {name: upper, role: tent, driver: dht22, pin: 4}
  - {name: lower, role: tent, driver: dht22, pin: 17}
  - {name: room, role: intake, driver: dht22, pin: 27}
"""
PRESSURE_PA = 101_325.0


@dataclass
class BenchFan:
    """Records what it is told; turns 3000 times a minute at full speed."""

    commands: list[float] = field(default_factory=list)
    speed: float = 0.0
    stuck_rpm: float | None = None
    closed: bool = False
    undriven_speed: float | None = 1.0  # None: the line keeps its level
    released: int = 0

    def release(self):
        self.released += 1
        if self.undriven_speed is not None:
            self.speed = self.undriven_speed

    def apply(self, speed):
        self.speed = speed
        if not self.commands or self.commands[-1] != speed:
            self.commands.append(speed)

    def close(self):
        self.closed = True

    def rpm(self, now_s):
        return 3000.0 * self.speed if self.stuck_rpm is None else self.stuck_rpm


@dataclass
class BenchSite:
    """A site whose air is known exactly.

    The tent's humidity ratio and temperature follow y' = gain - k speed (y - room), with k the air
    changes a second at full speed.
    """

    text: str = CONFIG
    changes_per_s: float = 1 / 50.0
    reversed_flow: bool = False
    vapour_gain: float = 0.010 / 600.0  # kg/kg in ten minutes
    heat_gain: float = 4.0 / 600.0
    noise_k: float = 0.05
    noise_pct: float = 0.3
    biases: dict = field(default_factory=dict)
    dead: tuple = ()
    has_tachometer: bool = True
    fan: BenchFan = field(default_factory=BenchFan)
    simulated: bool = False
    room_c: float = 20.0
    room_ratio: float = 0.006

    def __post_init__(self):
        self.loaded = settings_from_text(self.text)
        self.settings = self.loaded.settings
        self.clock = FastClock(1_374_130_800.0)
        self.clock.on_advance = self._advance
        self.air_c, self.ratio = self.room_c + 1.0, self.room_ratio + 0.0005
        self.intake_share = 1.0  # beside the others until the fan first runs
        self.opened = 0
        self.left = None
        self.has_run = False
        self._done_s = 0.0
        self._random = random.Random(7)

    def claim(self, settings):
        return contextlib.nullcontext()

    def open_edges(self, settings):
        self.opened += 1
        self.fan.apply(0.0)
        sensors = open_sensors(settings, self.clock, make_driver=self._driver, inline=True)

        def close():
            self.left = settings.failsafe.speed
            self.fan.apply(self.left)
            self.fan.close()

        return Edges(
            sensors, self.fan, None, None, self.fan if self.has_tachometer else None, close
        )

    def _advance(self, to_s):
        step_s = to_s - self._done_s
        self._done_s = to_s
        k = self.changes_per_s * self.fan.speed
        for name, room, gain in (
            ("ratio", self.room_ratio, self.vapour_gain),
            ("air_c", self.room_c, self.heat_gain),
        ):
            value = getattr(self, name)
            if k > 0.0:
                level = room + gain / k
                value = level + (value - level) * math.exp(-k * step_s)
            else:
                value += gain * step_s
            setattr(self, name, value)
        if self.fan.speed > 0.0:
            self.has_run = True
        if self.has_run:
            self.intake_share = 0.9 if self.reversed_flow and self.fan.speed > 0.0 else 0.0

    def _driver(self, sensor):
        if sensor.name in self.dead:
            raise SensorError(ErrorKind.MISSING, "there is no such sensor")
        bias_k, bias_pct = self.biases.get(sensor.name, (0.0, 0.0))
        site = self

        class Source:
            def measurement(self):
                share = 1.0 if sensor.role == "tent" else site.intake_share
                t_c = site.room_c + share * (site.air_c - site.room_c)
                w = site.room_ratio + share * (site.ratio - site.room_ratio)
                rh_pct = min(99.0, air.humidity_pct_from_ratio(t_c, w, PRESSURE_PA))
                return Measurement(
                    t_c + bias_k + site._random.gauss(0.0, site.noise_k),
                    rh_pct + bias_pct + site._random.gauss(0.0, site.noise_pct),
                )

        return SimulatedDriver(Source())
