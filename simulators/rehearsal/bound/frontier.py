"""The frontier: energy against harm of the best runs of the fan, as replayed in the tent."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from controller.control.forecast import Drive
from simulators.rehearsal.bound.program import CostToGo, StateGrid, costs_to_go, energy_cost
from simulators.rehearsal.bound.stages import (
    NotedIntake,
    RoomLine,
    Stage,
    StagedFan,
    StageModel,
    StageState,
    keep_fan_hours,
    stages_of,
)
from simulators.rehearsal.loop import RehearsalLoop
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import TICK_S, policy_rules
from simulators.tent import Tent

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.fan import Fan
    from simulators.rehearsal.scene import Scene

WORTHS_W_PER_K = (2.0, 6.0, 20.0, 60.0, 200.0, 600.0)
"""What a kelvin out of band is worth on the frontier [W/K]; the default config's is 60."""
SPEED_STEP = 0.1
# Constant speeds through which the grid of states is laid; fewer where a fan has no more.
_GRID_SPEEDS = (0.0, 0.2, 0.4, 1.0)


class BoundRun(NamedTuple):
    """One run of the fan on the frontier.

    Attributes
    ----------
    worth_w_per_k : float
        What a kelvin out of band is worth in fan power [W/K]; 0 of the fan at rest.
    outcome : Outcome
        What came of it in the simulated tent.
    """

    worth_w_per_k: float
    outcome: Outcome

    @property
    def energy_kwh(self) -> float:
        """What the fan drew [kWh]."""
        return self.outcome.fan.energy_kwh

    @property
    def harm(self) -> float:
        """What the air strayed from its bands."""
        return self.outcome.harm

    def cost(self, worth_w_per_k: float) -> float:
        """Harm and energy, put together by what a kelvin is worth [K·h]."""
        return self.harm + 1000.0 * self.energy_kwh / worth_w_per_k


class Bound(NamedTuple):
    """The best that any fan could do on some days.

    Attributes
    ----------
    runs : tuple of BoundRun
        By rising worth; the fan at rest first, where it may be.
    """

    runs: tuple[BoundRun, ...]

    @property
    def frontier(self) -> list[tuple[float, float]]:
        """Energy [kWh] and harm along the lower convex hull of the runs, energy rising.

        A point between two runs is had by one of them on some days, the other on the rest.
        """
        hull: list[tuple[float, float]] = []
        for point in sorted((run.energy_kwh, run.harm) for run in self.runs):
            if hull and point[1] >= hull[-1][1]:
                continue
            while len(hull) > 1 and _is_above(hull[-2], hull[-1], point):
                hull.pop()
            hull.append(point)
        return hull

    def harm_at(self, energy_kwh: float) -> float:
        """The least harm that an energy buys [kWh]."""
        return _interpolated(self.frontier, energy_kwh)

    def energy_at(self, harm: float) -> float | None:
        """The least energy that keeps to a harm [kWh]; None where none does."""
        turned = [(y, x) for x, y in reversed(self.frontier)]
        return None if harm < turned[0][0] else _interpolated(turned, harm)


def _is_above(
    left: tuple[float, float], middle: tuple[float, float], right: tuple[float, float]
) -> bool:
    span = right[0] - left[0]
    return (middle[1] - left[1]) * span >= (right[1] - left[1]) * (middle[0] - left[0])


def _interpolated(points: Sequence[tuple[float, float]], x: float) -> float:
    """The value at x, points' x rising; beyond the ends that of the end."""
    if x <= points[0][0]:
        return points[0][1]
    for (x1, y1), (x2, y2) in pairwise(points):
        if x <= x2:
            return y1 + (y2 - y1) * (x - x1) / (x2 - x1)
    return points[-1][1]


def find_bound(
    settings: Settings,
    set_scene: Callable[[], Scene],
    start_s: float,
    until_s: float,
    *,
    worths_w_per_k: Sequence[float] = WORTHS_W_PER_K,
    keeps_fan_hours: bool = False,
    progress: Callable[[float], None] = lambda _share: None,
) -> Bound:
    """Find the best that any fan could do on some days, knowing their weather in advance.

    Parameters
    ----------
    settings : Settings
        The tent's; of its schedule, overrides and minimum times only the lamp's hours count.
    set_scene : callable
        Gives the tent in its room, afresh, at `start_s`.
    start_s, until_s : float
        The days [Unix s].
    worths_w_per_k : sequence of float
        What a kelvin out of band is worth on the frontier [W/K], rising.
    keeps_fan_hours : bool
        Whether the fan runs at day speed at least in the fan hours, as no law may leave out.
    progress : callable
        Told the share done, 0–1.
    """
    search = _Search(settings, set_scene, start_s, until_s)
    works = len(search.grid_drives) + 6 + len(worths_w_per_k)
    done = 0

    def part(size: int) -> Callable[[float], None]:
        nonlocal done
        before, done = done, done + size
        return lambda share: progress((before + size * share) / works)

    constants = [search.constant(drive, part(1)) for drive in search.grid_drives]
    at_rest, lines, _ = constants[0]
    stages = stages_of(settings, start_s, until_s, TICK_S, lines)
    if keeps_fan_hours:
        stages = keep_fan_hours(settings, stages)
    tracks = [track for _, _, track in constants]
    grids = [StateGrid.through(states) for states in zip(*tracks, strict=True)]
    costs = costs_to_go(search.model, stages, grids, search.coarse_drives, worths_w_per_k, part(6))
    runs = [] if keeps_fan_hours else [BoundRun(0.0, at_rest)]
    for worth, cost in zip(worths_w_per_k, costs, strict=True):
        runs.append(BoundRun(worth, search.replay(stages, grids, cost, worth, part(1))))
    return Bound(tuple(runs))


