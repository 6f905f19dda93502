"""What leaves do and how warm they are, by temperature and VPD of the air, tabulated.

Within 1e-3 of `controller.plants.leaf_balance` from 5 °C up, within 1.1e-3 from 1 °C, at a
twentieth of the cost; the simulated tent's step reads the cells themselves.
"""

from __future__ import annotations

from collections.abc import Callable

AIR_FROM_C = -60.0
AIR_STEP_K = 1.0
VPD_STEP_PA = 32.0
VPD_CELLS = 1024
VPD_LAST_PA = 20_448.0


class LeafTable(dict[int, tuple[float, float, float, float]]):
    """Something of the leaves by temperature and VPD of the air; a cell is filled when asked for.

    Cell i + `VPD_CELLS` · j is (a, b, c, d) of a + b D + (c + d D) T, which interpolates from VPD D
    [Pa] at i and i + 1 times `VPD_STEP_PA`, and temperature T [°C] at j and j + 1 times
    `AIR_STEP_K` above `AIR_FROM_C`. A year meets a few thousand of them.

    Parameters
    ----------
    value : callable
        What is tabulated, by temperature [°C] and VPD [Pa].
    """

    def __init__(self, value: Callable[[float, float], float]) -> None:
        super().__init__()
        self._value = value
        self._corners: dict[tuple[int, int], float] = {}

    def __missing__(self, cell: int) -> tuple[float, float, float, float]:
        j, i = divmod(cell, VPD_CELLS)
        moist, cold = VPD_STEP_PA * i, AIR_FROM_C + AIR_STEP_K * j
        here, warmer = self._corner(i, j), self._corner(i, j + 1)
        b_cold = (self._corner(i + 1, j) - here) / VPD_STEP_PA
        b_warm = (self._corner(i + 1, j + 1) - warmer) / VPD_STEP_PA
        d = (b_warm - b_cold) / AIR_STEP_K
        b = b_cold - d * cold
        c = (warmer - here) / AIR_STEP_K - d * moist
        a = here - b * moist - (c + d * moist) * cold
        self[cell] = line = (a, b, c, d)
        return line

    def _corner(self, i: int, j: int) -> float:
        known = self._corners.get((i, j))
        if known is None:
            known = self._value(AIR_FROM_C + AIR_STEP_K * j, VPD_STEP_PA * i)
            self._corners[i, j] = known
        return known

    def at(self, air_c: float, vpd_pa: float) -> float:
        """Interpolate; in air above saturation as in saturated air."""
        if not 0.0 <= vpd_pa < VPD_LAST_PA:
            vpd_pa = 0.0 if vpd_pa < 0.0 else VPD_LAST_PA - 1.0
        cell = int((air_c - AIR_FROM_C) / AIR_STEP_K) * VPD_CELLS + int(vpd_pa / VPD_STEP_PA)
        a, b, c, d = self[cell]
        return a + b * vpd_pa + (c + d * vpd_pa) * air_c

    def plane(self, air_c: float, vpd_pa: float) -> tuple[float, float, float]:
        """Give the value, and its slopes by temperature [1/K] and by VPD [1/Pa]."""
        vpd_pa = min(max(vpd_pa, 0.0), VPD_LAST_PA - 1.0)
        cell = int((air_c - AIR_FROM_C) / AIR_STEP_K) * VPD_CELLS + int(vpd_pa / VPD_STEP_PA)
        a, b, c, d = self[cell]
        per_k, per_pa = c + d * vpd_pa, b + d * air_c
        return a + b * vpd_pa + per_k * air_c, per_k, per_pa
