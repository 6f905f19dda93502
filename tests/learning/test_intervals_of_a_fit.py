"""How wide the intervals of a fit are, and what widens them."""

from __future__ import annotations

import math

import pytest
from learning_records import CONFIG

from controller.config import settings_from_text
from controller.learning.identify import FLOOR_SHARE, Estimate, estimates_of
from controller.learning.least_squares import FitProblem, Fitted, Information
from controller.learning.parameters import NAMES, NORMAL_90, SCALES, configured, moved
from controller.tent_physics import TentPhysics

WALL, CONTENTS = NAMES.index("walls_k"), NAMES.index("contents_j_per_k")


def intervals(walls_k: float, worse: float = 1.0) -> dict[str, Estimate]:
    """Of a fit whose days agree, in which contents can stand for a warm wall and the reverse; its
    misfit may be worse than a sensor's.
    """
    size = len(NAMES)
    matrix = [[200.0 * (i == j) for j in range(size)] for i in range(size)]
    matrix[WALL][CONTENTS] = matrix[CONTENTS][WALL] = 150.0
    point = [walls_k * (i == WALL) for i in range(size)]
    days = [Information(matrix, [0.0] * size) for _ in range(5)]
    spreads, steps = zip(*((SCALES[n].spread, SCALES[n].step) for n in NAMES), strict=True)
    problem = FitProblem(lambda at: [], range(5), spreads, steps, 1.0)
    centre = configured(TentPhysics.from_settings(settings_from_text(CONFIG).settings))
    fitted = Fitted(point, [], days, 1)
    return estimates_of(fitted, problem, centre, moved(centre, point), 1.0, worse)


def test_days_that_agree_leave_open_what_their_readings_and_the_prior_do() -> None:
    spread = SCALES["flow_share"].spread
    half = NORMAL_90 / math.sqrt(5 * 200.0 + 1.0 / spread**2)
    assert half > FLOOR_SHARE
    assert intervals(0.0)["flow_share"].high == pytest.approx(math.exp(half))


def test_what_of_a_misfit_no_sensor_errs_by_may_last_half_a_day() -> None:
    spread, noise = SCALES["flow_share"].spread, 1.0 / 1.5**2
    times = noise * 1.0 + (1.0 - noise) * 6.0
    half = NORMAL_90 / math.sqrt(5 * 200.0 / times + 1.0 / spread**2)
    widened = math.hypot(half, 3.0 * FLOOR_SHARE * 0.5)
    assert intervals(0.0, 1.5)["flow_share"].high == pytest.approx(math.exp(widened))


def test_a_wall_warmer_than_any_leaves_open_what_leans_on_it_and_nothing_else() -> None:
    plain, likely, odd = intervals(0.0), intervals(0.4), intervals(2.0)

    def width(of_fit: dict[str, Estimate], name: str) -> float:
        return of_fit[name].prior_share

    assert width(odd, "contents_j_per_k") > 2.0 * width(plain, "contents_j_per_k")
    assert width(odd, "flow_share") < 1.2 * width(plain, "flow_share")
    assert width(likely, "contents_j_per_k") < 1.2 * width(plain, "contents_j_per_k")
