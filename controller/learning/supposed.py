"""Causes supposed one after the other, each with the figure that explains the readings best. Pure.

A cause changes the course that the model as learned is run through: other water, an opening, less
light, less air. A sensor that reads otherwise changes nothing in the tent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, NamedTuple

from controller.control.forecast import Leaves
from controller.learning.course import Block, Course
from controller.learning.model import REFERENCE_C, REFERENCE_VPD_PA, Fixed, Simulated, simulate

if TYPE_CHECKING:
    from controller.learning.parameters import TentParameters


class ComparedHours(NamedTuple):
    """What the last hours are compared by.

    Attributes
    ----------
    fixed : Fixed
        What is not learned.
    recorded : Course
        The last day and a half.
    fitted : TentParameters
        As learned before.
    compared_from_s : float
        From when on the readings are compared [Unix s].
    since_s : float
        From when on a cause is supposed to act [Unix s].
    deviation_k, deviation_pct : float
        Standard deviations of one five-minute mean about the model [K], [%].
    """

    fixed: Fixed
    recorded: Course
    fitted: TentParameters
    compared_from_s: float
    since_s: float
    deviation_k: float
    deviation_pct: float

    def simulated(self, supposed: Course) -> list[tuple[Block, Simulated]]:
        """The blocks that are compared, beside what the model gives for a supposed course."""
        pairs = zip(
            self.recorded.blocks(), simulate(self.fixed, supposed, self.fitted), strict=True
        )
        return [
            (block, modelled)
            for block, modelled in pairs
            if block.counts and block.at_s > self.compared_from_s
        ]

    def distance(
        self, pairs: Iterable[tuple[Block, Simulated]], off_k: float = 0.0, off_pct: float = 0.0
    ) -> float:
        """Mean square distance of the readings, less a sensor's error, in deviations."""
        squares = [
            ((block.tent_c - modelled.tent_c - off_k) / self.deviation_k) ** 2
            + ((block.tent_pct - modelled.tent_pct - off_pct) / self.deviation_pct) ** 2
            for block, modelled in pairs
        ]
        return sum(squares) / len(squares)

    def supposed(self, change: Callable[[Block], Block]) -> Course:
        """The course with the blocks since the change changed."""
        return self.recorded._replace(
            segments=tuple(
                tuple(change(block) if block.at_s > self.since_s else block for block in segment)
                for segment in self.recorded.segments
            )
        )


class Supposed(NamedTuple):
    """How near each cause comes to the readings, and the figures that come nearest.

    Attributes
    ----------
    distances : dict of str to float
        By cause; see `ComparedHours.distance`.
    water, air : float
        Share of the water given off, and of the fan's air, that explain them best.
    off_k, off_pct : float
        What the tent's sensor reads more, were it the sensor [K], [%].
    """

    distances: dict[str, float]
    water: float
    air: float
    off_k: float
    off_pct: float


def suppose(hours: ComparedHours, pairs: list[tuple[Block, Simulated]]) -> Supposed:
    """Suppose one cause after the other, each with its best figure."""
    off_k = sum(block.tent_c - modelled.tent_c for block, modelled in pairs) / len(pairs)
    off_pct = sum(block.tent_pct - modelled.tent_pct for block, modelled in pairs) / len(pairs)
    other_water = _with_other_water(hours)
    water, by_water = _nearest(hours, other_water, (0.0, 0.15, 0.3, 0.5, 0.7))
    moved, by_fan = _nearest(hours, _with_less_air, (0.0, 0.1, 0.2, 0.4, 0.6, 0.8))
    distances = {
        "water": by_water,
        "sensor_k": hours.distance(pairs, off_k=off_k),
        "sensor_pct": hours.distance(pairs, off_pct=off_pct),
        "opened": _nearest(hours, _opened, _openings(hours))[1],
        "lamp": _nearest(hours, _with_less_light, (0.0, 0.2, 0.4, 0.6, 0.8))[1],
        "fan": by_fan,
        "more_water": _nearest(hours, other_water, (1.2, 1.5, 2.0, 3.0, 5.0))[1],
    }
    return Supposed(distances, water, moved, off_k, off_pct)


def _nearest(
    hours: ComparedHours, changed: Callable[[Block, float], Block], figures: tuple[float, ...]
) -> tuple[float, float]:
    """The figure of a cause that explains the readings best, and their distance then."""

    def distance(figure: float) -> float:
        supposed = hours.supposed(lambda block: changed(block, figure))
        return hours.distance(hours.simulated(supposed))

    tried = {figure: distance(figure) for figure in figures}
    for _ in range(2):  # halve the steps about the best
        ordered = sorted(tried)
        i = min(range(len(ordered)), key=lambda i: tried[ordered[i]])
        for other in ordered[max(0, i - 1) : i] + ordered[i + 1 : i + 2]:
            figure = 0.5 * (ordered[i] + other)
            tried[figure] = distance(figure)
    best = min(tried, key=tried.__getitem__)
    return best, tried[best]


def _with_other_water(hours: ComparedHours) -> Callable[[Block, float], Block]:
    """Leaves and soil that give off a share of what they did."""
    fitted = hours.fitted
    # Soil and trays are no part of a block's leaves: what they lose is taken from these.
    steady = fitted.evaporation_lit * hours.fixed.physics.transpiration_kg_s(
        True, REFERENCE_C, REFERENCE_VPD_PA
    )

    def changed(block: Block, share: float) -> Block:
        lit = Leaves(*(share * value for value in block.lit))
        water = lit.at_zero - (1.0 - share) * steady / max(1e-6, fitted.transpiration_lit)
        dark = Leaves(*(share * value for value in block.dark))
        return block._replace(lit=lit._replace(at_zero=water), dark=dark)

    return changed


def _opened(block: Block, more_m3_s: float) -> Block:
    return block._replace(steps=tuple(step._replace(opened_m3_s=more_m3_s) for step in block.steps))


def _openings(hours: ComparedHours) -> tuple[float, ...]:
    """Air through doors: from hardly any to far more than the fan moves or the tent holds."""
    physics = hours.fixed.physics
    usual = max(hours.fixed.fan.full_m3_s, physics.volume_m3 / 120.0)
    return tuple(times * usual for times in (0.03, 0.1, 0.3, 1.0, 3.0, 10.0))


def _with_less_light(block: Block, share: float) -> Block:
    return block._replace(steps=tuple(step._replace(lit=share * step.lit) for step in block.steps))


def _with_less_air(block: Block, share: float) -> Block:
    return block._replace(steps=tuple(step._replace(on=share * step.on) for step in block.steps))
