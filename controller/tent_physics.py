"""What a tent is made of, as the tent model needs it: worked out of the settings once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from controller import air, envelope, plants
from controller.air.constants import (
    DRY_AIR_J_PER_KG_K,
    GAS_J_PER_MOL_K,
    VAPOUR_J_PER_KG_K,
    ZERO_CELSIUS_K,
)
from controller.sizing.plan import INFILTRATION_PER_H, Plan

if TYPE_CHECKING:
    from controller.config import Settings

CONTENTS_W_PER_K_M2 = 12.0
"""Heat that pots, soil and frame exchange with the air, per floor area [W/(m² K)], nothing to twice
as much (engineering judgement, no source)."""

LAMP_TO_CONTENTS = 0.2
"""Share of the lamp's heat that lands on the contents and comes back hours later, nothing to twice
as much (engineering judgement, no source)."""

# Engineering judgement, no source, each to within a factor of two: see the fields they fill.
_AIR_J_K_PER_WALL_M2 = 1000.0  # fabric 0.4 kg/m², poles, leaves
_LAMP_J_K = 2500.0  # some kilograms of aluminium
_POTS_J_K_PER_FLOOR_M2 = 110_000.0  # 25 kg of wet soil
_LAMP_STORED = 0.04  # from memory: the share of the light that ends up as sugar
_CONVECTION_W_M2_K = 3.0  # inside film without its radiant part
_FILM_KG_M2 = 0.08  # what clings to a steep wall before it runs off
_ABOUT_C, _ABOUT_PCT = 25.0, 50.0  # the state the density of the air is taken at
_ABOUT_K = _ABOUT_C + ZERO_CELSIUS_K


def _no_exchange(lamp_on: bool, co2_ppm: float) -> float:
    """Leaves that do nothing: an empty tent."""
    return 0.0


def _no_leaf(lamp_on: bool, air_c: float, vpd_pa: float) -> plants.LeafState:
    return plants.LeafState(air_c, 0.0, vpd_pa)


def fabric_film_kg_s(wall_m2: float) -> float:
    """Water to fabric for each kg/kg that the air is above saturation at its temperature [kg/s].

    Lewis' relation: vapour moves to a surface as heat does, per heat capacity of air.
    """
    return wall_m2 * _CONVECTION_W_M2_K / DRY_AIR_J_PER_KG_K


def fabric_film_limit_kg(wall_m2: float) -> float:
    """What clings to fabric before it runs off [kg]."""
    return _FILM_KG_M2 * wall_m2


class TentPhysics(NamedTuple):
    """The parameters of a tent.

    Attributes
    ----------
    volume_m3 : float
        Volume of its air [m³].
    wall_w_per_k : float
        UA of walls and roof, from the air inside to the room [W/K].
    walls_k : float
        By how much what surrounds the fabric is warmer than the room's air [K]: a warm or a cold
        wall behind it.
    fabric_inside_share : float
        Where the fabric lies between room (0) and tent (1): the share of the whole thermal
        resistance that is outside it; also the share of condensation heat that returns inside.
    film_kg_s : float
        Water that condenses per unit of humidity ratio above saturation at the fabric [kg/s].
    film_limit_kg : float
        What clings to the fabric before it runs off [kg].
    air_capacity_j_k, contents_capacity_j_k : float
        Heat capacity of what follows the air within minutes, and of what doesn't [J/K].
    contents_w_per_k : float
        Between the two [W/K].
    lamp_heat_w : float
        Heat of the lit lamp, less what plants store [W].
    lamp_contents_share : float
        The part of it that lands on the contents, 0–1.
    infiltration_m3_s : float
        Leakage beside the fan's flow [m³/s].
    pressure_pa : float
        Of the air [Pa].
    density_kg_m3, heat_capacity_j_m3_k : float
        Dry air per volume, and its heat capacity [kg/m³, J/(m³ K)].
    leaf_area_m2 : float
        One-sided leaf area [m²].
    leaf : callable
        State of the leaves by (lamp on?, air [°C], VPD of the air [Pa]).
    co2_uptake : callable
        Of the leaves, net, by (lamp on?, CO2 [ppm]) [µmol m⁻² s⁻¹].
    """

    volume_m3: float
    wall_w_per_k: float
    air_capacity_j_k: float
    contents_capacity_j_k: float = 70_000.0
    contents_w_per_k: float = 0.0
    fabric_inside_share: float = 0.5
    film_kg_s: float = 0.0
    film_limit_kg: float = 0.5
    lamp_heat_w: float = 0.0
    lamp_contents_share: float = 0.0
    infiltration_m3_s: float = 0.0
    walls_k: float = 0.0
    pressure_pa: float = air.STANDARD_PRESSURE_PA
    density_kg_m3: float = 1.199
    heat_capacity_j_m3_k: float = 1206.0
    leaf_area_m2: float = 0.0
    leaf: Callable[[bool, float, float], plants.LeafState] = _no_leaf
    co2_uptake: Callable[[bool, float], float] = _no_exchange

    def transpiration_kg_s(self, lamp_on: bool, air_c: float, vpd_pa: float) -> float:
        """Water the plants give off into air of a temperature and a VPD [kg/s]."""
        return self.leaf_area_m2 * self.leaf(lamp_on, air_c, vpd_pa).transpiration_kg_per_m2_s

    def co2_ppm_s(self, lamp_on: bool, co2_ppm: float) -> float:
        """How fast the leaves lower the tent's concentration, net; negative in the dark [ppm/s]."""
        air_mol = self.pressure_pa * self.volume_m3 / (GAS_J_PER_MOL_K * _ABOUT_K)
        return self.leaf_area_m2 * self.co2_uptake(lamp_on, co2_ppm) / air_mol

    @classmethod
    def from_settings(cls, settings: Settings) -> TentPhysics:
        """Work the parameters out of a config; what it leaves open is engineering judgement."""
        tent = settings.tent
        pressure = air.pressure_at_elevation_pa(tent.elevation_m)
        ratio = air.humidity_ratio(_ABOUT_C, _ABOUT_PCT, pressure)
        density = 1.0 / air.specific_volume_m3_per_kg(_ABOUT_C, ratio, pressure)
        size = (tent.width_m, tent.depth_m, tent.height_m)
        walls = envelope.wall_area_m2(*size)
        floor = tent.width_m * tent.depth_m
        heat_capacity = density * (DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * ratio)
        plan = Plan.from_settings(settings)
        traits, ppfd = plan.traits, plan.leaf_ppfd("best")
        return cls(
            volume_m3=tent.volume_m3,
            wall_w_per_k=envelope.wall_ua_w_per_k(*size),
            air_capacity_j_k=heat_capacity * tent.volume_m3
            + _AIR_J_K_PER_WALL_M2 * walls
            + _LAMP_J_K,
            contents_capacity_j_k=_POTS_J_K_PER_FLOOR_M2 * floor,
            contents_w_per_k=CONTENTS_W_PER_K_M2 * floor,
            film_kg_s=fabric_film_kg_s(walls),
            film_limit_kg=fabric_film_limit_kg(walls),
            lamp_heat_w=settings.lamp.power_w * (1.0 - _LAMP_STORED),
            lamp_contents_share=LAMP_TO_CONTENTS,
            infiltration_m3_s=INFILTRATION_PER_H.best * tent.volume_m3 / 3600.0,
            pressure_pa=pressure,
            density_kg_m3=density,
            heat_capacity_j_m3_k=heat_capacity,
            leaf_area_m2=plan.leaves_m2.best,
            leaf=lambda lit, air_c, vpd_pa: plants.leaf_balance(
                traits, ppfd if lit else 0.0, air_c, vpd_pa, pressure
            ),
            co2_uptake=lambda lit, ppm: plants.co2_uptake_umol_per_m2_s(
                traits, ppfd if lit else 0.0, ppm
            ),
        )
