"""The fitting against scipy and numpy, which the product does without."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from controller.learning.least_squares import (
    CAUCHY,
    FitProblem,
    added,
    covariance,
    fit,
    solve,
    without_group,
)

SPREADS = [1.0, 0.5, 2.0]


def decay(count: int = 90, outliers: int = 0) -> FitProblem:
    """A curve with three parameters, noise, and some readings that are quite wrong."""
    dice = random.Random(5)
    times = [i / 10.0 for i in range(count)]

    def curve(point: Sequence[float], t: float) -> float:
        return math.exp(point[0]) * math.exp(-t * math.exp(point[1])) + point[2]

    read = [curve((0.6, -0.4, 0.3), t) + dice.gauss(0.0, 0.05) for t in times]
    for i in range(outliers):
        read[7 * i + 3] += 5.0

    def residuals(point: Sequence[float]) -> list[float]:
        return [(curve(point, t) - r) / 0.05 for t, r in zip(times, read, strict=True)]

    return FitProblem(residuals, [i % 6 for i in range(count)], SPREADS, [1e-4] * 3, 1.0)


def with_priors(problem: FitProblem, point: Sequence[float]) -> np.ndarray:
    """Residuals and priors in one row, as scipy takes them."""
    priors = [p / s for p, s in zip(point, problem.spreads, strict=True)]
    return np.array([*problem.residuals(point), *priors])


def test_it_ends_where_scipy_ends() -> None:
    problem = decay()
    plain = problem._replace(groups=problem.groups)
    reference = least_squares(lambda p: with_priors(plain, p), [0.0] * 3, loss="linear")
    ours = fit(plain, most=50, close=1e-6)
    # Cauchy's weights cost little efficiency where there are no outliers.
    assert ours.point == pytest.approx(reference.x, abs=0.02)


def test_it_ends_where_scipy_ends_with_cauchys_loss() -> None:
    problem = decay(outliers=8)
    reference = least_squares(
        problem.residuals, [0.5, -0.5, 0.2], loss="cauchy", f_scale=CAUCHY, xtol=1e-12
    )
    loose = problem._replace(spreads=[1e3] * 3)
    ours = fit(loose, most=200, close=1e-9)
    assert ours.point == pytest.approx(reference.x, abs=1e-3)
    assert ours.point == pytest.approx([0.6, -0.4, 0.3], abs=0.05)


def test_a_group_left_out_is_as_if_it_had_never_been() -> None:
    problem = decay()
    fitted = fit(problem, most=50, close=1e-9)
    numbers = [i for i, group in enumerate(problem.groups) if group != 2]
    rest = FitProblem(
        lambda p: [problem.residuals(p)[i] for i in numbers],
        [problem.groups[i] for i in numbers],
        SPREADS,
        problem.steps,
        1.0,
    )
    assert without_group(fitted, problem, 2) == pytest.approx(
        fit(rest, most=50, close=1e-9).point, abs=2e-3
    )


def test_the_covariance_of_nothing_is_that_of_the_priors() -> None:
    problem = decay()
    nothing = added([], problem)
    expected = np.diag(np.square(SPREADS))
    assert np.allclose(covariance(nothing, problem), expected)


@given(st.integers(1, 8), st.integers(0, 10_000))
def test_systems_are_solved_as_numpy_solves_them(size: int, seed: int) -> None:
    dice = np.random.default_rng(seed)
    root = dice.normal(size=(size, size))
    matrix, right = root @ root.T + 0.1 * np.eye(size), dice.normal(size=size)
    ours = solve(matrix.tolist(), right.tolist())
    assert np.allclose(ours, np.linalg.solve(matrix, right), rtol=1e-6, atol=1e-8)


def test_a_matrix_that_is_not_positive_definite_is_refused() -> None:
    with pytest.raises(ValueError, match="positive definite"):
        solve([[1.0, 2.0], [2.0, 1.0]], [1.0, 1.0])
