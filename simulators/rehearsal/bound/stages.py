"""Days cut into stages, in each of which the fan keeps one speed and the lamp stays as it is."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from math import ceil, inf
from typing import TYPE_CHECKING, NamedTuple

from controller.control import Decision, Hold, Memory, Now, Readings, Rules, decide
from controller.control.forecast import Drive
from controller.timetable import Timetable
from simulators.intake import IntakeAir
from simulators.rehearsal.counts import HARM_PER
from simulators.tent.outflow import NOTHING, GivenOff

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.targets import DayTargets, NightTargets
    from simulators.tent import Tent

STAGE_S = 900.0
"""For so long the fan keeps a speed, less where the lamp is switched [s]."""
# Within a stage the tent is looked at so often, each time after twice as long as before: what the
# fan changes shows at once, and settles within minutes.
_LOOKS = 4


class RoomLine(NamedTuple):
    """Air drawn in from a time on: temperature [°C], humidity ratio [kg/kg], and their growth."""

    from_s: float
    air_c: float
    ratio: float
    air_c_s: float
    ratio_s: float


class NotedIntake:
    """Intake air that notes the lines it follows; see `IntakeAir`."""

    def __init__(self, intake: IntakeAir) -> None:
        self._intake = intake
        self.lines: list[RoomLine] = []
        self._note()

    def go_on(self, at_s: float, given: GivenOff = NOTHING) -> None:
        """See `IntakeAir.go_on`."""
        self._intake.go_on(at_s, given)
        self._note()

    def _note(self) -> None:
        line = self._intake
        self.from_s, self.until_s = line.from_s, line.until_s
        self.air_c, self.ratio, self.humidity_pct = line.air_c, line.ratio, line.humidity_pct
        self.air_c_s, self.ratio_s = line.air_c_s, line.ratio_s
        self.humidity_pct_s = line.humidity_pct_s
        self.lines.append(RoomLine(line.from_s, line.air_c, line.ratio, line.air_c_s, line.ratio_s))


class Stage(NamedTuple):
    """A stretch of time.

    Attributes
    ----------
    from_s, until_s : float
        Its bounds [Unix s].
    lit : bool
        Whether the lamp is lit by the timetable.
    harm_of : callable
        What the air strays from the bands of its phase: by temperature [°C], relative humidity [%]
        and VPD [Pa] in kelvins and what counts as much.
    looks_s : tuple of float
        The steps from one look at the tent to the next [s].
    intake : tuple of (float, float)
        Temperature [°C] and humidity ratio [kg/kg] of the air drawn in, in the middle of each step.
    least_speed : float
        The slowest speed that may be chosen, 0–1.
    """

    from_s: float
    until_s: float
    lit: bool
    harm_of: Callable[[float, float, float], float]
    looks_s: tuple[float, ...]
    intake: tuple[tuple[float, float], ...]
    least_speed: float = 0.0


class StageState(NamedTuple):
    """A tent's air [°C], contents [°C], humidity ratio [kg/kg] and water on its fabric [kg]."""

    air_c: float
    contents_c: float
    ratio: float
    film_kg: float = 0.0

    @classmethod
    def of_tent(cls, tent: Tent) -> StageState:
        """The present state of a tent."""
        return cls(tent.air_c, tent.contents_c, tent.humidity_ratio, tent.film_kg)


# Chooses the speed when a stage begins, by its number.
Choice = Callable[[int], float]


class StagedFan:
    """Decides as if a person held the fan at a speed for each stage.

    Parameters
    ----------
    stages : sequence of Stage
        All of a rehearsal.
    choose : callable
        Asked for the speed of a stage when it begins.
    """

    def __init__(self, stages: list[Stage], choose: Choice) -> None:
        self._ends_s = [stage.until_s - stages[0].from_s for stage in stages]
        self._choose = choose
        self._number = -1
        self._hold = Hold(0.0, inf)

    def __call__(self, now: Now, readings: Readings, rules: Rules, memory: Memory) -> Decision:
        """See `controller.control.decide`."""
        number = bisect_right(self._ends_s, now.monotonic_s)
        if number != self._number:
            self._number = number
            self._hold = Hold(self._choose(number), inf)
        return decide(now, readings, rules, replace(memory, hold=self._hold))


def stages_of(
    settings: Settings, start_s: float, until_s: float, tick_s: float, lines: list[RoomLine]
) -> list[Stage]:
    """Cut days into stages, in air that was drawn in.

    Parameters
    ----------
    settings : Settings
        The tent's.
    start_s, until_s : float
        The days [Unix s].
    tick_s : float
        Between two ticks of the rehearsal; a stage ends with one [s].
    lines : list of RoomLine
        The air drawn in; none yet gives stages for noting it.
    """
    path = _path(lines)
    harm_of = {False: _harm_of(settings.targets.night), True: _harm_of(settings.targets.day)}
    stages = []
    for from_s, end_s, lit in _bounds(settings, start_s, until_s, tick_s):
        shortest_s = (end_s - from_s) / (2**_LOOKS - 1)
        looks_s = tuple(shortest_s * 2**look for look in range(_LOOKS))
        # Each step begins when all before it, one less than itself, are over.
        middles = (from_s + 1.5 * look_s - shortest_s for look_s in looks_s)
        stages.append(Stage(from_s, end_s, lit, harm_of[lit], looks_s, tuple(map(path, middles))))
    return stages


