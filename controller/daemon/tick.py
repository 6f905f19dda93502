"""One tick: look at the clock, read the air, decide, set the fan, record what changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from controller.alarms.conditions import Condition
from controller.alarms.states import AlarmChange
from controller.alarms.tick_view import TickView
from controller.alarms.watch import STATE_KEY as ALARMS_KEY
from controller.alarms.watch import AlarmWatch, event_of
from controller.clock import Clock
from controller.config.tent_body import tent_digest
from controller.control import (
    Decision,
    Hold,
    Memory,
    Now,
    Reading,
    Readings,
    Reason,
    Rule,
    Rules,
    decide,
    reasons,
)
from controller.daemon.device_use import DeviceUse
from controller.daemon.edges import Edges
from controller.daemon.fan_watch import TURNING_RPM, FanFault, FanWatch, step_fan_watch
from controller.daemon.reduced_flow import STATE_KEY as FLOW_KEY
from controller.daemon.reduced_flow import saved_fall, standing_fall
from controller.daemon.rise_watch import RiseWatch
from controller.daemon.tent_change import DRIFT_KEY, SUDDEN_KEY, standing_changes
from controller.daemon.tick_events import (
    Event,
    Reported,
    clock_events,
    daemon_status,
    decision_events,
    fan_changed,
    fan_events,
    schedule_events,
)
from controller.daemon.wall import WallTime, WallWatch
from controller.quiet_hours import QuietHours
from controller.record.interval_means import IntervalMeans
from controller.record.rows import SensorRow
from controller.record.status import KEY as STATUS_KEY
from controller.timetable import ScheduleState, Timetable

if TYPE_CHECKING:
    from controller.config import Loaded
    from controller.record import Record

# The key under which the decision memory is saved.
MEMORY_KEY = "memory"


class Controller:
    """The control of one tent, one call a tick.

    After each, `decision` says what was commanded and `reasons` why, the deciding row first.

    Parameters
    ----------
    loaded : Loaded
        The config in force.
    edges : Edges
        Sensors and outputs.
    record : Record
        Where readings, events and states go.
    clock : Clock
        Monotonic and wall time.
    alarms : AlarmWatch, optional
        The alarms; by default none are sent to anybody.
    memory : Memory
        As restored from the record; `Memory()` at a first start.
    not_before_s : float
        The newest instant in the record, seconds since the epoch [s].
    clock_was_set : callable
        Whether the wall clock was set since the boot by a source that knows.
    """

    def __init__(
        self,
        loaded: Loaded,
        edges: Edges,
        record: Record,
        clock: Clock,
        *,
        alarms: AlarmWatch | None = None,
        memory: Memory | None = None,
        not_before_s: float = 0.0,
        clock_was_set: Callable[[], bool] = lambda: False,
    ) -> None:
        self._edges = edges
        self.alarms = alarms or AlarmWatch(loaded.settings)
        self.config_rejected = False
        self._record = record
        self._clock = clock
        self._wall = WallWatch(not_before_s, clock_was_set)
        self._is_timetable_due = False
        self._schedule: ScheduleState | None = None
        self._fan_watch = FanWatch()
        self._reported = Reported()
        self._devices = DeviceUse()
        self._last_tent: Reading | None = None
        self.memory = memory or Memory()
        self.decision: Decision | None = None
        self.reasons: tuple[Reason, ...] = ()
        self.readings = Readings(None)
        self.wall_s = 0.0
        self._now = Now(0.0, lamp_on=False, in_fan_hours=False)
        self._ran_by: Rule | None = None
        self._adopt(loaded)

    def _adopt(self, loaded: Loaded) -> None:
        self.loaded = loaded
        self.rules = Rules.from_settings(loaded.settings)
        self.timetable = Timetable.from_settings(loaded.settings)
        self._quiet_hours = QuietHours.from_settings(loaded.settings)
        self.means = IntervalMeans(loaded.settings.record.interval_s)
        self._rise = RiseWatch(loaded.settings)
        self._tent_digest = tent_digest(loaded.settings)

    def use(self, loaded: Loaded) -> None:
        """Use another config from the next tick on; its sensors and outputs must be the same."""
        self.finish()
        self._adopt(loaded)
        self.alarms.use(loaded.settings)
        self.config_rejected = False
        self._schedule = None

    def finish(self) -> None:
        """Record the part of the current interval so far."""
        now_s = self._clock.monotonic_s()
        row = self.means.finish(now_s, self.wall_s + max(0.0, now_s - self._now.monotonic_s))
        if row is None or self.decision is None:
            return
        with self._record.together():
            self._record.reading(replace(row, sensors=self._sensor_rows(now_s)))
            self._save(row.at_ms, self._now._replace(monotonic_s=now_s), self.decision)

    def renew_timetable(self) -> None:
        """Rebuild the timetable at the next tick: the zone's rules changed. Any thread."""
        self._is_timetable_due = True

    def hold(self, speed: float, for_s: float) -> None:
        """Hold the fan at a speed for so long, whatever the air."""
        self.memory = replace(self.memory, hold=Hold(speed, self._clock.monotonic_s() + for_s))
        self._save_memory(self._at_ms(), self._clock.monotonic_s())

    def release(self) -> bool:
        """End a hold; False when there is none."""
        had_hold = self.memory.hold is not None
        self.memory = replace(self.memory, hold=None)
        self._save_memory(self._at_ms(), self._clock.monotonic_s())
        return had_hold

    def _at_ms(self) -> int:
        """When the last tick was, or, of what is asked for before one, now."""
        return round((self.wall_s or self._clock.wall_s()) * 1000)

    @property
    def clock_is_trusted(self) -> bool:
        """Whether the wall clock is right, as far as the last tick could tell."""
        return self._wall.is_trusted

    @property
    def clock_is_settled(self) -> bool:
        """Whether the wall clock is trusted and has not been stepped for two days."""
        return self._wall.is_settled(self._clock.monotonic_s())

    def tick(self) -> WallTime:
        """Read the air, decide, set the outputs, and record what changed.

        Returns
        -------
        WallTime
            The wall time used, and whether the clock was stepped.
        """
        edges, now_s = self._edges, self._clock.monotonic_s()
        wall = self._wall.look(now_s, self._clock.wall_s())
        self.wall_s = wall.wall_s
        if self._is_timetable_due:
            self._is_timetable_due = False
            self.timetable, self._schedule = Timetable.from_settings(self.loaded.settings), None
            self._quiet_hours = QuietHours.from_settings(self.loaded.settings)
        schedule = self._look_up(wall.wall_s)
        events: list[Event] = []
        cell, tachometer = edges.photocell, edges.tachometer
        sensed = (
            None if cell is None else self._devices.use("input", "photocell", cell.is_lit, events)
        )
        is_lit = schedule.lamp_on if sensed is None else sensed
        edges.sensors.poll(now_s, is_lit)
        self.readings = readings = self._read(now_s)
        now = Now(
            now_s,
            lamp_on=is_lit,
            # A lamp lit out of hours heats all the same, and a clock that can't be
            # trusted must not leave plants in still air.
            in_fan_hours=schedule.in_fan_hours or bool(sensed) or not wall.is_trusted,
            purge_on=schedule.purge_on,
            is_quiet=wall.is_trusted and self._quiet_hours.state(wall.wall_s).is_quiet,
        )
        memory_before, decision_before = self.memory, self.decision
        reasons_before = self.reasons
        decision = decide(now, readings, self.rules, memory_before)
        # The outputs come first, so that a failure below leaves them set.
        self._apply(decision, events)
        self.memory, self.decision, self._schedule = decision.memory, decision, schedule
        self.reasons = reasons(decision, now, readings, self.rules)
        if self._fan_watch.fault is FanFault.NOT_TURNING:
            # What a fan that stands still would bring is no reason.
            self.reasons = tuple(reason._replace(forecast=None) for reason in self.reasons)
        self._now = now

        clock_changes, self._reported = clock_events(self._reported, wall)
        events += clock_changes
        events += [
            Event(t.event, t.level, {"sensor": t.sensor, "fault": t.fault.value, "help": t.message})
            for t in edges.sensors.take_transitions()
        ]
        events += self._schedule_events(now, schedule, memory_before, decision)
        old = memory_before if decision_before is None else decision_before.memory
        events += decision_events(
            old, memory_before, decision, readings, (reasons_before, self.reasons)
        )
        changed, self._reported = fan_changed(self._reported, decision, self.reasons)
        events += changed
        rpm = None
        if tachometer is not None:
            rpm = self._devices.use("input", "tachometer", partial(tachometer.rpm, now_s), events)
        events += self._watch_fan(decision.speed, rpm, now_s)
        events += self._watch_alarms(schedule.lamp_on, sensed, now_s)
        self._record_tick(events, now, decision, rpm)
        return wall

    def _read(self, now_s: float) -> Readings:
        """The readings; of a silent tent sensor the last one, whose age is then known."""
        readings = self._edges.sensors.readings(now_s)
        if readings.tent is None:
            return readings._replace(tent=self._last_tent)
        self._last_tent = readings.tent
        return readings

    def _schedule_events(
        self, now: Now, schedule: ScheduleState, before: Memory, decision: Decision
    ) -> list[Event]:
        """Events for changes of lamp, fan hours and purge."""
        fan_hours_by = None
        if now.in_fan_hours and not schedule.in_fan_hours:
            fan_hours_by = "lamp_lit" if self._wall.is_trusted else "clock_distrusted"
        reported = self._reported
        if before.lamp_is_cut is not decision.memory.lamp_is_cut:
            # A lamp that is cut has events of its own.
            reported = reported._replace(lamp_on=decision.lamp_on)
        by = self.loaded.settings.lamp.switched_by
        events, self._reported = schedule_events(reported, now, decision.lamp_on, by, fan_hours_by)
        return events

    def _look_up(self, wall_s: float) -> ScheduleState:
        state = self._schedule
        if state is not None and state.valid_from_s <= wall_s < state.valid_until_s:
            return state
        return self.timetable.state(wall_s)

    def _apply(self, decision: Decision, events: list[Event]) -> None:
        """Set fan and lamp, every tick, changed or not; a dead output doesn't end the control."""
        self._devices.use("output", "fan", partial(self._edges.fan.apply, decision.speed), events)
        lamp = self._edges.lamp
        if lamp is not None:
            self._devices.use("output", "lamp", partial(lamp.apply, decision.lamp_on), events)

    def _watch_fan(self, speed: float, rpm: float | None, now_s: float) -> list[Event]:
        events: list[Event] = []
        turning = None if rpm is None else rpm >= TURNING_RPM
        switch = self._edges.current_switch
        if switch is not None and self._edges.tachometer is None:
            turning = self._devices.use("input", "current_switch", switch.draws_current, events)
        before = self._fan_watch
        self._fan_watch = step_fan_watch(before, speed, turning, now_s)
        return events + fan_events(before, self._fan_watch, speed, rpm)

    def _watch_alarms(self, scheduled: bool, sensed: bool | None, now_s: float) -> list[Event]:
        assert self.decision is not None
        readings = Readings(None) if self.decision.memory.in_failsafe else self.readings
        lit = self.decision.lamp_on if sensed is None else sensed
        view = TickView(
            tent=self.readings.tent,
            intake=self.readings.intake,
            decision=self.decision,
            reasons=self.reasons,
            lamp_scheduled=scheduled,
            lamp_sensed=sensed,
            sensor_faults=self._edges.sensors.faults(now_s),
            co2_ppm=self._edges.sensors.co2_ppm(now_s),
            fan_fault=None if self._fan_watch.fault is None else self._fan_watch.fault.value,
            rise=self._rise.step(now_s, readings, self.decision.speed, lit),
            has_less_air=self.alarms.is_active("less_air"),
            changes=self._changes(),
            broken_devices=self._devices.failed,
            record_failing=self._record.trouble is not None,
            clock_distrusted=not self._wall.is_trusted,
            config_rejected=self.config_rejected,
        )
        return _alarm_events(self.alarms.step(view, now_s, self._at_ms()))

    def _changes(self) -> Mapping[str, Condition]:
        """What the hourly looks and the newest learning found to have changed.

        Nothing where none is to come any more: what they found could never end.
        """
        if not self.loaded.settings.learn:
            return {}
        keys = (SUDDEN_KEY, DRIFT_KEY, FLOW_KEY)
        sudden, drift, fall = (self._record.load_state(key) for key in keys)
        tent = self._tent_digest
        return {**standing_changes(sudden, drift, tent), **standing_fall(fall, tent)}

    def acknowledge(self, name: str | None) -> int:
        """Acknowledge an alarm, or all; gives how many there were."""
        now_s, at_ms = self._clock.monotonic_s(), self._at_ms()
        events = _alarm_events(self.alarms.acknowledge(name))
        with self._record.together():
            for event in events:
                self._record.event(at_ms, event.name, event.level, **event.data)
            self._record.save_state(ALARMS_KEY, at_ms, self.alarms.saved(now_s, at_ms))
        return len(events)

    def filter_changed(self) -> None:
        """Record that the filter was changed: the flow before it is no longer the usual one."""
        at_ms = self._at_ms()
        with self._record.together():
            self._record.event(at_ms, "filter.changed", "info")
            self._record.save_state(FLOW_KEY, at_ms, saved_fall(None, self._tent_digest))

    def _record_tick(
        self, events: list[Event], now: Now, decision: Decision, rpm: float | None
    ) -> None:
        at_ms = self._at_ms()
        tent, intake = self.readings.tent, self.readings.intake
        if decision.memory.in_failsafe:
            tent = None  # too old to be recorded as a temperature
        row = self.means.add(
            now.monotonic_s,
            self.wall_s,
            None if tent is None else tent.temperature_c,
            None if tent is None else tent.humidity_pct,
            None if intake is None else intake.temperature_c,
            None if intake is None else intake.humidity_pct,
            decision.speed,
            decision.lamp_on,
            now.in_fan_hours,
            self._rule_to_record(decision),
            any(state is not None and state.locked_out for state in decision.memory.overrides),
            rpm,
        )
        if row is None and not events:
            return
        record = self._record
        with record.together():
            for event in events:
                record.event(at_ms, event.name, event.level, **event.data)
            if row is not None:
                record.reading(replace(row, sensors=self._sensor_rows(now.monotonic_s)))
            self._save(at_ms, now, decision)

    def _rule_to_record(self, decision: Decision) -> Rule:
        """The rule that the fan runs by: within its minimum run, the one that started it."""
        if not (decision.is_limited and decision.speed > 0.0) or self._ran_by is None:
            self._ran_by = decision.rule
        return self._ran_by

    def _sensor_rows(self, now_s: float) -> tuple[SensorRow, ...]:
        sensors = self._edges.sensors
        failures, attempts = sensors.take_failures(), sensors.take_attempts()
        rows = []
        for state in sensors.states(now_s):
            reading = None if state.is_failed else state.reading
            rows.append(
                SensorRow(
                    state.name,
                    None if reading is None else reading.temperature_c,
                    None if reading is None else reading.humidity_pct,
                    failures[state.name],
                    None if state.fault is None else state.fault.value,
                    attempts[state.name],
                    None if reading is None else reading.co2_ppm,
                )
            )
        return tuple(rows)

    def _save(self, at_ms: int, now: Now, decision: Decision) -> None:
        """Save the status for `lungwort now` and the memory for a restart."""
        assert self._schedule is not None
        state = daemon_status(at_ms, now, decision, self.reasons, self._schedule)
        self._record.save_state(STATUS_KEY, at_ms, state.to_json())
        self._save_memory(at_ms, now.monotonic_s)
        self._record.save_state(ALARMS_KEY, at_ms, self.alarms.saved(now.monotonic_s, at_ms))

    def _save_memory(self, at_ms: int, now_s: float) -> None:
        """Save the memory as it is now: with a hold that no decision has seen yet."""
        snapshot = self.memory.snapshot(now_s)
        self._record.save_state(MEMORY_KEY, at_ms, {"at_ms": at_ms, **snapshot})


def _alarm_events(changes: tuple[AlarmChange, ...]) -> list[Event]:
    return [Event(*event_of(change)) for change in changes]
