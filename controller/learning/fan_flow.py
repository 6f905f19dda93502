"""What the fan moves at each speed, if at full speed it moves a share of what its config promises.

A share below one is more resistance: a loaded filter, a kinked duct. Resistance costs more at a low
speed than at full speed where part of it grows with the flow itself (Ergun's equation for a bed of
carbon), so one share of the flow for all speeds would be wrong. A share above one is a fan that is
stronger than its sheet says, alike at all speeds.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import TYPE_CHECKING

from controller.airflow import FanCurve, operating_point
from controller.airflow.rig import Ducting
from controller.airflow.system import LoadedSystem

if TYPE_CHECKING:
    from controller.config import Settings

SPEED_STEPS = 200
"""Speeds are told apart to half a percent."""

# Solved at every tenth of these and at these shares; in between, straight lines are close enough
# (tests/learning/test_fan_flow.py).
_SOLVED_EVERY = 10
_SHARES = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


class FanFlow:
    """Flow by speed and by share of the config's flow at full speed.

    Parameters
    ----------
    ducting : Ducting
        Fan, duct and filter of the config.
    density_kg_m3 : float
        Of the air [kg/m³].

    Raises
    ------
    ValueError
        Nothing is known of what the fan moves.
    """

    def __init__(self, ducting: Ducting, density_kg_m3: float) -> None:
        self._curve: FanCurve = ducting.curve()
        self._system = ducting.system()
        self._density = density_kg_m3
        self._solved: dict[tuple[float, int], float] = {}
        self.full_m3_s = self._solve(1.0, 1.0)

    @classmethod
    def from_settings(cls, settings: Settings, density_kg_m3: float) -> FanFlow:
        """Take a config's fan."""
        return cls(Ducting.from_settings(settings), density_kg_m3)

    def resistance(self, share: float) -> float:
        """Times the filter's resistance (all of the run's without one) at a share of the flow."""
        if share >= 1.0:
            return 1.0
        flow = share * self.full_m3_s
        surplus = self._curve.pressure_pa(flow, 1.0, self._density)
        surplus -= self._system.pressure_drop_pa(flow, self._density)
        part = LoadedSystem(self._system, 2.0).pressure_drop_pa(flow, self._density)
        part -= self._system.pressure_drop_pa(flow, self._density)
        return 1.0 + surplus / part

    def at(self, speed_step: int, share: float) -> float:
        """Flow at a speed, in `SPEED_STEPS`, and a share [m³/s]."""
        below, part = divmod(speed_step, _SOLVED_EVERY)
        flow = self._at_solved(below, share)
        if part:
            flow += part / _SOLVED_EVERY * (self._at_solved(below + 1, share) - flow)
        return flow

    def _at_solved(self, speed: int, share: float) -> float:
        if share >= 1.0:
            return share * self._known(1.0, speed)
        if share <= _SHARES[0]:
            return share / _SHARES[0] * self._known(_SHARES[0], speed)
        i = bisect_right(_SHARES, share)
        low, high = _SHARES[i - 1], _SHARES[i]
        a, b = self._known(low, speed), self._known(high, speed)
        return a + (share - low) / (high - low) * (b - a)

    def _known(self, share: float, speed: int) -> float:
        key = (share, speed)
        flow = self._solved.get(key)
        if flow is None:
            flow = self._solve(self.resistance(share), speed * _SOLVED_EVERY / SPEED_STEPS)
            self._solved[key] = flow
        return flow

    def _solve(self, factor: float, speed: float) -> float:
        if not math.isfinite(factor):
            raise ValueError("nothing resists the air in this rig")
        loaded = LoadedSystem(self._system, factor)
        return operating_point(self._curve, loaded, speed, self._density).flow_m3_s
