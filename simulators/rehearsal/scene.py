"""What is rehearsed: a tent, its fan and the air around it, at the beginning of the time asked."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.air.constants import OUTDOOR_CO2_PPM
from controller.tent_physics import TentPhysics
from simulators.fan import Fan
from simulators.intake import IntakeAir, RoomAir
from simulators.room import Room
from simulators.tent import Tent

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.weather import Weather


class Scene(NamedTuple):
    """Tent, fan and intake air; the tent begins as warm and humid as the air around it.

    Attributes
    ----------
    tent, fan, intake
        As they are at the start.
    notes : tuple of str
        What was assumed or bridged, in the user's units.
    """

    tent: Tent
    fan: Fan
    intake: IntakeAir
    notes: tuple[str, ...]


def set_scene(settings: Settings, weather: Weather, start_s: float) -> Scene:
    """Put a config's tent into its room, in weather that covers the time to be rehearsed."""
    physics = TentPhysics.from_settings(settings)
    room = Room(settings.room.kind, weather, start_s, physics.pressure_pa)
    return scene_in(settings, physics, RoomAir(room), weather.notes)


def scene_in(
    settings: Settings,
    physics: TentPhysics,
    intake: IntakeAir,
    notes: tuple[str, ...],
    fan: Fan | None = None,
) -> Scene:
    """Put a config's tent into given air; its fan may be one of an earlier scene."""
    if fan is None:
        fan = Fan(settings, physics.density_kg_m3)
    tent = Tent(physics, intake.air_c, intake.ratio, OUTDOOR_CO2_PPM)
    return Scene(tent, fan, intake, (*notes, *fan.notes))
