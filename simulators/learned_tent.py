"""The simulated tent of a config with the figures that were learned from its record."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from controller.control.plausibility import Role
from controller.learning.fan_flow import FanFlow
from controller.learning.learned import Learned
from controller.learning.learned_words import period_words
from controller.learning.model import REFERENCE_C, REFERENCE_VPD_PA
from controller.learning.stored import newest_learned
from controller.plants import LeafState
from controller.tent_physics import TentPhysics
from simulators.fan import Fan
from simulators.intake import RoomAir
from simulators.rehearsal.recorded_errors import RecordedErrors, corrections
from simulators.rehearsal.scene import Scene, scene_in
from simulators.room import Room

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from controller.config import Settings
    from controller.learning.parameters import TentParameters
    from controller.record import RecordReader
    from simulators.intake import IntakeAir
    from simulators.weather import Weather


def learned_physics(settings: Settings, fitted: TentParameters) -> TentPhysics:
    """The physics of a config's tent, as learned."""
    physics = TentPhysics.from_settings(settings)
    return physics._replace(
        wall_w_per_k=fitted.wall_w_per_k,
        air_capacity_j_k=fitted.air_j_per_k,
        contents_capacity_j_k=fitted.contents_j_per_k,
        contents_w_per_k=fitted.contents_w_per_k,
        lamp_contents_share=min(1.0, fitted.lamp_to_contents),
        infiltration_m3_s=fitted.leakage_m3_s,
        walls_k=fitted.walls_k,
        leaf=_scaled(physics, fitted),
    )


def _scaled(
    physics: TentPhysics, fitted: TentParameters
) -> Callable[[bool, float, float], LeafState]:
    """Leaves that give off what leaves and soil give off together."""
    leaf = physics.leaf
    lit_times, dark_times = fitted.transpiration_lit, fitted.transpiration_dark
    reference = leaf(True, REFERENCE_C, REFERENCE_VPD_PA).transpiration_kg_per_m2_s
    steady = fitted.evaporation_lit * reference

    def scaled(lit: bool, air_c: float, vpd_pa: float) -> LeafState:
        state = leaf(lit, air_c, vpd_pa)
        water = state.transpiration_kg_per_m2_s * (lit_times if lit else dark_times)
        more = steady if lit else 0.0
        return state._replace(transpiration_kg_per_m2_s=max(0.0, water + more))

    return scaled


def learned_fan(settings: Settings, fitted: TentParameters) -> Fan:
    """The fan of a config with its duct and filter, as learned."""
    density = TentPhysics.from_settings(settings).density_kg_m3
    fan = Fan(settings, density)
    fan.clog(FanFlow.from_settings(settings, density).resistance(fitted.flow_share))
    fan.strengthen(max(1.0, fitted.flow_share))
    return fan


class ModelledTent(NamedTuple):
    """Which model of a tent a simulation goes by.

    Attributes
    ----------
    learned : Learned or None
        What the record told of the tent; None: as configured.
    learned_under : Settings or None
        The config that it was learned under.
    """

    learned: Learned | None = None
    learned_under: Settings | None = None

    def build(self, settings: Settings) -> tuple[TentPhysics, Fan]:
        """Physics and fan for a config that is tried on that tent.

        Another fan in the same tent blows through the duct and filter as learned. Another tent,
        lamp, duct or crop is as configured.
        """
        if not self.holds_for(settings) or self.learned is None:
            physics = TentPhysics.from_settings(settings)
            return physics, Fan(settings, physics.density_kg_m3)
        physics = learned_physics(settings, self.learned.fitted)
        assert self.learned_under is not None
        if _fan_of(settings) == _fan_of(self.learned_under):
            return physics, learned_fan(settings, self.learned.fitted)
        fan = Fan(settings, physics.density_kg_m3)
        fan.clog(self.learned.resistance)
        return physics, fan

    def holds_for(self, settings: Settings) -> bool:
        """Whether what was learned is of this config's tent."""
        return self.learned_under is not None and _tent_of(settings) == _tent_of(self.learned_under)

    def words(self, zone: ZoneInfo) -> str:
        """Such as "the tent as learned from 7 days, 5 to 12 July 2013"."""
        if self.learned is None:
            return "the tent as configured"
        return f"the tent as learned from {period_words(self.learned, zone)}"

    def to_json(self) -> dict[str, object]:
        """Which model it was, and from when."""
        if self.learned is None:
            return {"tent": "configured", "from": None, "to": None}
        figures = self.learned.as_json()
        return {"tent": "learned", "from": figures["from"], "to": figures["to"]}


def recorded_model(
    reader: RecordReader, settings: Settings, until_ms: float | None = None
) -> ModelledTent:
    """The tent as its record last told it; as configured where it never did."""
    learned = newest_learned(reader, settings, until_ms)
    return ModelledTent(learned, settings) if learned is not None else ModelledTent()


def _fan_of(settings: Settings) -> tuple[object, ...]:
    fan = settings.fan
    return fan.free_flow_m3_s, fan.max_pressure_pa, fan.curve


def _tent_of(settings: Settings) -> tuple[object, ...]:
    tent = settings.tent
    size = (tent.width_m, tent.depth_m, tent.height_m, tent.elevation_m)
    return size, settings.lamp.power_w, settings.duct, settings.crop


def learned_scene(
    settings: Settings, fitted: TentParameters, intake: IntakeAir, notes: tuple[str, ...] = ()
) -> Scene:
    """The tent as learned, in given air."""
    physics = learned_physics(settings, fitted)
    return scene_in(settings, physics, intake, notes, learned_fan(settings, fitted))


def model_scene(settings: Settings, model: ModelledTent, weather: Weather, start_s: float) -> Scene:
    """Put a model of a config's tent into its room, in weather; see `set_scene`."""
    physics, fan = model.build(settings)
    room = Room(settings.room.kind, weather, start_s, physics.pressure_pa)
    return scene_in(settings, physics, RoomAir(room), weather.notes, fan)


def learned_errors(settings: Settings, fitted: TentParameters) -> RecordedErrors:
    """Sensors without noise that disagree by what was learned."""
    offsets: dict[Role, tuple[float, float]] = {
        "tent": corrections(settings, "tent"),
        "intake": corrections(settings, "intake"),
    }
    return RecordedErrors([0.0], [fitted.difference_k], [fitted.difference_pct], offsets)
