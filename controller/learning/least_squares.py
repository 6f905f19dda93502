"""Nonlinear least squares with normal priors and outliers that count less. Pure, plain floats.

Levenberg's and Marquardt's damping (Marquardt 1963, J. Soc. Ind. Appl. Math. 11:431), Cauchy's
weights (from memory; Holland & Welsch 1977, Commun. Stat. A6:813), and what each group of residuals
tells by itself, for the jackknife.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

Vector = list[float]
Matrix = list[Vector]

CAUCHY = 2.385
"""Tuning constant of Cauchy's weights, in standard deviations (95 % efficient; from memory)."""


class FitProblem(NamedTuple):
    """What is to be fitted.

    Attributes
    ----------
    residuals : callable
        Gives the residuals at a point, each divided by its standard deviation.
    groups : sequence of int
        The group of each residual, from 0.
    spreads : sequence of float
        Standard deviations of the priors, whose means are at zero.
    steps : sequence of float
        For differences.
    share : float
        What a residual counts by: they follow each other so closely that many say what one says.
    """

    residuals: Callable[[Sequence[float]], Vector]
    groups: Sequence[int]
    spreads: Sequence[float]
    steps: Sequence[float]
    share: float


class Information(NamedTuple):
    """What residuals tell of the point: JᵀWJ and JᵀWr."""

    matrix: Matrix
    gradient: Vector


class Fitted(NamedTuple):
    """What came of it.

    Attributes
    ----------
    point : list of float
        Where the sum is least.
    residuals : list of float
        There.
    groups : list of Information
        What each group tells, there.
    iterations : int
        Steps taken.
    """

    point: Vector
    residuals: Vector
    groups: list[Information]
    iterations: int


def fit(
    problem: FitProblem, start: Sequence[float] | None = None, most: int = 20, close: float = 1e-2
) -> Fitted:
    """Find the point of the least weighted sum of squares.

    Parameters
    ----------
    problem : FitProblem
        What is fitted.
    start : sequence of float or None
        Where to begin; None for the priors' means.
    most : int
        Iterations at most.
    close : float
        It ends when no step is longer than this share of a prior's spread.
    """
    point = [0.0] * len(problem.spreads) if start is None else [*start]
    residuals = problem.residuals(point)
    damping, iterations = 1e-3, 0
    groups = _information(problem, point, residuals)
    while iterations < most:
        iterations += 1
        total = added(groups, problem)
        here = _cost(problem, point, residuals, residuals)
        while True:
            step = _step(total, point, problem, damping)
            tried = [a + b for a, b in zip(point, step, strict=True)]
            there = problem.residuals(tried)
            if _cost(problem, tried, there, residuals) <= here or damping > 1e6:
                break
            damping *= 8.0
        damping = max(1e-6, damping / 8.0)
        point, residuals = tried, there
        groups = _information(problem, point, residuals)
        moves = (abs(a) / b for a, b in zip(step, problem.spreads, strict=True))
        if max(moves) < close:
            break
    return Fitted(point, residuals, groups, iterations)


def without_group(fitted: Fitted, problem: FitProblem, group: int) -> Vector:
    """The point that the others give, by one step of Gauss and Newton from that of all."""
    rest = [known for number, known in enumerate(fitted.groups) if number != group]
    step = _step(added(rest, problem), fitted.point, problem, 0.0)
    return [a + b for a, b in zip(fitted.point, step, strict=True)]


def added(groups: Sequence[Information], problem: FitProblem) -> Information:
    """What groups tell together, priors left out."""
    size = len(problem.spreads)
    matrix = [[0.0] * size for _ in range(size)]
    gradient = [0.0] * size
    for information, slope in groups:
        for i in range(size):
            row, more = matrix[i], information[i]
            gradient[i] += slope[i]
            for j in range(size):
                row[j] += more[j]
    return Information(matrix, gradient)


def covariance(information: Information, problem: FitProblem) -> Matrix:
    """Covariance of the point by what is known and the priors."""
    size = len(problem.spreads)
    matrix = _with_priors(information.matrix, problem)
    columns = [solve(matrix, [float(i == j) for i in range(size)]) for j in range(size)]
    return [[columns[j][i] for j in range(size)] for i in range(size)]


def cauchy_weight(residual: float) -> float:
    """How much a residual counts, 0–1."""
    ratio = residual / CAUCHY
    return 1.0 / (1.0 + ratio * ratio)


def _cost(
    problem: FitProblem, point: Sequence[float], residuals: Vector, weighted_by: Vector
) -> float:
    # Weights are held within an iteration: reweighted least squares.
    data = sum(cauchy_weight(w) * r * r for r, w in zip(residuals, weighted_by, strict=True))
    prior = sum((p / s) ** 2 for p, s in zip(point, problem.spreads, strict=True))
    return problem.share * data + prior


def _information(problem: FitProblem, point: Vector, residuals: Vector) -> list[Information]:
    size = len(point)
    columns: list[Vector] = []
    for i, step in enumerate(problem.steps):
        beside = [*point]
        beside[i] += step
        there = problem.residuals(beside)
        columns.append([(b - a) / step for a, b in zip(residuals, there, strict=True)])
    count = max(problem.groups, default=-1) + 1
    groups = [Information([[0.0] * size for _ in range(size)], [0.0] * size) for _ in range(count)]
    members: list[list[int]] = [[] for _ in range(count)]
    for number, group in enumerate(problem.groups):
        members[group].append(number)
    weights = [problem.share * cauchy_weight(residual) for residual in residuals]
    for (matrix, gradient), numbers in zip(groups, members, strict=True):
        for i in range(size):
            column = columns[i]
            weighted = [weights[n] * column[n] for n in numbers]
            gradient[i] = sum(w * residuals[n] for w, n in zip(weighted, numbers, strict=True))
            for j in range(i + 1):
                other = columns[j]
                value = sum(w * other[n] for w, n in zip(weighted, numbers, strict=True))
                matrix[i][j] = matrix[j][i] = value
    return groups


def _with_priors(matrix: Matrix, problem: FitProblem) -> Matrix:
    whole = [[*row] for row in matrix]
    for i, spread in enumerate(problem.spreads):
        whole[i][i] += 1.0 / (spread * spread)
    return whole


def _step(
    information: Information, point: Sequence[float], problem: FitProblem, damping: float
) -> Vector:
    matrix = _with_priors(information.matrix, problem)
    right = [
        -slope - p / (spread * spread)
        for slope, p, spread in zip(information.gradient, point, problem.spreads, strict=True)
    ]
    for i, row in enumerate(matrix):
        row[i] *= 1.0 + damping
    return solve(matrix, right)


def solve(matrix: Matrix, right: Vector) -> Vector:
    """Solve a symmetric, positive definite system by Cholesky's factors.

    Raises
    ------
    ValueError
        The matrix is not positive definite.
    """
    size = len(right)
    lower = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1):
            rest = matrix[i][j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            if i == j:
                if not rest > 0.0:
                    raise ValueError("the matrix is not positive definite")
                lower[i][i] = rest**0.5
            else:
                lower[i][j] = rest / lower[j][j]
    half = [0.0] * size
    for i in range(size):
        half[i] = (right[i] - sum(lower[i][k] * half[k] for k in range(i))) / lower[i][i]
    solution = [0.0] * size
    for i in reversed(range(size)):
        rest = half[i] - sum(lower[k][i] * solution[k] for k in range(i + 1, size))
        solution[i] = rest / lower[i][i]
    return solution
