"""What a tent is made of, as the tent model needs it: worked out of the settings once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller import air

if TYPE_CHECKING:
    from controller.settings import Settings

LATENT_J_PER_KG = 2.45e6  # FAO-56 eq. 8's value, for 20 °C
DRY_AIR_J_KG_K = 1006.0
MOLAR_MASS_WATER_KG = 0.018015
GAS_J_MOL_K = 8.314462618  # CODATA

# Engineering judgement, no source, each to within a factor of two: see the fields they fill.
_AIR_J_K_PER_WALL_M2 = 1000.0  # fabric 0.4 kg/m², poles, leaves
_LAMP_J_K = 2500.0  # some kilograms of aluminium
_POTS_J_K_PER_FLOOR_M2 = 110_000.0  # 25 kg of wet soil
_POTS_W_K_PER_FLOOR_M2 = 12.0
_INFILTRATION_PER_H = 1.5
_LAMP_TO_CONTENTS = 0.2
_LAMP_STORED = 0.04  # from memory: the share of the light that ends up as sugar
_CONVECTION_W_M2_K = 3.0  # inside film without its radiant part
_RESPIRATION_SHARE = 0.1  # of the uptake at full supply, day and night


@dataclass(frozen=True, slots=True)
class TentPhysics:
    """The parameters of a tent.

    Attributes
    ----------
    volume_m3 : float
        Volume of its air [m³].
    wall_w_per_k : float
        UA of walls and roof, from the air inside to the room [W/K].
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
    fan_heat_w : float
        Heat the running fan leaves in the tent; 0 when it hangs in or behind the outlet [W].
    infiltration_m3_s : float
        Leakage beside the fan's flow [m³/s].
    pressure_pa : float
        Of the air [Pa].
    density_kg_m3, heat_capacity_j_m3_k : float
        Dry air per volume, and its heat capacity [kg/m³, J/(m³ K)].
    transpiration_day_kg_s_pa, transpiration_night_kg_s_pa : float
        κ: transpired water per vapour pressure deficit, lit and dark [kg/(s Pa)].
    co2_uptake_ppm_s, co2_half_ppm, co2_respiration_ppm_s : float
        Uptake of lit plants at full supply, the concentration at which it is half of that, and
        what plants and soil give off; as rates of change of the tent's air [ppm/s, ppm, ppm/s].
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
    fan_heat_w: float = 0.0
    infiltration_m3_s: float = 0.0
    pressure_pa: float = air.STANDARD_PRESSURE_PA
    density_kg_m3: float = 1.199
    heat_capacity_j_m3_k: float = 1206.0
    transpiration_day_kg_s_pa: float = 0.0
    transpiration_night_kg_s_pa: float = 0.0
    co2_uptake_ppm_s: float = 0.0
    co2_half_ppm: float = 300.0
    co2_respiration_ppm_s: float = 0.0

    def transpiration_kg_s_pa(self, lamp_on: bool) -> float:
        """κ with the lamp as it is [kg/(s Pa)]."""
        return self.transpiration_day_kg_s_pa if lamp_on else self.transpiration_night_kg_s_pa
