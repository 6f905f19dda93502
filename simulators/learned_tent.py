"""The simulated tent of a config with the figures that were learned from its record."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from controller.control.plausibility import Role
from controller.learning.flow import FanFlow
from controller.learning.model import REFERENCE_C, REFERENCE_VPD_PA
from controller.plants import LeafState
from controller.tent_physics import TentPhysics
from simulators.fan import Fan
from simulators.rehearsal.recorded_errors import RecordedErrors, corrections
from simulators.rehearsal.scene import Scene, scene_in

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.learning.parameters import TentParameters
    from simulators.intake import IntakeAir


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


def learned_scene(
    settings: Settings, fitted: TentParameters, intake: IntakeAir, notes: tuple[str, ...] = ()
) -> Scene:
    """The tent as learned, in given air."""
    physics = learned_physics(settings, fitted)
    return scene_in(settings, physics, intake, notes, learned_fan(settings, fitted))


def learned_errors(settings: Settings, fitted: TentParameters) -> RecordedErrors:
    """Sensors without noise that disagree by what was learned."""
    offsets: dict[Role, tuple[float, float]] = {
        "tent": corrections(settings, "tent"),
        "intake": corrections(settings, "intake"),
    }
    return RecordedErrors([0.0], [fitted.difference_k], [fitted.difference_pct], offsets)
