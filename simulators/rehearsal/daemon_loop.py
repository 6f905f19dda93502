"""The full loop of a rehearsal: the daemon's whole tick, with a record, or with faults.

Here `controller.daemon.tick.Controller` itself runs: sensors are polled and judged, outputs are
set, events and readings are recorded. Without faults it decides just as the fast loop does
(tests/rehearsal/test_both_loops.py), only slower.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from controller import __version__
from controller.alarms.watch import AlarmWatch
from controller.control import Now, transitions
from controller.control.actuator import motor_speed
from controller.control.quiet import planned_wish
from controller.daemon.edges import Edges
from controller.daemon.service import restore, restore_alarms
from controller.daemon.tick import Controller
from controller.kernel_sensors import measures
from controller.measurement import Measurement
from controller.outputs.failures import runs_undriven
from controller.quiet_hours import QuietHours
from controller.sensors.open_sensors import open_sensors
from controller.sensors.simulated import SimulatedDriver
from controller.timetable import Timetable
from simulators.clock import FastClock
from simulators.rehearsal.faults import Fault
from simulators.rehearsal.loop import Progress, tick_rules
from simulators.rehearsal.outcome import Outcome, Trajectory
from simulators.rehearsal.scene import Scene
from simulators.rehearsal.senses import sensor_model
from simulators.sensor_error import limited_to

if TYPE_CHECKING:
    from controller.config import Loaded
    from controller.config.sections.sensors import Sensor
    from controller.record import Record

_RPM_AT_FULL_SPEED = 2600.0


class FullRehearsal:
    """One rehearsal with the daemon's own tick.

    Parameters
    ----------
    loaded : Loaded
        The config.
    scene : Scene
        Fresh, at `outcome.start_s`.
    record : Record
        Where it is recorded.
    outcome : Outcome
        Fresh.
    tick_s : float
        From tick to tick [s].
    seed : int
        Of the sensors' errors.
    faults : sequence of Fault
        What breaks.
    track : list or None
        Given each tick's time [Unix s] and true temperature [°C].
    """

    def __init__(
        self,
        loaded: Loaded,
        scene: Scene,
        record: Record,
        outcome: Outcome,
        *,
        tick_s: float,
        seed: int,
        faults: Sequence[Fault] = (),
        track: list[tuple[float, float]] | None = None,
    ) -> None:
        self._loaded = loaded
        self._settings = loaded.settings
        self._scene = scene
        self._record = record
        self._outcome = outcome
        self._tick_s = tick_s
        self._seed = seed
        self._faults = tuple(faults)
        self._track = track
        self._clock = FastClock(outcome.start_s)
        self._timetable = Timetable.from_settings(self._settings)
        self._quiet_hours = QuietHours.from_settings(self._settings)
        self._rules = tick_rules(self._settings, tick_s)
        self._at_s = outcome.start_s
        self._room = (scene.intake.air_c, scene.intake.humidity_pct)
        self._commanded = 0.0
        self._lamp_command = False
        self._turning = 0.0
        self._controller: Controller | None = None
        self._clock_off_s = 0.0
        self._locked_out = False

    def run(self, progress: Progress | None = None) -> None:
        """Rehearse the whole of it."""
        outcome, tick_s = self._outcome, self._tick_s
        while (at_s := outcome.start_s + outcome.ticks * tick_s) < outcome.until_s:
            self._at_s = at_s
            self._update_surroundings()
            self._set_clock()
            is_off = self._is_on("power_cut") or self._is_on("controller_down")
            if is_off:
                self._stop_controller()
            else:
                self._tick()
            self._step_tent()
            outcome.ticks += 1
            self._clock.advance(tick_s)
            if progress is not None and outcome.ticks % 240 == 0:
                progress(at_s)
        if self._controller is not None:
            self._controller.finish()
            at_ms = round(self._clock.wall_s() * 1000)
            self._record.event(at_ms, "daemon.stopped", "info", why="finished")

    def _is_on(self, kind: str) -> bool:
        return any(f.kind == kind and f.is_on(self._at_s) for f in self._faults)

    def _update_surroundings(self) -> None:
        """Work out the intake air of this instant, and how clogged the filter is."""
        scene, intake = self._scene, self._scene.intake
        if self._at_s >= intake.until_s:
            intake.go_on(self._at_s, scene.tent.outflow.take())
        past_s = self._at_s - intake.from_s
        self._room = (
            intake.air_c + intake.air_c_s * past_s,
            intake.humidity_pct + intake.humidity_pct_s * past_s,
        )
        for fault in self._faults:
            if fault.kind == "filter_clogging" and fault.from_s <= self._at_s:
                # Evenly over the time it lasts, a week where it lasts for ever; then stays so.
                length_s = min(fault.until_s - fault.from_s, 7 * 86_400.0)
                share = min(1.0, (self._at_s - fault.from_s) / length_s)
                scene.fan.clog(round(1.0 + share * (fault.factor - 1.0), 1))

    def _set_clock(self) -> None:
        off_s = sum(f.by_s for f in self._faults if f.kind == "clock_wrong" and f.is_on(self._at_s))
        if off_s != self._clock_off_s:
            self._clock.step_wall(off_s - self._clock_off_s)
            self._clock_off_s = off_s

    def _stop_controller(self) -> None:
        self._controller = None
        self._commanded = float(runs_undriven(self._settings.fan))
        self._lamp_command = False

    def _tick(self) -> None:
        controller = self._controller
        if controller is None:
            controller = self._controller = self._start()
        before = controller.memory
        controller.tick()
        decision = controller.decision
        assert decision is not None
        if decision.memory.overrides is not before.overrides:
            for event, kind in transitions(before, decision.memory):
                if event == "override.engaged":
                    self._outcome.engaged[kind.rule] += 1
            self._locked_out = any(
                w is not None and w.locked_out for w in decision.memory.overrides
            )
        if decision.memory.ramp.to_speed != before.ramp.to_speed:
            self._outcome.speed_changes += 1
        minutes = self._tick_s / 60.0
        if self._locked_out:
            self._outcome.locked_out_min += minutes
        if decision.memory.in_failsafe:
            self._outcome.failsafe_min += minutes
        self._commanded, self._lamp_command = decision.speed, decision.lamp_on

    def _start(self) -> Controller:
        record, loaded = self._record, self._loaded
        memory, not_before_s = restore(record, self._clock)
        at_ms = round(max(self._clock.wall_s(), not_before_s) * 1000)
        record.config(at_ms, loaded.text, loaded.sha256)
        record.event(
            at_ms,
            "daemon.started",
            "info",
            version=__version__,
            away_s=round(at_ms / 1000 - not_before_s) if not_before_s else None,
            held=memory.hold is not None,
            simulated=True,
        )
        alarms = AlarmWatch(loaded.settings)
        restore_alarms(alarms, record, self._clock, not_before_s)
        controller = Controller(
            loaded,
            self._edges(),
            record,
            self._clock,
            memory=memory,
            alarms=alarms,
            not_before_s=not_before_s,
        )
        controller.rules = self._rules
        return controller

    def _edges(self) -> Edges:
        settings = self._settings
        sensors = open_sensors(settings, self._clock, make_driver=self._driver, inline=True)
        switched = settings.lamp.switched_by
        return Edges(
            sensors,
            _FanSeen(),
            _LampSeen() if switched == "relay" else None,
            _PhotocellSeen(self) if switched == "photocell" else None,
            _TachometerSeen(self) if settings.fan.tachometer is not None else None,
            sensors.close,
        )

    def _driver(self, sensor: Sensor) -> SimulatedDriver:
        return SimulatedDriver(_FaultySource(self, sensor))

    @property
    def lamp_lit(self) -> bool:
        """Whether the lamp is lit now."""
        if self._is_on("power_cut"):
            return False
        if self._is_on("lamp_stuck_on"):
            return True
        if self._settings.lamp.switched_by == "relay":
            return self._lamp_command
        return self._timetable.state(self._at_s).lamp_on

    @property
    def rpm(self) -> float:
        """How fast the fan turns [1/min]."""
        return _RPM_AT_FULL_SPEED * self._turning

    def _step_tent(self) -> None:
        """Step the tent through this tick and count it."""
        outcome, scene, tick_s = self._outcome, self._scene, self._tick_s
        tent, fan, intake = scene.tent, scene.fan, scene.intake
        dead = self._is_on("fan_dead") or self._is_on("power_cut")
        speed = 0.0 if dead else self._commanded
        if speed > 0.0 and self._turning == 0.0:
            outcome.fan.starts += 1
        self._turning = speed
        outcome.fan.run(speed, fan.power_w(speed), tick_s)
        outcome.always_on.run(1.0, fan.power_w(1.0), tick_s)
        schedule = self._timetable.state(self._at_s)
        is_quiet = self._quiet_hours.state(self._at_s).is_quiet
        hours = Now(0.0, schedule.lamp_on, schedule.in_fan_hours, schedule.purge_on, is_quiet)
        planned = motor_speed(planned_wish(hours, self._rules).speed, self._rules)
        outcome.schedule_alone.run(planned, fan.power_w(planned), tick_s)
        lit = self.lamp_lit
        if schedule.lamp_on and not lit and not self._is_on("power_cut"):
            outcome.lamp_cut_min += tick_s / 60.0
        room_c = self._room[0] + 0.5 * intake.air_c_s * tick_s
        past_s = self._at_s + 0.5 * tick_s - intake.from_s
        ratio = intake.ratio + intake.ratio_s * past_s
        flow, heat_w = fan.flow_m3_s(speed), fan.heat_w(speed)
        tent.advance(flow, lit, tick_s, room_c, room_c, ratio, heat_w)
        self._count(schedule.lamp_on, lit)

    def _count(self, by_day: bool, lit: bool) -> None:
        outcome, tent, tick_s = self._outcome, self._scene.tent, self._tick_s
        state = Trajectory(by_day, self._at_s)
        state.set_lamp(lit)
        state.add(tent.air_c, tent.humidity_pct, tent.saturation_pa - tent.vapour_pa)
        outcome.count(state, self._settings.targets, tick_s)
        outcome.count_leaves(state, tent.physics, tick_s)
        room_c, room_pct = self._room
        outcome.count_intake(
            state, 1, (room_c, 0.0), (room_pct, 0.0), self._settings.targets, tick_s
        )
        if self._track is not None:
            self._track.append((self._at_s + tick_s, tent.air_c))

    def measured(self, sensor: Sensor, model: Any) -> Measurement | None:
        """What a sensor's model says of the air at its place now."""
        tent = self._scene.tent
        where = self._room if sensor.role == "intake" else (tent.air_c, tent.humidity_pct)
        if sensor.role == "leaf":
            where = (tent.leaf_c(self.lamp_lit), tent.humidity_pct)
        seen: Measurement | None = model.observe(self._at_s - self._outcome.start_s, *where)
        if seen is None:
            return None
        wanted = measures(sensor.driver, sensor.device, sensor.role)
        if "co2" not in wanted:
            return limited_to(wanted, seen)
        return limited_to(
            wanted, seen, tent.co2.intake_ppm if sensor.role == "intake" else tent.co2_ppm
        )

    def faults_of(self, sensor: str) -> list[Fault]:
        """The faults that a sensor has now."""
        return [f for f in self._faults if sensor in f.sensors and f.is_on(self._at_s)]

    @property
    def at_s(self) -> float:
        """True time [Unix s]."""
        return self._at_s


