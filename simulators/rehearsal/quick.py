"""The fast loop of a rehearsal: real decisions on a simulated tent, a few microseconds each.

Time is cut into segments within which the timetable holds and the intake air changes evenly; all
look-ups are done once a segment. Within one, a tick is: look, decide, act, carry the tent on,
count. The rules are `controller.decision.decide` alone.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, inf
from typing import TYPE_CHECKING

from controller.decision import (
    Memory,
    Now,
    Readings,
    Rules,
    Wish,
    decide,
    engagements,
)
from controller.decision.actuate import motor_speed
from controller.photoperiod import Timetable
from simulators.fan import Fan
from simulators.intake import IntakeAir
from simulators.rehearsal.looks import Line, Looks
from simulators.rehearsal.outcome import Course, Outcome
from simulators.rehearsal.senses import sense
from simulators.tent import Tent
from simulators.tent_path import Path

if TYPE_CHECKING:
    from controller.settings import Settings
    from controller.settings.sections.targets import Targets
    from simulators.rehearsal.recorded_errors import RecordedErrors

# How many ticks are carried out before anybody looks: after a decision, and in the long run.
_NEAR, _FAR = 4, 32
# How many ticks wait before they are counted, so that memory does not grow with the days.
_LONG = 1000

# Tells how far a rehearsal is [Unix s].
Progress = Callable[[float], None]


def tick_rules(settings: Settings, tick_s: float) -> Rules:
    """Give the rules of a config; a ramp shorter than a tick is over before the next."""
    rules = Rules.from_settings(settings)
    return rules._replace(ramp_s=0.0) if rules.ramp_s <= tick_s else rules


def run_quick(
    settings: Settings,
    rules: Rules,
    tent: Tent,
    fan: Fan,
    intake: IntakeAir,
    outcome: Outcome,
    *,
    tick_s: float,
    seed: int,
    targets: Targets,
    progress: Progress | None = None,
    errors: RecordedErrors | None = None,
) -> None:
    """Rehearse from `outcome.start_s` to `outcome.until_s`, counting into `outcome`.

    Parameters
    ----------
    settings : Settings
        The tent's.
    rules : Rules
        What is decided by; `tick_rules`, or those of another policy.
    tent, fan, intake
        The world, at the start.
    outcome : Outcome
        Fresh.
    tick_s : float
        From decision to decision [s].
    seed : int
        Of the sensors' errors.
    targets : Targets
        Whose bands the minutes are counted by.
    progress : callable or None
        Told now and then.
    errors : RecordedErrors or None
        What recorded sensors erred by, in place of a seed's; the bands are held against what they
        read then.
    """
    timetable = Timetable.from_settings(settings)
    start_s, until_s = outcome.start_s, outcome.until_s
    if errors is None:
        sense_tent = sense(settings, "tent", seed, tick_s)
        sense_intake = sense(settings, "intake", seed, tick_s)
    else:
        sense_tent = errors.sense(settings, "tent", start_s)
        sense_intake = errors.sense(settings, "intake", start_s)
    assert sense_tent is not None, "the settings ask for a tent sensor"
    looks = Looks(sense_tent, sense_intake, tick_s)
    tick_min = tick_s / 60.0
    rows = None  # of the tent's step, once fan and lamp have been as they are for a tick
    was_lit = False
    memory = Memory()
    speed = flow = power_w = 0.0
    speed_since_s = 0.0
    schedule = timetable.state(start_s)
    ticks = 0
    path, far = Path(), _NEAR
    course = Course(schedule.lamp_on, start_s)
    by_day, counted = schedule.lamp_on, 0  # the phase, and the ticks whose standing is counted
    planned, planned_from = rules.base[0], 0  # the schedule's wish, and its first tick
    readings: Readings | None = None
    stands = False

    while (at_s := start_s + ticks * tick_s) < until_s:
        while at_s >= intake.until_s:
            intake.step(*tent.given_off(flow, intake.air_c, intake.ratio))
        if not at_s < schedule.valid_until_s:
            schedule = timetable.state(at_s)
            if progress is not None:
                progress(at_s)
        count = ceil((min(intake.until_s, schedule.valid_until_s, until_s) - at_s) / tick_s)
        next_s = at_s + count * tick_s
        # What is seen at the end is on the line of this stretch still, and decided in the same way.
        goes_on = next_s <= intake.until_s and next_s < schedule.valid_until_s
        past_s = at_s - intake.from_s
        around = Line(
            intake.air_c + intake.air_c_s * past_s,
            intake.air_c_s * tick_s,
            intake.humidity_pct + intake.humidity_pct_s * past_s,
            intake.humidity_pct_s * tick_s,
        )
        # Within a step the intake air is that of its middle.
        more_c = around.more_c
        first_c = around.air_c + 0.5 * more_c
        ratio_tick = intake.ratio_s * tick_s
        ratio = intake.ratio + intake.ratio_s * past_s + 0.5 * ratio_tick
        lamp_on, window, purge = schedule.lamp_on, schedule.window_open, schedule.purge_on
        limits = rules.day if lamp_on else rules.night
        base = rules.base[window + 2 * purge]
        if lamp_on is not by_day:
            outcome.stay(memory, ticks - counted, tick_min, by_day)
            by_day, counted = lamp_on, ticks
        if base is not planned:
            _run_planned(planned, rules, fan, outcome, (ticks - planned_from) * tick_s)
            planned, planned_from = base, ticks
        # As long as it stands, `decide` need not be asked: it would look at just these bounds. All
        # readings of a rehearsal are fresh.
        standing = memory.standing(rules, limits, base)
        lit = lamp_on
        now_s = ticks * tick_s
        path.cut(0)
        tent.enter(path)
        done = 0
        while done < count:
            if readings is None and not stands:
                readings = looks.at(now_s, path, done, around)
                stands = (
                    readings.tent is not None
                    and standing is not None
                    and standing.stands(now_s, readings.tent, readings.intake)
                )
            if not stands:
                assert readings is not None, "looked at above"
                decision = decide(Now(now_s, lamp_on, window, purge), readings, rules, memory)
                if decision.memory is not memory:
                    outcome.stay(memory, ticks + done - counted, tick_min, lamp_on)
                    counted = ticks + done
                    if decision.memory.watches is not memory.watches:
                        for kind in engagements(memory.watches, decision.memory.watches):
                            outcome.engaged[kind.rule] += 1
                    memory = decision.memory
                standing = memory.standing(rules, limits, base)
                if decision.speed != speed:
                    outcome.fan.run(speed, power_w, now_s - speed_since_s)
                    if speed == 0.0:
                        outcome.fan.starts += 1
                    speed, speed_since_s = decision.speed, now_s
                    flow, power_w = fan.flow_m3_s(speed), fan.power_w(speed)
                    rows = None
                lit = decision.lamp_on
                far = _NEAR
            readings, stands = None, False
            middle_c = first_c + done * more_c
            if rows is None or lit is not was_lit:
                rows = tent.advance(flow, lit, tick_s, middle_c, middle_c, ratio)
                was_lit = lit
                tent.enter(path)
                passed = 1
            else:
                # As long as the decision stands, nothing but the air changes.
                ahead = 1
                if standing is not None:
                    ahead = min(far, count - done)
                    if standing.until_s < inf:
                        ahead = min(ahead, ceil((standing.until_s - now_s) / tick_s))
                    far = min(2 * far, _FAR)
                ahead = tent.coast(
                    rows,
                    middle_c,
                    more_c,
                    middle_c,
                    more_c,
                    ratio,
                    ratio_tick,
                    ahead,
                    path,
                )
                passed = ahead
                if ahead > 1:
                    assert standing is not None
                    # The last one too, unless time alone changes something until then.
                    last = done + ahead
                    through = (
                        last < count or goes_on
                    ) and now_s + ahead * tick_s < standing.until_s
                    end, readings = looks.along(
                        standing, now_s + tick_s, path, done + 1, last + through, around
                    )
                    passed = end - done
                    if passed > ahead:  # it stands there as well, and was looked at
                        passed, stands = ahead, True
                    if passed < ahead:
                        tent.go_back(rows, path, end)
            done += passed
            now_s += passed * tick_s
            ratio += passed * ratio_tick
        if course.by_day is not lamp_on or len(course.air_c) > _LONG:
            outcome.take_in(course, targets, tick_s)
            course = Course(lamp_on, at_s)
        course.add(path if errors is None else errors.as_read(path, at_s, tick_s))
        ticks += count
    outcome.stay(memory, ticks - counted, tick_min, by_day)
    _run_planned(planned, rules, fan, outcome, (ticks - planned_from) * tick_s)
    outcome.take_in(course, targets, tick_s)
    outcome.fan.run(speed, power_w, ticks * tick_s - speed_since_s)
    outcome.always_on.run(1.0, fan.power_w(1.0), ticks * tick_s)
    outcome.ticks = ticks


def _run_planned(planned: Wish, rules: Rules, fan: Fan, outcome: Outcome, for_s: float) -> None:
    """Count what the schedule alone would have run."""
    speed = motor_speed(planned.speed, rules)
    outcome.schedule_alone.run(speed, fan.power_w(speed), for_s)
