"""The fast loop of a rehearsal: real decisions on a simulated tent, a few microseconds each.

Time is cut into segments within which the timetable holds and the intake air changes evenly; all
look-ups are done once a segment. Within one, a tick is: look, decide, act, carry the tent on,
count. The rules are `controller.decision.decide` alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import ceil
from typing import TYPE_CHECKING

from controller.decision import (
    Limits,
    Memory,
    Now,
    Readings,
    Rules,
    Wish,
    decide,
    transitions,
)
from controller.decision.actuate import motor_speed
from controller.decision.settled import Settled
from controller.photoperiod import Timetable
from simulators.fan import Fan
from simulators.intake import IntakeAir
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.senses import sense
from simulators.tent import Tent

if TYPE_CHECKING:
    from controller.settings import Settings
    from controller.settings.sections.targets import Targets

# Tells how far a rehearsal is [Unix s].
Progress = Callable[[float], None]


def tick_rules(settings: Settings, tick_s: float) -> Rules:
    """Give the rules of a config; a ramp shorter than a tick is over before the next."""
    rules = Rules.from_settings(settings)
    return replace(rules, ramp_s=0.0) if rules.ramp_s <= tick_s else rules


def standing_decision(memory: Memory, rules: Rules, limits: Limits, base: Wish) -> Settled | None:
    """Give the bounds within which the last decision stands; None where it must be made anew.

    As long as it stands, `decide` need not be asked: it would look at just these bounds. All
    readings of a rehearsal are fresh, and nobody holds its fan by hand.
    """
    settled = memory.settled
    if (
        settled is not None
        and settled.rules is rules
        and settled.limits is limits
        and settled.base is base
        and settled.watches is memory.watches
        and memory.hold is None
        and memory.lamp_cut is None
        and not memory.in_failsafe
    ):
        return settled
    return None


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
    """
    timetable = Timetable.from_settings(settings)
    sense_tent = sense(settings, "tent", seed, tick_s)
    sense_intake = sense(settings, "intake", seed, tick_s)
    assert sense_tent is not None, "the settings ask for a tent sensor"
    step, tick_min = tent.step, tick_s / 60.0
    rows = None  # of the tent's step, once fan and lamp have been as they are for a tick
    was_lit = False
    warning_c = targets.heat_warning_c
    memory = Memory()
    speed = flow = power_w = 0.0
    speed_since_s = 0.0
    withheld = failsafe = False
    peak_c, trough_c = outcome.peak.value, outcome.trough.value
    start_s, until_s = outcome.start_s, outcome.until_s
    schedule = timetable.state(start_s)
    ticks = 0
    intake_reading = None
    tent_pct = tent.humidity_pct

    while (at_s := start_s + ticks * tick_s) < until_s:
        while at_s >= intake.until_s:
            intake.step(*tent.given_off(flow, intake.air_c, intake.ratio))
        if not at_s < schedule.valid_until_s:
            schedule = timetable.state(at_s)
            if progress is not None:
                progress(at_s)
        count = ceil((min(intake.until_s, schedule.valid_until_s, until_s) - at_s) / tick_s)
        past_s = at_s - intake.from_s
        room_c, room_c_tick = intake.air_c + intake.air_c_s * past_s, intake.air_c_s * tick_s
        room_pct = intake.humidity_pct + intake.humidity_pct_s * past_s
        room_pct_tick = intake.humidity_pct_s * tick_s
        ratio_tick = intake.ratio_s * tick_s
        # Within a step the intake air is that of its middle.
        room_c_half = 0.5 * room_c_tick
        ratio = intake.ratio + intake.ratio_s * (past_s + 0.5 * tick_s)
        lamp_on, window, purge = schedule.lamp_on, schedule.window_open, schedule.purge_on
        limits = rules.day if lamp_on else rules.night
        base = rules.base[window + 2 * purge]
        standing = standing_decision(memory, rules, limits, base)
        lit = lamp_on
        bands = targets.day if lamp_on else targets.night
        low_c, high_c = bands.temperature_c
        low_pct, high_pct = bands.humidity_pct
        low_pa, high_pa = bands.vpd_pa
        cold = hot = dry = humid = below = above = warned = withheld_ticks = dark = blind = 0
        now_s = ticks * tick_s
        for _ in range(count):
            seen = sense_tent(now_s, tent.air_c, tent_pct)
            if sense_intake is not None:
                intake_reading = sense_intake(now_s, room_c, room_pct)
            if seen is None or standing is None or not standing.stands(now_s, seen, intake_reading):
                decision = decide(
                    Now(now_s, lamp_on, window, purge),
                    Readings(seen, intake_reading),
                    rules,
                    memory,
                )
                if decision.memory is not memory:
                    if decision.memory.watches is not memory.watches:
                        for event, kind in transitions(memory, decision.memory):
                            if event == "override.engaged":
                                outcome.engaged[kind.rule] += 1
                        withheld = any(
                            w is not None and w.withheld for w in decision.memory.watches
                        )
                    memory = decision.memory
                    failsafe = memory.in_failsafe
                standing = standing_decision(memory, rules, limits, base)
                if decision.speed != speed:
                    outcome.fan.run(speed, power_w, now_s - speed_since_s)
                    if speed == 0.0:
                        outcome.fan.starts += 1
                    speed, speed_since_s = decision.speed, now_s
                    flow, power_w = fan.flow_m3_s(speed), fan.power_w(speed)
                    rows = None
                lit = decision.lamp_on
            middle_c = room_c + room_c_half
            if rows is not None and lit is was_lit:
                step(rows, middle_c, middle_c, ratio)
            else:
                rows = tent.advance(flow, lit, tick_s, middle_c, middle_c, ratio)
                was_lit = lit
            now_s += tick_s
            room_c += room_c_tick
            room_pct += room_pct_tick
            ratio += ratio_tick
            value = tent.air_c
            if value > high_c:
                hot += 1
                if value > warning_c:
                    warned += 1
            elif value < low_c:
                cold += 1
            if value > peak_c:
                peak_c, outcome.peak.at_s = value, start_s + now_s
            if value < trough_c:
                trough_c, outcome.trough.at_s = value, start_s + now_s
            vapour, saturated = tent.vapour_pa, tent.saturation_pa
            tent_pct = 100.0 * vapour / saturated
            if tent_pct > high_pct:
                humid += 1
            elif tent_pct < low_pct:
                dry += 1
            value = saturated - vapour
            if value > high_pa:
                above += 1
            elif value < low_pa:
                below += 1
            if withheld:
                withheld_ticks += 1
            if failsafe:
                blind += 1
            if lit is not lamp_on:
                dark += 1
        ticks += count
        phase = outcome.day if lamp_on else outcome.night
        phase["temperature"].count(cold, hot, count, tick_min)
        phase["humidity"].count(dry, humid, count, tick_min)
        phase["vpd"].count(below, above, count, tick_min)
        outcome.heat_warning_min += warned * tick_min
        outcome.withheld_min += withheld_ticks * tick_min
        outcome.failsafe_min += blind * tick_min
        outcome.lamp_cut_min += dark * tick_min
        planned = motor_speed(base.speed, rules)
        outcome.schedule_alone.run(planned, fan.power_w(planned), count * tick_s)
    outcome.fan.run(speed, power_w, ticks * tick_s - speed_since_s)
    outcome.always_on.run(1.0, fan.power_w(1.0), ticks * tick_s)
    outcome.peak.value, outcome.trough.value = peak_c, trough_c
    outcome.ticks = ticks