def keep_fan_hours(settings: Settings, stages: list[Stage]) -> list[Stage]:
    """Let stages that lie in the fan hours, by their middle, have day speed at least."""
    timetable = Timetable.from_settings(settings)
    return [
        stage._replace(least_speed=settings.schedule.day_speed)
        if timetable.state(0.5 * (stage.from_s + stage.until_s)).in_fan_hours
        else stage
        for stage in stages
    ]


def _path(lines: list[RoomLine]) -> Callable[[float], tuple[float, float]]:
    starts = [line.from_s for line in lines]

    def at(time_s: float) -> tuple[float, float]:
        if not starts:
            return 0.0, 0.0
        line = lines[max(0, bisect_right(starts, time_s) - 1)]
        past_s = time_s - line.from_s
        return line.air_c + line.air_c_s * past_s, line.ratio + line.ratio_s * past_s

    return at


def _bounds(
    settings: Settings, start_s: float, until_s: float, tick_s: float
) -> Iterator[tuple[float, float, bool]]:
    timetable = Timetable.from_settings(settings)
    at_s = start_s
    while at_s < until_s:
        schedule = timetable.state(at_s)
        end_s = min(until_s, start_s + ((at_s - start_s) // STAGE_S + 1.0) * STAGE_S)
        change_s = schedule.valid_until_s
        while change_s < end_s:
            after = timetable.state(change_s)
            if after.lamp_on is not schedule.lamp_on:
                end_s = start_s + ceil((change_s - start_s) / tick_s) * tick_s
                break
            change_s = after.valid_until_s
        yield at_s, end_s, schedule.lamp_on
        at_s = end_s


def _harm_of(phase: DayTargets | NightTargets) -> Callable[[float, float, float], float]:
    (cold_c, hot_c), (dry_pct, humid_pct) = phase.temperature_c, phase.humidity_pct
    low_pa, high_pa = phase.vpd_pa
    per_k, per_pct, per_pa = (HARM_PER[name] for name in ("temperature", "humidity", "vpd"))

    def harm_of(air_c: float, humidity_pct: float, vpd_pa: float) -> float:
        harm = 0.0
        if air_c > hot_c:
            harm += per_k * (air_c - hot_c)
        elif air_c < cold_c:
            harm += per_k * (cold_c - air_c)
        if humidity_pct > humid_pct:
            harm += per_pct * (humidity_pct - humid_pct)
        elif humidity_pct < dry_pct:
            harm += per_pct * (dry_pct - humidity_pct)
        if vpd_pa > high_pa:
            harm += per_pa * (vpd_pa - high_pa)
        elif vpd_pa < low_pa:
            harm += per_pa * (low_pa - vpd_pa)
        return harm

    return harm_of


class StageModel:
    """Carries a tent through one stage at a speed, by the step of the simulated tent itself.

    Parameters
    ----------
    tent : Tent
        Used up: its state is set anew each time.
    """

    def __init__(self, tent: Tent) -> None:
        self._tent = tent

    def run(
        self,
        stage: Stage,
        drive: Drive,
        states: Iterable[StageState],
        warmer_k: float = 0.0,
        moister: float = 0.0,
    ) -> list[tuple[float, StageState]]:
        """Give the harm of a stage [K·h] and the state at its end, from each of some states.

        Parameters
        ----------
        stage : Stage
            Which.
        drive : Drive
            The fan.
        states : iterable of StageState
            Where it starts from.
        warmer_k, moister : float
            How much the air drawn in differs from that of the stage [K], [kg/kg].
        """
        tent, harm_of = self._tent, stage.harm_of
        steps = [
            (
                tent.rows(drive.flow_m3_s, stage.lit, look_s, drive.heat_w),
                look_s / 7200.0,
                air_c + warmer_k,
                ratio + moister,
            )
            for look_s, (air_c, ratio) in zip(stage.looks_s, stage.intake, strict=True)
        ]
        ends = []
        for state in states:
            tent.air_c, tent.contents_c, tent.humidity_ratio, tent.film_kg = state
            tent.settle_vapour()
            vapour, saturation = tent.vapour_pa, tent.saturation_pa
            harm = harm_of(tent.air_c, 100.0 * vapour / saturation, saturation - vapour)
            strayed = 0.0
            for rows, half_h, air_c, ratio in steps:
                tent.step(rows, air_c, air_c, ratio)
                vapour, saturation = tent.vapour_pa, tent.saturation_pa
                before = harm
                harm = harm_of(tent.air_c, 100.0 * vapour / saturation, saturation - vapour)
                strayed += half_h * (before + harm)
            ends.append((strayed, StageState.of_tent(tent)))
        return ends