class _Search:
    """What all runs of one search share."""

    def __init__(
        self, settings: Settings, set_scene: Callable[[], Scene], start_s: float, until_s: float
    ) -> None:
        self._settings, self._set_scene = settings, set_scene
        self._start_s, self._until_s = start_s, until_s
        scene = set_scene()
        self.model = StageModel(Tent(scene.tent.physics))
        speeds = speeds_of(settings)
        self.drives = [drive_at(scene.fan, speed) for speed in speeds]
        coarse = {0.0, 1.0, *speeds[1::2]}
        self.coarse_drives = [drive for drive in self.drives if drive.speed in coarse]
        nearest = {min(speeds, key=lambda speed: abs(speed - at)) for at in _GRID_SPEEDS}
        self.grid_drives = [drive for drive in self.drives if drive.speed in nearest]

    def constant(
        self, drive: Drive, progress: Callable[[float], None]
    ) -> tuple[Outcome, list[RoomLine], list[StageState]]:
        """Rehearse a constant speed: what came of it, the air drawn in, the state by stage."""
        stages = stages_of(self._settings, self._start_s, self._until_s, TICK_S, [])
        scene = self._set_scene()
        intake = NotedIntake(scene.intake)
        track: list[StageState] = []

        def choose(number: int) -> float:
            track.append(StageState.of_tent(scene.tent))
            progress(number / len(stages))
            return drive.speed

        outcome = self._rehearse(scene._replace(intake=intake), StagedFan(stages, choose))
        return outcome, intake.lines, track

    def replay(
        self,
        stages: list[Stage],
        grids: list[StateGrid],
        costs: CostToGo,
        worth_w_per_k: float,
        progress: Callable[[float], None],
    ) -> Outcome:
        """Rehearse the best speeds, each chosen by the tent's true state when its stage begins."""
        scene = self._set_scene()
        last = len(stages) - 1

        def choose(number: int) -> float:
            progress(number / len(stages))
            stage, state = stages[number], StageState.of_tent(scene.tent)
            intake = scene.intake
            past_s = stage.from_s + 0.5 * stage.looks_s[0] - intake.from_s
            warmer_k = intake.air_c + intake.air_c_s * past_s - stage.intake[0][0]
            moister = intake.ratio + intake.ratio_s * past_s - stage.intake[0][1]
            best, best_cost = 0.0, float("inf")
            for drive in self.drives:
                if drive.speed < stage.least_speed:
                    continue
                ((harm, end),) = self.model.run(stage, drive, [state], warmer_k, moister)
                cost = harm + energy_cost(drive, stage, worth_w_per_k)
                if number < last:
                    values = costs[number + 1]
                    for point, weight in grids[number + 1].weights(end):
                        cost += weight * values[point]
                if cost < best_cost:
                    best, best_cost = drive.speed, cost
            return best

        return self._rehearse(scene, StagedFan(stages, choose))

    def _rehearse(self, scene: Scene, fan: StagedFan) -> Outcome:
        outcome = Outcome(self._start_s, self._until_s, notes=scene.notes)
        # A lamp that heat cuts would make it comfortable to let the tent overheat.
        rules = policy_rules(self._settings, "schedule_alone")
        rules = rules._replace(ramp_s=0.0, lamp_is_ours=False)
        RehearsalLoop(
            self._settings,
            rules,
            scene,
            outcome,
            tick_s=TICK_S,
            seed=1,
            targets=self._settings.targets,
            use_shortcut=False,
            decider=fan,
        ).run()
        return outcome


def speeds_of(settings: Settings) -> list[float]:
    """The speeds that a fan can run at, by their rise: at rest, and in steps from its least on."""
    if settings.fan.drive == "relay":
        return [0.0, 1.0]
    least = settings.fan.resolved_min_speed
    steps = {round(SPEED_STEP * step, 6) for step in range(1, round(1.0 / SPEED_STEP) + 1)}
    return sorted({0.0, least, *(step for step in steps if step > least)} | {1.0})


def drive_at(fan: Fan, speed: float) -> Drive:
    """What a simulated fan does at a speed."""
    return Drive(speed, fan.flow_m3_s(speed), fan.power_w(speed), fan.heat_w(speed))
