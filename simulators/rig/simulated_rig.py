"""A tent, its wires and its weather, for the daemon to run on without a Pi.

The daemon's own code drives real gpiozero devices on mock pins, or a sysfs-like tree; the rig
reads those levels back, carries the tent on, and lets the sensors see it through their errors.
Nothing here runs by itself: the rig catches up with the clock whenever the clock moves or
something is read.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from controller.air.constants import OUTDOOR_CO2_PPM
from controller.kernel_sensors import measures
from controller.sensors.data_sheets import figures_for
from controller.sensors.driver import Driver
from controller.sensors.simulated import SimulatedDriver
from controller.tent_physics import TentPhysics
from controller.timetable import Timetable
from simulators.fan import Fan
from simulators.intake import RoomAir
from simulators.rig.pins import (
    CurrentSwitchWire,
    FanWire,
    LampWire,
    PhotocellWire,
    TachometerWire,
    make_pin_factory,
)
from simulators.rig.sysfs import SysfsSensor
from simulators.room import Room
from simulators.sensor_error import ModelledSource, SensorErrorModel
from simulators.tent import Tent

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.sensors import Sensor
    from simulators.weather import Weather

# The tent is carried on in steps of these lengths, so that few exact steps must be worked out.
_STEPS_S = (60.0, 10.0, 2.0, 1.0)
_RPM_AT_FULL_SPEED = 2600.0


class TentState(NamedTuple):
    """The truth about a simulated tent.

    Attributes
    ----------
    wall_s : float
        True time, whatever the machine's clock says [Unix s].
    air_c, humidity_pct, vpd_pa, co2_ppm : float
        The tent's air [°C, %, Pa, ppm].
    contents_c : float
        Pots and frame [°C].
    film_kg : float
        Water on the fabric [kg].
    room_c, room_humidity_pct : float
        The air around the tent, which it draws in [°C, %].
    fan_speed, flow_m3_s : float
        What the wire asks of the fan (0–1), and what it moves [m³/s].
    lamp_on : bool
        Whether the lamp is lit.
    """

    wall_s: float
    air_c: float
    humidity_pct: float
    vpd_pa: float
    co2_ppm: float
    contents_c: float
    film_kg: float
    room_c: float
    room_humidity_pct: float
    fan_speed: float
    flow_m3_s: float
    lamp_on: bool


class RigClock(Protocol):
    """What the rig needs of its clock; `simulators.clock.FastClock` has it."""

    on_advance: Callable[[float], None] | None

    def monotonic_s(self) -> float:
        """Seconds that never step."""

    def wall_s(self) -> float:
        """Seconds since the Unix epoch, as the machine believes."""


class Rig:
    """A simulated tent behind mock pins. Make one with `build_rig`.

    Attributes
    ----------
    clock : RigClock
        Simulated time; it carries the rig along.
    pin_factory : gpiozero factory
        Mock pins, to be given to the outputs.
    sysfs_root : Path
        A tree that looks like /sys as far as sensors and hardware PWM go.
    notes : tuple of str
        What had to be assumed of fan and weather.
    """

    def __init__(self, settings: Settings, weather: Weather, clock: Any, seed: int = 1) -> None:
        self.clock: RigClock = clock
        self.pin_factory = make_pin_factory()
        self.sysfs_root = _scratch_directory()
        self._settings = settings
        self._seed = seed
        self._start_s = clock.wall_s() - clock.monotonic_s()
        self._done_s = clock.monotonic_s()
        self._timetable = Timetable.from_settings(settings)
        physics = TentPhysics.from_settings(settings)
        self._fan = Fan(settings, physics.density_kg_m3)
        start_s = clock.wall_s()
        room = Room(settings.room.kind, weather, start_s, physics.pressure_pa)
        self._intake = RoomAir(room)
        self._tent = Tent(physics, self._intake.air_c, self._intake.ratio, OUTDOOR_CO2_PPM)
        self._fan_wire = FanWire(settings.fan, self.pin_factory, self.sysfs_root)
        self._lamp_wire = LampWire(settings.lamp, self.pin_factory)
        self._photocell = PhotocellWire(settings.lamp, self.pin_factory)
        self._tachometer = TachometerWire(settings.fan, self.pin_factory)
        self._current_switch = CurrentSwitchWire(settings.fan, self.pin_factory)
        self._sysfs_sensors: list[SysfsSensor] = []
        self._co2: dict[str, Callable[[], float]] = {
            "tent": self._tent_co2_ppm,
            "leaf": self._tent_co2_ppm,
            "intake": lambda: OUTDOOR_CO2_PPM,
        }
        self.notes = (*weather.notes, *self._fan.notes)
        clock.on_advance = self.advance
        self._photocell.show(self._is_lit(self._start_s + self._done_s))

    def carry_on_from(self, before: Rig) -> None:
        """Begin with the air in which another rig of this tent, closed by now, has ended."""
        was, tent = before._tent, self._tent
        self._intake = before._intake
        self._tent = Tent(tent.physics, was.air_c, was.humidity_ratio, was.co2_ppm)
        self._tent.contents_c, self._tent.film_kg = was.contents_c, was.film_kg

    def advance(self, to_s: float | None = None) -> None:
        """Carry the tent on to a monotonic time; by default to the clock's [s]."""
        to_s = self.clock.monotonic_s() if to_s is None else to_s
        left = to_s - self._done_s
        if left < 1.0:
            return
        speed = self._fan_wire.speed()
        flow, heat_w = self._fan.flow_m3_s(speed), self._fan.heat_w(speed)
        for step_s in _STEPS_S:
            while left >= step_s:
                self._step(step_s, flow, heat_w)
                left -= step_s
        self._photocell.show(self._is_lit(self._start_s + self._done_s))
        self._tachometer.turn(self._done_s, _RPM_AT_FULL_SPEED * speed)
        self._current_switch.show(speed > 0.0)

    def _step(self, step_s: float, flow_m3_s: float, fan_heat_w: float) -> None:
        middle_s = self._start_s + self._done_s + 0.5 * step_s
        intake = self._intake
        if middle_s >= intake.until_s:
            intake.go_on(middle_s, self._tent.outflow.take())
        past_s = middle_s - intake.from_s
        room_c = intake.air_c + intake.air_c_s * past_s
        ratio = intake.ratio + intake.ratio_s * past_s
        lit = self._is_lit(middle_s)
        self._tent.advance(flow_m3_s, lit, step_s, room_c, room_c, ratio, fan_heat_w)
        self._done_s += step_s

    def _is_lit(self, wall_s: float) -> bool:
        if self._settings.lamp.switched_by == "relay":
            return self._lamp_wire.is_on()
        return self._timetable.state(wall_s).lamp_on

    def _tent_air(self) -> tuple[float, float]:
        self.advance()
        return self._tent.air_c, min(100.0, self._tent.humidity_pct)

    def _leaf(self) -> tuple[float, float]:
        _, humidity_pct = self._tent_air()
        return self._tent.leaf_c(self._is_lit(self._start_s + self._done_s)), humidity_pct

    def _tent_co2_ppm(self) -> float:
        self.advance()
        return self._tent.co2_ppm

    def _intake_air(self) -> tuple[float, float]:
        self.advance()
        intake = self._intake
        past_s = self._start_s + self.clock.monotonic_s() - intake.from_s
        return (
            intake.air_c + intake.air_c_s * past_s,
            intake.humidity_pct + intake.humidity_pct_s * past_s,
        )

    def truth(self) -> TentState:
        """Give the state of the tent now."""
        self.advance()
        tent = self._tent
        room_c, room_pct = self._intake_air()
        speed = self._fan_wire.speed()
        wall_s = self._start_s + self.clock.monotonic_s()
        return TentState(
            wall_s=wall_s,
            air_c=tent.air_c,
            humidity_pct=tent.humidity_pct,
            vpd_pa=tent.saturation_pa - tent.vapour_pa,
            co2_ppm=tent.co2_ppm,
            contents_c=tent.contents_c,
            film_kg=tent.film_kg,
            room_c=room_c,
            room_humidity_pct=room_pct,
            fan_speed=speed,
            flow_m3_s=self._fan.flow_m3_s(speed),
            lamp_on=self._is_lit(wall_s),
        )

    def driver_factory(self, sensor: Sensor) -> Driver:
        """Open the driver of a configured sensor on the simulated air; for `open_sensors`."""
        names = [s.name for s in self._settings.sensors]
        number = names.index(sensor.name) if sensor.name in names else len(names)
        model = SensorErrorModel(
            figures_for(sensor.driver, sensor.device), seed=1000 * self._seed + number
        )
        # A configured offset is taken to be right: the sensor errs by as much the other way.
        model.bias_k -= sensor.temperature_offset_k
        model.bias_pct -= sensor.humidity_offset_pct
        there = {"tent": self._tent_air, "intake": self._intake_air, "leaf": self._leaf}[
            sensor.role
        ]
        if sensor.driver in ("dht22", "dht11"):
            from simulators.wire import WireDriver

            return WireDriver(sensor.driver, model, there, self.clock.monotonic_s)
        wanted = measures(sensor.driver, sensor.device, sensor.role)
        source = ModelledSource(
            model, there, self.clock.monotonic_s, wanted, self._co2[sensor.role]
        )
        if sensor.driver == "simulated" or sensor.device is None:
            return SimulatedDriver(source)
        driver = SysfsSensor(sensor, self.sysfs_root, source.measurement)
        self._sysfs_sensors.append(driver)
        return driver

    def close(self) -> None:
        """Let go of the pins and remove the tree."""
        self.clock.on_advance = None
        self._tachometer.close()
        self._photocell.close()
        self._fan_wire.close()
        for sensor in self._sysfs_sensors:
            sensor.close()
        self.pin_factory.close()
        shutil.rmtree(self.sysfs_root, ignore_errors=True)


def _scratch_directory() -> Path:
    """A directory in memory where there is one, as sysfs is: thousands of writes a minute."""
    memory = Path("/dev/shm")
    where = memory if memory.is_dir() and os.access(memory, os.W_OK | os.X_OK) else None
    return Path(tempfile.mkdtemp(prefix="lungwort-rig-", dir=where))


def build_rig(settings: Settings, weather: Weather, clock: Any, seed: int = 1) -> Rig:
    """Make a simulated rig.

    Parameters
    ----------
    settings : Settings
        The tent.
    weather : Weather
        Outdoors, covering the time to be run; see `Weather.covering`.
    clock : FastClock
        At the wall time the run begins.
    seed : int
        Of the sensors' errors; the same seed gives the same run.
    """
    return Rig(settings, weather, clock, seed)
