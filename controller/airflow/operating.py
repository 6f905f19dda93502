"""Where fan and system agree: the operating point, its power and its heat."""

from __future__ import annotations

from typing import NamedTuple, Protocol

from controller.airflow.fans import FanCurve
from controller.airflow.friction import STANDARD_DENSITY_KG_PER_M3
from controller.airflow.roots import falling_root

FAN_EFFICIENCY = 0.25
"""Best overall efficiency, wire to air, assumed of a small in-line fan whose power is unknown
(from memory; what is sold runs from 0.15 to 0.40)."""

FAN_EFFICIENCY_RANGE = (0.15, 0.40)


class Resistance(Protocol):
    """Anything that takes pressure to move air through."""

    def pressure_drop_pa(self, flow_m3_s: float, density_kg_per_m3: float = ...) -> float:
        """Pressure [Pa] a flow [m³/s] takes."""


class OperatingPoint(NamedTuple):
    """What a fan delivers through a system.

    Attributes
    ----------
    speed : float
        Share of full rotational speed [-].
    flow_m3_s : float
        Delivered flow [m³/s].
    pressure_pa : float
        Static pressure at the fan [Pa].
    power_w : float
        Electrical power [W]; all of it becomes heat, most of it in the air that passes the fan.
    """

    speed: float
    flow_m3_s: float
    pressure_pa: float
    power_w: float


def operating_point(
    curve: FanCurve,
    system: Resistance,
    speed: float = 1.0,
    density: float = STANDARD_DENSITY_KG_PER_M3,
    rated_power_w: float | None = None,
) -> OperatingPoint:
    """Point at which the fan's pressure equals the system's.

    The fan's pressure never rises with the flow and the system's always does, so there is one
    such point.

    Parameters
    ----------
    curve : FanCurve
        The fan at full speed.
    system : System
        What it must overcome.
    speed : float
        Share of full rotational speed [-], 0 to 1.
    density : float
        Density of the air [kg/m³].
    rated_power_w : float or None
        Electrical power at full speed and standard density [W]; estimated when unknown.

    Returns
    -------
    OperatingPoint
        All zero at standstill.
    """
    if not 0.0 <= speed <= 1.0:
        raise ValueError(f"speed must be 0 to 1, got {speed!r}")
    if speed < 1e-6:
        return OperatingPoint(speed, 0.0, 0.0, 0.0)

    def surplus_pa(flow_m3_s: float) -> float:
        fan = curve.pressure_pa(flow_m3_s, speed, density)
        return fan - system.pressure_drop_pa(flow_m3_s, density)

    flow = falling_root(surplus_pa, 0.0, curve.free_flow_m3_s * speed)
    pressure = system.pressure_drop_pa(flow, density)
    power = electrical_power_w(curve, speed, density, rated_power_w)
    return OperatingPoint(speed, flow, pressure, power)


def electrical_power_w(
    curve: FanCurve,
    speed: float,
    density: float = STANDARD_DENSITY_KG_PER_M3,
    rated_power_w: float | None = None,
    efficiency: float = FAN_EFFICIENCY,
) -> float:
    """Electrical power at a speed by the fan laws, P ∝ ρ N³ [W].

    Power also changes a little along the curve; one figure from the data sheet does not say how,
    so it is held. An unknown rating is taken as the fan's greatest air power over `efficiency`.

    Parameters
    ----------
    curve : FanCurve
        The fan at full speed.
    speed : float
        Share of full speed [-].
    density : float
        Density of the air [kg/m³].
    rated_power_w : float or None
        Power at full speed [W].
    efficiency : float
        Overall efficiency assumed when the rating is unknown [-].
    """
    full = curve.greatest_air_power_w / efficiency if rated_power_w is None else rated_power_w
    return full * speed**3 * density / curve.density_kg_per_m3
