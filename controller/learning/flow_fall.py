"""The fan's flow from day to day: whether it fell below that of a reference week. Pure.

All other figures of the tent are held as learned in the reference week (`reference.py`); what the
fan moves and what the plants give off are fitted to each day by itself. A fall is found by a
cumulative sum of the daily logarithms below those of the reference week, in standard deviations
(Page 1954, Biometrika 41:100), with half the shift that matters taken off each day.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from statistics import median, stdev
from typing import NamedTuple

from controller.learning.course import BLOCK_S, SETTLING_S, Course, course
from controller.learning.least_squares import FitProblem, fit
from controller.learning.model import Fixed, simulate
from controller.learning.parameters import NAMES, SCALES, TentParameters, moved
from controller.record.rows import ReadingRow

DAYS = 21
"""How many of the last days are compared with the reference week."""

DAY_S = 86_400.0

# Days that tell what is usual; and so many after them that there is something to compare.
_LEAST_REFERENCE_DAYS, _LEAST_DAYS = 5, 2
# The least standard deviation of a day's flow, on the logarithmic scale.
_LEAST_SPREAD = 0.025
# Page's reference value and decision interval, in standard deviations.
_REFERENCE, _DECISION = 1.0, 5.0
# Both of the last two days are below by so much, and by so many standard deviations: one odd day,
# as with an open door, is no fall. Page's figures hold for a known mean and spread; a week tells
# them only roughly, so that false alarms would otherwise be several times as frequent (measured by
# `tests/learning/test_flow_fall.py` over days that differ by chance).
_LEAST_FALL, _LEAST_DEVIATIONS = 0.06, 2.5
# Seasons differ by what the model's structure is not known better (`identify.FLOOR_SHARE`, in the
# reference week and now): so long after it, a fall must be larger.
_SEASON_S, _LEAST_FALL_BEYOND = 28 * 86_400.0, 0.10

_FREE = ("flow_share", "transpiration_lit", "transpiration_dark")
_ERROR_K, _ERROR_PCT = 0.1, 1.0
_LEAST_BLOCKS = 200


Rows = Callable[[float, float], Iterable[ReadingRow]]
"""Gives the readings that end after one time and not after another [Unix s]."""


class DayFlow(NamedTuple):
    """What the fan moved on a day, over what the config promises: the end of the day [Unix s]."""

    until_s: float
    share: float


class FlowFall(NamedTuple):
    """A fall of the flow.

    Attributes
    ----------
    since_s : float
        The end of the first day that was below what was usual [Unix s].
    usual, now : float
        Share of the config's flow in the reference week, and in the last two days.
    """

    since_s: float
    usual: float
    now: float

    @property
    def times(self) -> float:
        """The flow now over what was usual."""
        return self.now / self.usual


def daily_flows(
    fixed: Fixed, read: Rows, last_s: float, fitted: TentParameters, days: int = DAYS
) -> list[DayFlow]:
    """What the fan moved on each of the last days that have enough readings, in order of time.

    Parameters
    ----------
    fixed : Fixed
        What is not learned.
    read : callable
        Gives the readings of a stretch, from and until [Unix s], in order of time: one day and the
        half-day before it are held at a time.
    last_s : float
        The end of the last day [Unix s].
    fitted : TentParameters
        As learned.
    days : int
        How many 24-hour stretches.
    """
    flows = []
    for back in reversed(range(days)):
        until_s = last_s - back * DAY_S
        recorded = course(read(until_s - DAY_S - SETTLING_S, until_s), fixed.physics)
        if recorded.counted >= _LEAST_BLOCKS:
            flows.append(DayFlow(until_s, _flow_of(fixed, recorded, fitted)))
    return flows


def _flow_of(fixed: Fixed, recorded: Course, fitted: TentParameters) -> float:
    free = [NAMES.index(name) for name in _FREE]
    counted = [block for block in recorded.blocks() if block.counts]

    def parameters(point: Sequence[float]) -> TentParameters:
        by = [0.0] * len(NAMES)
        for i, step in zip(free, point, strict=True):
            by[i] = step
        return moved(fitted, by)

    def residuals(point: Sequence[float]) -> list[float]:
        run = simulate(fixed, recorded, parameters(point))
        pairs = [pair for pair in zip(recorded.blocks(), run, strict=True) if pair[0].counts]
        return [
            *((modelled.tent_c - block.tent_c) / _ERROR_K for block, modelled in pairs),
            *((modelled.tent_pct - block.tent_pct) / _ERROR_PCT for block, modelled in pairs),
        ]

    scales = [SCALES[name] for name in _FREE]
    problem = FitProblem(
        residuals,
        [0] * (2 * len(counted)),
        [scale.spread for scale in scales],
        [scale.step for scale in scales],
        BLOCK_S / 7200.0,
    )
    return parameters(fit(problem, most=8, close=0.02).point).flow_share


def flow_fall(reference: Sequence[DayFlow], flows: Sequence[DayFlow]) -> FlowFall | None:
    """A fall of the flow that stands on the last day; None without.

    Parameters
    ----------
    reference : sequence of DayFlow
        The days that tell what is usual.
    flows : sequence of DayFlow
        Days after them, in order of time.
    """
    if len(reference) < _LEAST_REFERENCE_DAYS or len(flows) < _LEAST_DAYS:
        return None
    usual_logs, logs = _logarithms(reference), _logarithms(flows)
    usual = median(usual_logs)
    spread = max(_LEAST_SPREAD, stdev(usual_logs))
    total, since = 0.0, 0
    for number, log in enumerate(logs):
        before = total
        total = max(0.0, total + (usual - log) / spread - _REFERENCE)
        if before == 0.0:
            since = number
    last = logs[-2:]
    is_of_season = flows[-1].until_s - reference[-1].until_s <= _SEASON_S
    least_fall = _LEAST_FALL if is_of_season else _LEAST_FALL_BEYOND
    least = max(-math.log(1.0 - least_fall), _LEAST_DEVIATIONS * spread)
    if total < _DECISION or max(last) > usual - least:
        return None
    return FlowFall(flows[since].until_s, math.exp(usual), math.exp(sum(last) / 2.0))


def _logarithms(flows: Sequence[DayFlow]) -> list[float]:
    return [math.log(max(1e-3, flow.share)) for flow in flows]
