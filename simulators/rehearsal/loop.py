"""The loop of a rehearsal: look, decide, act, carry the tent on, count; one tick after the other.

Time is cut into segments within which the timetable holds and the intake air changes evenly, so
that all look-ups are done once a segment. The decision is `controller.control.decide`; where the
shortcut of `fast` is allowed, it is not asked while its last answer stands.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from controller.control import Decision, Memory, Now, Readings, Rules, Wish, decide, engagements
from controller.control.actuator import motor_speed
from controller.control.quiet import planned_wish
from controller.quiet_hours import QuietHours
from controller.timetable import ScheduleState, Timetable
from simulators.rehearsal.fast.standing import StandingDecision, standing_decision
from simulators.rehearsal.outcome import Outcome, Trajectory
from simulators.rehearsal.scene import Scene
from simulators.rehearsal.senses import sense, with_co2

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.targets import Targets
    from simulators.rehearsal.recorded_errors import RecordedErrors
    from simulators.tent.step import StepRows

# Tells how far a rehearsal is [Unix s].
Progress = Callable[[float], None]
# What chooses the speed: `decide`, or what stands in for it.
Decide = Callable[[Now, Readings, Rules, Memory], Decision]
# How many states wait before they are counted, so that memory does not grow with the days.
_LONG = 1000


def tick_rules(settings: Settings, tick_s: float) -> Rules:
    """Give the rules of a config; a ramp shorter than a tick is over before the next."""
    rules = Rules.from_settings(settings)
    return rules._replace(ramp_s=0.0) if rules.ramp_s <= tick_s else rules


class _Segment(NamedTuple):
    """A stretch of ticks in which only the tent's air and the fan change.

    The intake's temperature [°C], humidity [%] and humidity ratio [kg/kg] are those of its first
    tick, each with how much it grows from tick to tick.
    """

    schedule: ScheduleState
    is_quiet: bool
    ticks: int
    intake_c: float
    intake_c_more: float
    intake_pct: float
    intake_pct_more: float
    intake_ratio: float
    intake_ratio_more: float


class RehearsalLoop:
    """One rehearsal, from `outcome.start_s` to `outcome.until_s`.

    Parameters
    ----------
    settings : Settings
        The tent's.
    rules : Rules
        What is decided by; `tick_rules`, or those of another policy.
    scene : Scene
        Tent, fan and intake air, at the start; used up.
    outcome : Outcome
        Fresh; it is counted into.
    tick_s : float
        From decision to decision [s].
    seed : int
        Of the sensors' errors.
    targets : Targets
        Whose bands the minutes are counted by.
    use_shortcut : bool
        Whether `decide` may be left out while its last answer stands; changes no outcome.
    errors : RecordedErrors or None
        What recorded sensors erred by, in place of a seed's; the bands are held against what they
        read then.
    decider : callable
        What decides; the shortcut knows `decide` only, so leave it off with another.
    """

    def __init__(
        self,
        settings: Settings,
        rules: Rules,
        scene: Scene,
        outcome: Outcome,
        *,
        tick_s: float,
        seed: int,
        targets: Targets,
        use_shortcut: bool = True,
        errors: RecordedErrors | None = None,
        decider: Decide = decide,
    ) -> None:
        self._decide = decider
        self._rules = rules
        self._scene = scene
        self._outcome = outcome
        self._tick_s = tick_s
        self._targets = targets
        self._use_shortcut = use_shortcut
        self._errors = errors
        self._timetable = Timetable.from_settings(settings)
        self._quiet_hours = QuietHours.from_settings(settings)
        self._quiet = self._quiet_hours.state(outcome.start_s)
        if errors is None:
            sense_tent = sense(settings, "tent", seed, tick_s)
            self._look_at_intake = sense(settings, "intake", seed, tick_s)
        else:
            sense_tent = errors.sense(settings, "tent", outcome.start_s)
            self._look_at_intake = errors.sense(settings, "intake", outcome.start_s)
        assert sense_tent is not None, "the settings ask for a tent sensor"
        tent = scene.tent
        self._look_inside = with_co2(sense_tent, settings, "tent", lambda: tent.co2_ppm)
        if self._look_at_intake is not None:
            self._look_at_intake = with_co2(
                self._look_at_intake, settings, "intake", lambda: tent.co2.intake_ppm
            )
        self._memory = Memory()
        # What the last decision stands for, as long as the schedule stays the same.
        self._standing: StandingDecision | None = None
        self._ticks = 0
        # The fan as commanded, and since when.
        self._speed = self._flow_m3_s = self._power_w = self._fan_heat_w = 0.0
        self._speed_since_s = 0.0
        # What is yet to be counted: ticks under the present memory, states, the schedule's wish.
        self._counted_ticks = 0
        self._states = Trajectory(False, outcome.start_s)
        self._base, self._base_from_ticks = rules.base[0], 0

    def run(self, progress: Progress | None = None) -> None:
        """Rehearse all of it; `progress` is told now and then how far it is."""
        outcome = self._outcome
        schedule = self._timetable.state(outcome.start_s)
        self._states.by_day = schedule.lamp_on
        while (at_s := self._now_s) < outcome.until_s:
            self._draw_intake(at_s)
            if not at_s < schedule.valid_until_s:
                schedule = self._timetable.state(at_s)
                self._standing = None
                if progress is not None:
                    progress(at_s)
            if not at_s < self._quiet.valid_until_s:
                self._quiet = self._quiet_hours.state(at_s)
                self._standing = None
            self._run_segment(self._segment(at_s, schedule))
        self._finish()

    @property
    def _now_s(self) -> float:
        return self._outcome.start_s + self._ticks * self._tick_s

    def _draw_intake(self, at_s: float) -> None:
        intake, tent = self._scene.intake, self._scene.tent
        if at_s >= intake.until_s:
            intake.go_on(at_s, tent.outflow.take())

    def _segment(self, at_s: float, schedule: ScheduleState) -> _Segment:
        intake, tick_s = self._scene.intake, self._tick_s
        until_s = min(
            intake.until_s,
            schedule.valid_until_s,
            self._quiet.valid_until_s,
            self._outcome.until_s,
        )
        past_s = at_s - intake.from_s
        return _Segment(
            schedule,
            self._quiet.is_quiet,
            ceil((until_s - at_s) / tick_s),
            intake.air_c + intake.air_c_s * past_s,
            intake.air_c_s * tick_s,
            intake.humidity_pct + intake.humidity_pct_s * past_s,
            intake.humidity_pct_s * tick_s,
            intake.ratio + intake.ratio_s * past_s,
            intake.ratio_s * tick_s,
        )

    def _run_segment(self, segment: _Segment) -> None:
        schedule, is_quiet, ticks, intake_c, c_more, intake_pct, pct_more, ratio, ratio_more = (
            segment
        )
        rules, tick_s, tent = self._rules, self._tick_s, self._scene.tent
        lamp_on, in_fan_hours, purge_on = schedule.lamp_on, schedule.in_fan_hours, schedule.purge_on
        limits = rules.day if lamp_on else rules.night
        planned = planned_wish(Now(0.0, lamp_on, in_fan_hours, purge_on, is_quiet), rules)
        self._take_up(lamp_on, planned)
        look, look_at_intake = self._look_inside, self._look_at_intake
        states = self._states
        add_air_c, add_humidity_pct = states.air_c.append, states.humidity_pct.append
        add_vpd_pa = states.vpd_pa.append
        air_c, humidity_pct = tent.air_c, tent.humidity_pct
        standing = self._standing
        lit = was_lit = lamp_on
        nearby = None
        # Of the tent's step, once fan and lamp have been as they are for a tick.
        rows: StepRows | None = None
        for tick in range(self._ticks, self._ticks + ticks):
            now_s = tick * tick_s
            seen = look(now_s, air_c, humidity_pct)
            if look_at_intake is not None:
                nearby = look_at_intake(now_s, intake_c, intake_pct)
            if standing is None or seen is None or not standing.holds(now_s, seen, nearby):
                decision = self._decide(
                    Now(now_s, lamp_on, in_fan_hours, purge_on, is_quiet),
                    Readings(seen, nearby),
                    rules,
                    self._memory,
                )
                if self._take(decision, tick):
                    rows = None
                lit = decision.lamp_on
                self._states.set_lamp(lit)
                if self._use_shortcut:
                    standing = standing_decision(decision, rules, limits, now_s)
            # Within a step the intake air is that of its middle.
            middle_c = intake_c + 0.5 * c_more
            middle_ratio = ratio + 0.5 * ratio_more
            if rows is None or lit is not was_lit:
                rows = tent.advance(
                    self._flow_m3_s,
                    lit,
                    tick_s,
                    middle_c,
                    middle_c,
                    middle_ratio,
                    self._fan_heat_w,
                )
                was_lit = lit
            else:
                tent.step(rows, middle_c, middle_c, middle_ratio)
            air_c, saturation_pa, vapour_pa = tent.air_c, tent.saturation_pa, tent.vapour_pa
            humidity_pct = 100.0 * vapour_pa / saturation_pa
            add_air_c(air_c)
            add_humidity_pct(humidity_pct)
            add_vpd_pa(saturation_pa - vapour_pa)
            intake_c += c_more
            intake_pct += pct_more
            ratio += ratio_more
        self._standing = standing
        self._ticks += ticks
        self._outcome.count_intake(
            self._states,
            ticks,
            (segment.intake_c, c_more),
            (segment.intake_pct, pct_more),
            self._targets,
            tick_s,
        )

    def _take_up(self, lamp_on: bool, base: Wish) -> None:
        """Close the counts of the phase, and of the schedule's wish, that end with the segment."""
        states = self._states
        if lamp_on is not states.by_day:
            self._count_memory(self._ticks, states.by_day)
        if lamp_on is not states.by_day or len(states.air_c) > _LONG:
            self._count_states()
            self._states = Trajectory(lamp_on, self._now_s)
            self._standing = None  # a decision says how the lamp is in them
        if base != self._base:
            self._count_schedule_alone()
            self._base, self._base_from_ticks = base, self._ticks

    def _take(self, decision: Decision, tick: int) -> bool:
        """Act on a decision, and count what it ends; says whether the fan's speed changed."""
        before, outcome = self._memory, self._outcome
        if decision.memory is not before:
            self._count_memory(tick, self._states.by_day)
            for kind in engagements(before.overrides, decision.memory.overrides):
                outcome.engaged[kind.rule] += 1
            if decision.memory.ramp.to_speed != before.ramp.to_speed:
                outcome.speed_changes += 1
            self._memory = decision.memory
        if decision.speed == self._speed:
            return False
        now_s, fan = tick * self._tick_s, self._scene.fan
        outcome.fan.run(self._speed, self._power_w, now_s - self._speed_since_s)
        if self._speed == 0.0:
            outcome.fan.starts += 1
        self._speed, self._speed_since_s = decision.speed, now_s
        self._flow_m3_s, self._power_w = fan.flow_m3_s(self._speed), fan.power_w(self._speed)
        self._fan_heat_w = fan.heat_w(self._speed)
        return True

    def _count_memory(self, tick: int, by_day: bool) -> None:
        self._outcome.stay(self._memory, tick - self._counted_ticks, self._tick_s / 60.0, by_day)
        self._counted_ticks = tick

    def _count_states(self) -> None:
        states = self._states
        self._outcome.count_leaves(states, self._scene.tent.physics, self._tick_s)
        if self._errors is not None:
            states = self._errors.as_read(states, self._tick_s)
        self._outcome.count(states, self._targets, self._tick_s)

    def _count_schedule_alone(self) -> None:
        """Count what the schedule alone would have run."""
        fan = self._scene.fan
        speed = motor_speed(self._base.speed, self._rules)
        for_s = (self._ticks - self._base_from_ticks) * self._tick_s
        self._outcome.schedule_alone.run(speed, fan.power_w(speed), for_s)

    def _finish(self) -> None:
        outcome, lasted_s = self._outcome, self._ticks * self._tick_s
        self._count_memory(self._ticks, self._states.by_day)
        self._count_schedule_alone()
        self._count_states()
        outcome.fan.run(self._speed, self._power_w, lasted_s - self._speed_since_s)
        outcome.always_on.run(1.0, self._scene.fan.power_w(1.0), lasted_s)
        outcome.ticks = self._ticks
