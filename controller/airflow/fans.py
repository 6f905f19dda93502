"""A fan's curve of pressure against flow, and the fan laws."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from controller.airflow.friction import STANDARD_DENSITY_KG_PER_M3

TWO_POINT_EXPONENT = 2.0
"""Shape assumed between free flow and greatest pressure: a parabola."""

TWO_POINT_EXPONENT_RANGE = (1.0, 3.0)
"""Straight line to a fuller curve: what two points leave open (engineering judgement)."""

MAX_POINTS = 200


@dataclass(frozen=True, slots=True)
class FanCurve:
    """Static pressure a fan holds against a flow, at full speed and a reference density.

    Build one with `from_points` or `from_two_points`. The pressure never rises with the flow, so a
    system has exactly one operating point on it.

    Attributes
    ----------
    points : tuple of (float, float)
        (flow [m³/s], static pressure [Pa]), by rising flow.
    density_kg_per_m3 : float
        Air density the curve holds at [kg/m³].
    exponent : float or None
        n of p = p_max (1 − (Q/Q_free)^n) where only the two ends are known; None: the points rule.
    """

    points: tuple[tuple[float, float], ...]
    density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3
    exponent: float | None = None
    _slopes: tuple[float, ...] = ()

    @classmethod
    def from_two_points(
        cls,
        free_flow_m3_s: float,
        max_pressure_pa: float,
        exponent: float = TWO_POINT_EXPONENT,
        density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3,
    ) -> FanCurve:
        """Curve p = p_max (1 − (Q/Q_free)^n) from the two figures every data sheet gives.

        Two points say nothing of what lies between; a parabola (n = 2) is usual for small fans,
        n = 1 to 3 spans what is sold (engineering judgement, no source).

        Parameters
        ----------
        free_flow_m3_s : float
            Flow with nothing attached [m³/s], > 0.
        max_pressure_pa : float
            Static pressure at no flow [Pa], > 0.
        exponent : float
            n [-], 0.5 to 6.
        density_kg_per_m3 : float
            Density the figures hold at [kg/m³].

        Raises
        ------
        ValueError
            Naming the figure that is out of range.
        """
        _require_positive("free flow", free_flow_m3_s, "m³/s")
        _require_positive("greatest static pressure", max_pressure_pa, "Pa")
        _require_positive("density", density_kg_per_m3, "kg/m³")
        if not 0.5 <= exponent <= 6.0:
            raise ValueError(f"shape exponent must be 0.5 to 6, got {exponent!r}")
        ends = ((0.0, float(max_pressure_pa)), (float(free_flow_m3_s), 0.0))
        return cls(ends, density_kg_per_m3, exponent)

    @classmethod
    def from_points(
        cls,
        points: Iterable[tuple[float, float]],
        density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3,
    ) -> FanCurve:
        """Curve through points read off a data sheet, joined without overshoot.

        Below the first flow the pressure is held level, beyond the last it falls on along the last
        two points to nothing; so give the ends if the sheet shows them.

        Parameters
        ----------
        points : iterable of (float, float)
            (flow [m³/s], static pressure [Pa]), at least two, in any order.
        density_kg_per_m3 : float
            Density the sheet holds at [kg/m³].

        Raises
        ------
        ValueError
            Too few points, a flow given twice, a negative or non-finite figure, or a pressure that
            rises with the flow: leave the hump of a stalling fan out, and work to its right.

        References
        ----------
        Fritsch, F. N. & Carlson, R. E. (1980), SIAM J. Numer. Anal. 17:238 (monotone cubics), with
        the harmonic slopes of Fritsch & Butland (1984), SIAM J. Sci. Stat. Comput. 5:300.
        """
        _require_positive("density", density_kg_per_m3, "kg/m³")
        ordered = tuple(sorted((float(flow), float(pressure)) for flow, pressure in points))
        _check_points(ordered)
        return cls(ordered, density_kg_per_m3, None, _monotone_slopes(ordered))

    @property
    def free_flow_m3_s(self) -> float:
        """Flow at no static pressure [m³/s], at full speed."""
        flow, pressure = self.points[-1]
        if pressure == 0.0:
            return flow
        before_flow, before_pressure = self.points[-2]
        return flow + pressure * (flow - before_flow) / (before_pressure - pressure)

    @property
    def max_pressure_pa(self) -> float:
        """Static pressure at no flow [Pa], at full speed."""
        return self.points[0][1]

    @property
    def greatest_air_power_w(self) -> float:
        """The most power the fan can give to the air [W]: the largest flow × pressure."""
        flows = (self.free_flow_m3_s * step / 200.0 for step in range(201))
        return max(flow * self.pressure_pa(flow) for flow in flows)

    def pressure_pa(
        self,
        flow_m3_s: float,
        speed: float = 1.0,
        density_kg_per_m3: float | None = None,
    ) -> float:
        """Static pressure [Pa] at a flow, a speed and a density, by the fan laws.

        Parameters
        ----------
        flow_m3_s : float
            Flow [m³/s], ≥ 0; beyond the free flow the pressure is 0.
        speed : float
            Share of full rotational speed [-], 0 to 1.
        density_kg_per_m3 : float or None
            Density of the air at the fan [kg/m³]; default the curve's own.

        References
        ----------
        Fan laws: Q ∝ N, p ∝ ρ N², P ∝ ρ N³ (AMCA 201; ASHRAE Handbook HVAC Systems and
        Equipment, Fans).
        """
        if not 0.0 <= flow_m3_s < math.inf:
            raise ValueError(f"flow must be 0 m³/s or more, got {flow_m3_s!r}")
        if not 0.0 <= speed <= 1.0:
            raise ValueError(f"speed must be 0 to 1, got {speed!r}")
        density = self.density_kg_per_m3 if density_kg_per_m3 is None else density_kg_per_m3
        _require_positive("density", density, "kg/m³")
        if speed * speed == 0.0:
            return 0.0
        at_full_speed = self._full_speed_pressure_pa(flow_m3_s / speed)
        return at_full_speed * speed * speed * (density / self.density_kg_per_m3)

    def _full_speed_pressure_pa(self, flow_m3_s: float) -> float:
        if self.exponent is not None:
            ratio = min(1.0, flow_m3_s / self.points[-1][0])
            return float(self.points[0][1] * (1.0 - ratio**self.exponent))
        points = self.points
        if flow_m3_s <= points[0][0]:
            return points[0][1]
        if flow_m3_s >= points[-1][0]:
            (q0, p0), (q1, p1) = points[-2], points[-1]
            return max(0.0, p1 + (flow_m3_s - q1) * (p1 - p0) / (q1 - q0))
        index = next(i for i in range(1, len(points)) if flow_m3_s <= points[i][0]) - 1
        return _hermite(points, self._slopes, index, flow_m3_s)


def at_speed_and_density(
    flow_m3_s: float, pressure_pa: float, power_w: float, speed: float, density_ratio: float = 1.0
) -> tuple[float, float, float]:
    """Flow [m³/s], pressure [Pa] and power [W] after the fan laws' change of speed and density.

    Parameters
    ----------
    flow_m3_s, pressure_pa, power_w : float
        A point of the fan at full speed.
    speed : float
        New speed over old [-], ≥ 0.
    density_ratio : float
        New density over old [-], > 0.
    """
    if not 0.0 <= speed < math.inf:
        raise ValueError(f"speed ratio must be 0 or more, got {speed!r}")
    _require_positive("density ratio", density_ratio, "")
    return (
        flow_m3_s * speed,
        pressure_pa * speed**2 * density_ratio,
        power_w * speed**3 * density_ratio,
    )


def _require_positive(name: str, value: float, unit: str) -> None:
    if not 0.0 < value < math.inf:
        raise ValueError(f"{name} must be above 0 {unit}".rstrip() + f", got {value!r}")


def _check_points(points: tuple[tuple[float, float], ...]) -> None:
    if not 2 <= len(points) <= MAX_POINTS:
        raise ValueError(f"a fan curve needs 2 to {MAX_POINTS} points, got {len(points)}")
    for flow, pressure in points:
        if not (0.0 <= flow < math.inf and 0.0 <= pressure < math.inf):
            raise ValueError(
                f"a fan curve's flows and pressures must be 0 or more, got {flow!r} m³/s at "
                f"{pressure!r} Pa"
            )
    for (flow, pressure), (next_flow, next_pressure) in pairwise(points):
        if next_flow - flow <= 1e-9:
            raise ValueError(f"a fan curve has two points at a flow of {flow!r} m³/s")
        if next_pressure > pressure:
            raise ValueError(
                f"the pressure of a fan curve must not rise with the flow, but it goes from "
                f"{pressure!r} to {next_pressure!r} Pa between {flow!r} and {next_flow!r} m³/s; "
                "leave the points left of the hump out"
            )
    if points[-2][1] - points[-1][1] <= 0.0:
        raise ValueError("a fan curve must fall towards its last point")


def _monotone_slopes(points: tuple[tuple[float, float], ...]) -> tuple[float, ...]:
    """Slopes at the points that keep the cubic pieces between them falling."""
    widths = [b[0] - a[0] for a, b in pairwise(points)]
    secants = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(points)]
    slopes = [secants[0]]
    for i in range(1, len(secants)):
        before, after = secants[i - 1], secants[i]
        if before * after <= 0.0:
            slopes.append(0.0)
            continue
        w1 = 2.0 * widths[i] + widths[i - 1]
        w2 = widths[i] + 2.0 * widths[i - 1]
        slopes.append((w1 + w2) / (w1 / before + w2 / after))
    slopes.append(secants[-1])
    return tuple(slopes)


def _hermite(
    points: tuple[tuple[float, float], ...], slopes: tuple[float, ...], index: int, x: float
) -> float:
    (x0, y0), (x1, y1) = points[index], points[index + 1]
    width = x1 - x0
    t = (x - x0) / width
    value = (
        y0 * (1.0 + 2.0 * t) * (1.0 - t) ** 2
        + slopes[index] * width * t * (1.0 - t) ** 2
        + y1 * t * t * (3.0 - 2.0 * t)
        + slopes[index + 1] * width * t * t * (t - 1.0)
    )
    return min(y0, max(y1, value))
