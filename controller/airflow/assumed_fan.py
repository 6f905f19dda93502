"""The fan that a simulation assumes where a config describes none."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from controller.airflow.rig import Ducting

if TYPE_CHECKING:
    from controller.config import Settings

UNKNOWN_FAN_FILLS_TENT_IN_S = 60.0
"""Free flow assumed of a fan nobody described: the tent's volume once a minute."""


def rig_with_fan(settings: Settings) -> Ducting:
    """The rig of a config; a fan it does not describe is assumed by the tent's size.

    For simulation, which needs some fan. `Ducting.from_settings` keeps the unknown unknown.
    """
    rig = Ducting.from_settings(settings)
    if rig.has_fan:
        return rig
    return replace(rig, free_flow_m3_s=settings.tent.volume_m3 / UNKNOWN_FAN_FILLS_TENT_IN_S)