class _FaultySource:
    """One sensor through its errors and faults."""

    def __init__(self, world: FullRehearsal, sensor: Sensor) -> None:
        self._world = world
        self._sensor = sensor
        self._model = sensor_model(world._settings, sensor, world._seed, world._tick_s)
        self._stuck_at: Measurement | None = None

    def measurement(self) -> Measurement | None:
        world = self._world
        seen = world.measured(self._sensor, self._model)
        faults = world.faults_of(self._sensor.name)
        kinds = {fault.kind for fault in faults}
        if seen is None or "sensor_dropped" in kinds:
            return None
        if "sensor_stuck" not in kinds:
            self._stuck_at = seen
        elif self._stuck_at is not None:
            seen = self._stuck_at
        for fault in faults:
            if fault.kind == "sensor_drifting":
                past_s = world.at_s - fault.from_s
                humidity_pct = seen.humidity_pct
                if humidity_pct is not None:
                    drifted_pct = round(humidity_pct + fault.pct_per_s * past_s, 2)
                    humidity_pct = min(100.0, max(0.1, drifted_pct))
                seen = Measurement(
                    round(seen.temperature_c + fault.kelvin_per_s * past_s, 2), humidity_pct
                )
        return seen


class _FanSeen:
    def apply(self, speed: float) -> None:
        pass

    def release(self) -> None:
        pass

    def close(self) -> None:
        pass


class _LampSeen:
    def apply(self, on: bool) -> None:
        pass

    def close(self) -> None:
        pass


class _PhotocellSeen:
    def __init__(self, world: FullRehearsal) -> None:
        self._world = world

    def is_lit(self) -> bool:
        return self._world.lamp_lit

    def close(self) -> None:
        pass


class _TachometerSeen:
    def __init__(self, world: FullRehearsal) -> None:
        self._world = world

    def rpm(self, now_s: float) -> float | None:
        return self._world.rpm

    def close(self) -> None:
        pass
