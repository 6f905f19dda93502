"""The exponential of a small matrix in plain Python: what an exact step of a linear system needs.

The matrices here have a dozen rows and are worked out once per fan flow, so the standard library
does; the daemon that runs on a simulated rig then needs no numpy either.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import frexp
from operator import add, mul

Matrix = Sequence[Sequence[float]]

# Taylor's series of a matrix of norm 1/2 ends below 1e-17 after so many terms.
_TERMS = 14


def exponential(a: Matrix) -> Matrix:
    """Give exp(a) by scaling and squaring.

    Parameters
    ----------
    a : sequence of sequence of float
        A square matrix, shape (n, n); the lower its norm, the less work.

    Returns
    -------
    sequence of sequence of float
        exp(a), shape (n, n).

    References
    ----------
    Moler & Van Loan, "Nineteen dubious ways to compute the exponential of a matrix, twenty-five
    years later", SIAM Review 45(1), 2003, method 3.
    """
    n = len(a)
    norm = max(sum(abs(x) for x in row) for row in a)
    squarings = max(0, frexp(norm)[1] + 1)
    scale = 0.5**squarings
    # A row without rates belongs to what comes from outside and stays as it is: a row of zeros
    # in every power, one of the identity in every exponential.
    moving = [any(row) for row in a]
    scaled = [[x * scale for x in row] for row in a]
    result = [[1.0 if i == j else 0.0 for j in range(n)] for i in range(n)]
    term: Matrix = scaled
    for k in range(1, _TERMS + 1):
        if k > 1:
            term = [[x / k for x in row] for row in _product(term, scaled, moving)]
        for row, more in zip(result, term, strict=True):
            row[:] = map(add, row, more)
    for _ in range(squarings):
        result = _product(result, result, moving)
    return result


def power(a: Matrix, times: int) -> Matrix:
    """Give the product of a square matrix, shape (n, n), with itself, of so many factors, ≥ 1."""
    result = a
    for _ in range(times - 1):
        result = _product(result, a, [True] * len(a))
    return result


def _product(a: Matrix, b: Matrix, moving: Sequence[bool]) -> list[list[float]]:
    """The product of two square matrices; rows of the first that do not move stay as they are."""
    columns = list(zip(*b, strict=True))
    return [
        [sum(map(mul, row, column)) for column in columns] if moves else list(row)
        for row, moves in zip(a, moving, strict=True)
    ]
