"""Delivered flow by speed setting, from a config: what simulators and sizing read off."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from controller.airflow.friction import STANDARD_DENSITY_KG_PER_M3
from controller.airflow.operating import OperatingPoint
from controller.airflow.rig import Ducting

if TYPE_CHECKING:
    from controller.config import Settings

UNKNOWN_FAN_FILLS_TENT_IN_S = 60.0
"""Free flow assumed of a fan nobody described: the tent's volume once a minute."""


def rig_of(settings: Settings) -> Ducting:
    """The rig of a config; a fan it does not describe is assumed by the tent's size.

    For simulation, which needs some fan. `Ducting.from_settings` keeps the unknown unknown.
    """
    rig = Ducting.from_settings(settings)
    if rig.has_fan:
        return rig
    return replace(rig, free_flow_m3_s=settings.tent.volume_m3 / UNKNOWN_FAN_FILLS_TENT_IN_S)


def delivered_flow_m3_s(
    settings: Settings, speed: float, density: float = STANDARD_DENSITY_KG_PER_M3
) -> float:
    """Flow that the config's fan moves through its duct at a speed (0–1) [m³/s]."""
    return rig_of(settings).point(speed, density).flow_m3_s


def flow_table(
    settings: Settings, steps: int = 100, density: float = STANDARD_DENSITY_KG_PER_M3
) -> tuple[OperatingPoint, ...]:
    """Operating points at `steps` + 1 evenly spaced speeds, from standstill to full speed.

    Parameters
    ----------
    settings : Settings
        The config.
    steps : int
        How many steps from 0 to full speed, ≥ 1.
    density : float
        Density of the air [kg/m³].
    """
    if steps < 1:
        raise ValueError(f"steps must be 1 or more, got {steps!r}")
    rig = rig_of(settings)
    return tuple(rig.point(step / steps, density) for step in range(steps + 1))
