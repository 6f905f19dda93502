"""Dynamic programming over a tent's days: what each state costs from there to the end, at best.

Bellman's recursion from the last stage to the first (Bellman, Dynamic Programming, Princeton 1957):

    V_k(x) = min over speeds u of  harm_k(x, u) + energy_k(u)/worth + V_k+1(x')

The state x is the tent's air, contents and humidity ratio. Its grid differs from stage to stage: it
lies where the tent would be at the time with the fan at a few constant speeds, so that it covers
what can be reached and is finest where more air changes least. Between the points V is linear in
each. Reduced is: the room, which follows its course at constant speed, whatever the fan does now
(it takes up the tent's heat either way); water on the fabric, which is none at a stage's beginning;
and the speeds, every second of those to be had.

What that costs shows when the speeds are replayed in the simulated tent. There each is chosen anew
by the tent's true state, out of all speeds, as the one with the least harm of its stage and V of
where it leads to (one step of policy improvement), so that an error of V does not add up.
"""

from __future__ import annotations

from array import array
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from itertools import product
from typing import NamedTuple, TypeAlias

from controller.control.forecast import Drive
from simulators.rehearsal.bound.stages import Stage, StageModel, StageState

_NEAREST = 1e-9  # points of a grid that are nearer to each other are the same, in their unit


class StateGrid(NamedTuple):
    """The grid of states at one instant.

    Attributes
    ----------
    air_c, contents_c, ratio : tuple of float
        Points along each axis, rising.
    """

    air_c: tuple[float, ...]
    contents_c: tuple[float, ...]
    ratio: tuple[float, ...]

    @classmethod
    def through(cls, states: Sequence[StageState]) -> StateGrid:
        """The grid through some states; of the air's temperature only their lowest and highest.

        The air forgets its temperature within minutes, so that two points will do.
        """
        air_c = _rising(state.air_c for state in states)
        return cls(
            (air_c[0], air_c[-1]) if len(air_c) > 1 else air_c,
            _rising(state.contents_c for state in states),
            _rising(state.ratio for state in states),
        )

    def states(self) -> list[StageState]:
        """All its states, the humidity ratio running fastest."""
        return [StageState(*point) for point in product(*self)]

    def weights(self, state: StageState) -> list[tuple[int, float]]:
        """The points around a state, by their number, and what each counts; they add up to one."""
        around = [(0, 1.0)]
        for points, value in zip(self, state, strict=False):
            count = len(points)
            if count == 1:
                continue
            i = min(count - 2, max(0, bisect_right(points, value) - 1))
            share = (value - points[i]) / (points[i + 1] - points[i])
            # Beyond its edge the grid is taken on, as straight, by as much as its last cell.
            share = min(2.0, max(-1.0, share))
            around = [
                (at * count + i + more, weight * part)
                for at, weight in around
                for more, part in ((0, 1.0 - share), (1, share))
            ]
        return around


def _rising(values: Iterable[float]) -> tuple[float, ...]:
    points: list[float] = []
    for value in sorted(values):
        if not points or value - points[-1] > _NEAREST:
            points.append(value)
    return tuple(points)


CostToGo: TypeAlias = "list[array[float]]"
"""Of each stage, by the number of the state in its grid: the cost from there to the end [K·h]."""


def energy_cost(drive: Drive, stage: Stage, worth_w_per_k: float) -> float:
    """What a stage's energy costs [K·h], where a kelvin is worth so many watts."""
    return drive.power_w * (stage.until_s - stage.from_s) / 3600.0 / worth_w_per_k


def costs_to_go(
    model: StageModel,
    stages: Sequence[Stage],
    grids: Sequence[StateGrid],
    drives: Sequence[Drive],
    worths_w_per_k: Sequence[float],
    progress: Callable[[float], None],
) -> list[CostToGo]:
    """Work out what each state costs to the end, at best.

    Parameters
    ----------
    model : StageModel
        Of the tent.
    stages : sequence of Stage
        Shape (n,).
    grids : sequence of StateGrid
        At the beginning of each stage, shape (n,).
    drives : sequence of Drive
        The speeds to choose from.
    worths_w_per_k : sequence of float
        What a kelvin out of band is worth in fan power [W/K]; shape (m,).
    progress : callable
        Told the share done, 0–1.

    Returns
    -------
    list of CostToGo
        One for each worth; after the last stage nothing costs anything.
    """
    count = len(stages)
    costs: list[CostToGo] = [[array("d")] * count for _ in worths_w_per_k]
    after: list[array[float]] | None = None
    for number in range(count - 1, -1, -1):
        stage, states = stages[number], grids[number].states()
        best = [array("d", [float("inf")]) * len(states) for _ in worths_w_per_k]
        for drive in drives:
            if drive.speed < stage.least_speed:
                continue
            power = [energy_cost(drive, stage, worth) for worth in worths_w_per_k]
            for at, (harm, end) in enumerate(model.run(stage, drive, states)):
                around = grids[number + 1].weights(end) if after is not None else ()
                for which, lowest in enumerate(best):
                    cost = harm + power[which]
                    if after is not None:
                        values = after[which]
                        for point, weight in around:
                            cost += weight * values[point]
                    if cost < lowest[at]:
                        lowest[at] = cost
        after = best
        for which, lowest in enumerate(best):
            costs[which][number] = lowest
        progress((count - number) / count)
    return costs
