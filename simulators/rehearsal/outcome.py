"""What a rehearsal counted: minutes in and out of band, peaks, the fan, the overrides."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from controller.control import Memory, Rule
from controller.control.override_state import CALM, OVERRIDE_RULES
from simulators.rehearsal.counts import (
    HARM_PER,
    QUANTITIES,
    Extreme,
    FanUse,
    IntakeMinutes,
    Minutes,
    intake_phase,
    phase_minutes,
)
from simulators.rehearsal.leaves import LeafFigures
from simulators.tent.step import exchange_of

if TYPE_CHECKING:
    from controller.config.sections.targets import Targets
    from controller.tent_physics import TentPhysics

_LEAVES_EVERY = 7  # ticks


class Trajectory:
    """The states of a tent's air, one a tick, that are yet to be counted.

    Parameters
    ----------
    by_day : bool
        Whether the lamp is on by the schedule, all along.
    from_s : float
        A tick before the first state [Unix s].

    Attributes
    ----------
    air_c, humidity_pct, vpd_pa : list of float
        One a tick.
    lamp : list of (int, bool)
        From which of them on the lamp was really lit, or dark.
    """

    __slots__ = ("air_c", "by_day", "from_s", "humidity_pct", "lamp", "vpd_pa")

    def __init__(self, by_day: bool, from_s: float) -> None:
        self.by_day = by_day
        self.from_s = from_s
        self.air_c: list[float] = []
        self.humidity_pct: list[float] = []
        self.vpd_pa: list[float] = []
        self.lamp: list[tuple[int, bool]] = []

    def set_lamp(self, lit: bool) -> None:
        """From the next state on the lamp is lit or dark."""
        if not self.lamp or self.lamp[-1][1] is not lit:
            self.lamp.append((len(self.air_c), lit))

    def add(self, air_c: float, humidity_pct: float, vpd_pa: float) -> None:
        """Add the state after a tick: temperature [°C], relative humidity [%] and VPD [Pa]."""
        self.air_c.append(air_c)
        self.humidity_pct.append(humidity_pct)
        self.vpd_pa.append(vpd_pa)


@dataclass(slots=True)
class Outcome:
    """Everything a rehearsal counted.

    Bands are held against the true air; in a replay against what the recorded sensors would read
    of it, as the record's minutes are.

    Attributes
    ----------
    start_s, until_s : float
        What was rehearsed [Unix s].
    day, night : dict of str to Minutes
        By quantity; day is while the lamp is lit.
    intake_day, intake_night : dict of str to IntakeMinutes
        The intake air's temperature and humidity, held against the tent's bands.
    peak, trough : Extreme
        Of the tent's temperature.
    heat_warning_min : float
        Time above targets.heat_warning [min].
    leaves : LeafFigures or None
        How warm the plants' leaves were; None for an empty tent.
    fan, always_on, schedule_alone : FanUse
        As it was; at full speed all the time; as the schedule asks without any override.
    speed_changes : int
        How often another speed was commanded; a ramp is one change.
    engaged : Counter of Rule
        How often overrides engaged.
    locked_out_min : float
        Time in which outside air could not help [min].
    failsafe_min, lamp_cut_min : float
        Time without a reading to trust; with the lamp cut for heat [min].
    ticks : int
        Decisions taken.
    wall_s : float
        How long the rehearsal took the machine [s].
    notes : tuple of str
        What was assumed, bridged or made up.
    """

    start_s: float
    until_s: float
    day: dict[str, Minutes] = field(default_factory=phase_minutes)
    night: dict[str, Minutes] = field(default_factory=phase_minutes)
    intake_day: dict[str, IntakeMinutes] = field(default_factory=intake_phase)
    intake_night: dict[str, IntakeMinutes] = field(default_factory=intake_phase)
    peak: Extreme = field(default_factory=lambda: Extreme(-math.inf, math.nan))
    trough: Extreme = field(default_factory=lambda: Extreme(math.inf, math.nan))
    heat_warning_min: float = 0.0
    leaves: LeafFigures | None = None
    fan: FanUse = field(default_factory=FanUse)
    always_on: FanUse = field(default_factory=FanUse)
    schedule_alone: FanUse = field(default_factory=FanUse)
    speed_changes: int = 0
    engaged: Counter[Rule] = field(default_factory=Counter)
    locked_out_min: float = 0.0
    failsafe_min: float = 0.0
    lamp_cut_min: float = 0.0
    ticks: int = 0
    wall_s: float = 0.0
    notes: tuple[str, ...] = ()

    def minutes(self, quantity: str) -> Minutes:
        """Day and night together."""
        return self.day[quantity].plus(self.night[quantity])

    def see(self, air_c: float, at_s: float) -> None:
        """Take note of a temperature, should it be the highest or lowest yet."""
        if air_c > self.peak.value:
            self.peak.value, self.peak.at_s = air_c, at_s
        if air_c < self.trough.value:
            self.trough.value, self.trough.at_s = air_c, at_s

    def stay(self, memory: Memory, ticks: int, tick_min: float, lamp_on: bool) -> None:
        """Count ticks for which the decision stayed as it is in a memory.

        Parameters
        ----------
        memory : Memory
            What the decision left.
        ticks : int
            How many.
        tick_min : float
            Length of each [min].
        lamp_on : bool
            Whether the lamp is on by the schedule.
        """
        if memory.overrides is not CALM:
            for watch in memory.overrides:
                if watch is not None and watch.locked_out:
                    self.locked_out_min += ticks * tick_min
                    break
        if memory.in_failsafe:
            self.failsafe_min += ticks * tick_min
        if lamp_on and memory.lamp_is_cut:
            self.lamp_cut_min += ticks * tick_min

    def count(self, states: Trajectory, targets: Targets, tick_s: float) -> None:
        """Count states against their bands.

        Parameters
        ----------
        states : Trajectory
            All by day or all by night.
        targets : Targets
            Whose bands the states are held against.
        tick_s : float
            From tick to tick [s].
        """
        ticks = len(states.air_c)
        if not ticks:
            return
        bands = targets.day if states.by_day else targets.night
        phase = self.day if states.by_day else self.night
        tick_min = tick_s / 60.0
        for name, values, (low, high) in (
            ("temperature", states.air_c, bands.temperature_c),
            ("humidity", states.humidity_pct, bands.humidity_pct),
            ("vpd", states.vpd_pa, bands.vpd_pa),
        ):
            # Often the highest and the lowest say it all.
            below: list[float] = []
            above: list[float] = []
            if min(values) < low:
                below = [low - value for value in values if value < low]
            if max(values) > high:
                above = [value - high for value in values if value > high]
            phase[name].count(len(below), len(above), ticks, tick_min)
            phase[name].stray(sum(below), sum(above), tick_min)
        highest, lowest = max(states.air_c), min(states.air_c)
        warning_c = max(targets.heat_warning_c, bands.temperature_c[1])
        if highest > warning_c:
            warned = len([1 for value in states.air_c if value > warning_c])
            self.heat_warning_min += tick_min * warned
        for value in (highest, lowest):
            if not self.trough.value <= value <= self.peak.value:
                self.see(value, states.from_s + tick_s * (states.air_c.index(value) + 1))

    def count_intake(
        self,
        states: Trajectory,
        ticks: int,
        air_c: tuple[float, float],
        humidity_pct: tuple[float, float],
        targets: Targets,
        tick_s: float,
    ) -> None:
        """Count the intake air of a trajectory's last ticks against the tent's bands.

        Parameters
        ----------
        states : Trajectory
            The tent's states; all by day or all by night.
        ticks : int
            How many of the last are meant.
        air_c, humidity_pct : tuple of (float, float)
            The intake's temperature [°C] and relative humidity [%] at the first of them, and what
            they grow by from tick to tick.
        targets : Targets
            Whose bands.
        tick_s : float
            From tick to tick [s].
        """
        bands = targets.day if states.by_day else targets.night
        phase = self.intake_day if states.by_day else self.intake_night
        tick_min = tick_s / 60.0
        phase["temperature"].count(air_c, states.air_c[-ticks:], bands.temperature_c, tick_min)
        humidity = states.humidity_pct[-ticks:]
        phase["humidity"].count(humidity_pct, humidity, bands.humidity_pct, tick_min)

    def count_leaves(self, states: Trajectory, physics: TentPhysics, tick_s: float) -> None:
        """Count the leaves in every seventh state of the air; nothing in an empty tent.

        Seven, since no day and hardly a purge comes back after a multiple of it; all states would
        take a fifth of a rehearsal's time.
        """
        if physics.leaf_area_m2 <= 0.0:
            return
        self.leaves = leaves = self.leaves or LeafFigures()
        before = round((states.from_s - self.start_s) / tick_s) + 1
        ends = [*(first for first, _ in states.lamp[1:]), len(states.air_c)]
        for (first, lit), end in zip(states.lamp, ends, strict=True):
            chosen = slice(first + -(before + first) % _LEAVES_EVERY, end, _LEAVES_EVERY)
            leaves.take_in(
                exchange_of(physics, lit), lit, states.air_c[chosen], states.vpd_pa[chosen]
            )

    @property
    def mean_speed(self) -> float:
        """Mean fan speed over the whole time, 0–1."""
        return self.fan.speed_s / (self.until_s - self.start_s)

    @property
    def share_within(self) -> float:
        """Share of the time in which temperature, humidity and VPD were in band, their mean."""
        return sum(self.minutes(name).share_within for name in QUANTITIES) / len(QUANTITIES)

    @property
    def harm(self) -> float:
        """All that the air strayed from its bands, as one figure: K·h + 0.1 × %·h + 3 × kPa·h."""
        strayed = ((per, self.minutes(name)) for name, per in HARM_PER.items())
        return sum(per * (minutes.hours_below + minutes.hours_above) for per, minutes in strayed)

    def to_json(self, price_per_kwh: float | None) -> dict[str, Any]:
        """Give the figures as `lungwort rehearse --json` prints them, without times as text.

        Parameters
        ----------
        price_per_kwh : float or None
            None leaves the costs empty.
        """

        def cost(use: FanUse) -> float | None:
            # Of the energy as it is told: the last bits of a sum hang on how it was summed up.
            energy_kwh = round(use.energy_kwh, 6)
            return None if price_per_kwh is None else round(energy_kwh * price_per_kwh, 6)

        def phase(minutes: Mapping[str, Minutes | IntakeMinutes]) -> dict[str, Any]:
            return {name: counted.to_json() for name, counted in minutes.items()}

        return {
            "minutes": {name: self.minutes(name).to_json() for name in QUANTITIES},
            "minutes_by_day": phase(self.day),
            "minutes_by_night": phase(self.night),
            "intake_minutes_by_day": phase(self.intake_day),
            "intake_minutes_by_night": phase(self.intake_night),
            "excess": {name: self.minutes(name).excess_json(name) for name in QUANTITIES},
            "harm": round(self.harm, 6),
            "peak_temperature_c": round(self.peak.value, 4),
            "trough_temperature_c": round(self.trough.value, 4),
            "heat_warning_minutes": round(self.heat_warning_min, 3),
            **(self.leaves or LeafFigures()).to_json(),
            "fan_hours": round(self.fan.hours, 6),
            "fan_starts": self.fan.starts,
            "speed_changes": self.speed_changes,
            "mean_speed": round(self.mean_speed, 6),
            "energy_kwh": round(self.fan.energy_kwh, 6),
            "cost": cost(self.fan),
            "energy_always_on_kwh": round(self.always_on.energy_kwh, 6),
            "cost_always_on": cost(self.always_on),
            "fan_hours_schedule_alone": round(self.schedule_alone.hours, 6),
            "energy_schedule_alone_kwh": round(self.schedule_alone.energy_kwh, 6),
            "cost_schedule_alone": cost(self.schedule_alone),
            "overrides": {rule.value: self.engaged[rule] for rule in OVERRIDE_RULES},
            "locked_out_minutes": round(self.locked_out_min, 3),
            "failsafe_minutes": round(self.failsafe_min, 3),
            "lamp_cut_minutes": round(self.lamp_cut_min, 3),
            "ticks": self.ticks,
            "wall_s": round(self.wall_s, 3),
            "notes": list(self.notes),
        }
