"""Saturation pressure by linear interpolation in a table.

Within 3 parts in a million of its equation, at a fifth of the cost; the tent's step reads the lists
themselves. Each line of the table is given by its slope and by its value at 0 °C, wherever it
lies: a multiplication and an addition are all that is left to do.
"""

from __future__ import annotations

from itertools import pairwise

from controller import air
from controller.errors import UserError

FROM_C = -60.0
PER_K = 16.0
TO_C = 150.0
HOTTEST_C = 140.0
"""The hottest that a simulated tent may get [°C]; a step from there stays within the table."""


class TentTooHotError(UserError):
    """A simulated tent gets hotter than anything here holds for."""

    def __init__(self) -> None:
        super().__init__(
            f"the simulated tent gets hotter than {HOTTEST_C:.0f} °C, where no model of a tent "
            "holds and a real one burns: check lamp.power, the measures of the tent and the fan's "
            "speeds"
        )

    def __reduce__(self) -> tuple[type[TentTooHotError], tuple[()]]:
        return TentTooHotError, ()  # an exception out of a worker is made again without arguments


def _table() -> tuple[list[float], list[float]]:
    points = [FROM_C + i / PER_K for i in range(round((TO_C - FROM_C) * PER_K) + 1)]
    values = [air.saturation_vapour_pressure_pa(t_c) for t_c in points]
    slopes = [(b - a) * PER_K for a, b in pairwise(values)]
    at_zero = [
        value - slope * t_c for value, slope, t_c in zip(values[:-1], slopes, points, strict=False)
    ]
    return at_zero, slopes


AT_ZERO, SLOPE = _table()
"""Of the line from each point to the next: where it is at 0 °C [Pa], and its slope [Pa/K]."""


def saturation_pa(t_c: float) -> float:
    """Saturation vapour pressure [Pa] at `FROM_C` to `HOTTEST_C` [°C].

    Raises
    ------
    TentTooHotError
        The air is hotter.
    """
    if t_c > HOTTEST_C:
        raise TentTooHotError
    i = int((t_c - FROM_C) * PER_K)
    return AT_ZERO[i] + t_c * SLOPE[i]


def slope_pa_k(t_c: float) -> float:
    """Slope of the saturation vapour pressure [Pa/K]."""
    return SLOPE[int((t_c - FROM_C) * PER_K)]
