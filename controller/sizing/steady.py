"""Where the air of a tent settles: heat, moisture and CO2 in balance at a flow. Pure, SI."""

from __future__ import annotations

from typing import NamedTuple

from controller import air
from controller.air.constants import DRY_AIR_J_PER_KG_K, LATENT_J_PER_KG, VAPOUR_J_PER_KG_K
from controller.airflow.roots import falling_root
from controller.plants import (
    BOUNDARY_CONDUCTANCE,
    CropTraits,
    LeafState,
    co2_uptake_umol_per_m2_s,
    leaf_balance,
)
from controller.sizing.needs import (
    molar_density_mol_per_m3,
)

HOTTEST_C = 70.0
_COLDEST_C = -55.0
_DEEPEST_FALL_K = 40.0


class Conditions(NamedTuple):
    """What acts on the air of a tent.

    Attributes
    ----------
    heat_w : float
        Heat set free in the tent [W].
    flow_m3_s : float
        Air drawn through it, measured at its own state [m³/s], > 0.
    wall_ua_w_per_k : float
        Heat through walls and roof [W/K].
    intake_c, intake_humidity_pct, intake_co2_ppm : float
        The intake air, which is that of the room [°C], [%], [ppm].
    leaf_area_m2 : float
        One-sided leaf area [m²].
    leaf_ppfd : float
        Light on the average leaf [µmol m⁻² s⁻¹].
    traits : CropTraits
        The crop.
    pressure_pa : float
        Atmospheric pressure [Pa].
    boundary_conductance : float
        Of the leaves' boundary layers to vapour [mol m⁻² s⁻¹].
    """

    heat_w: float
    flow_m3_s: float
    wall_ua_w_per_k: float
    intake_c: float
    intake_humidity_pct: float
    intake_co2_ppm: float
    leaf_area_m2: float
    leaf_ppfd: float
    traits: CropTraits
    pressure_pa: float
    boundary_conductance: float = BOUNDARY_CONDUCTANCE


class SteadyAir(NamedTuple):
    """Air that no longer changes.

    Attributes
    ----------
    temperature_c : float
        Temperature [°C].
    humidity_pct : float
        Relative humidity [%], at most 100.
    vpd_pa : float
        Vapour pressure deficit of the air [Pa].
    co2_ppm : float
        CO2 [ppm].
    humidity_ratio : float
        Vapour for each kilogram of dry air [kg/kg].
    transpiration_kg_s : float
        Water given off by the plants [kg/s].
    condensing : bool
        Whether intake air and leaves bring more vapour than the tent's air can hold.
    leaf_c : float
        Temperature of the leaves [°C].
    leaf_vpd_pa : float
        Vapour pressure deficit from inside the leaves to the air [Pa].
    """

    temperature_c: float
    humidity_pct: float
    vpd_pa: float
    co2_ppm: float
    humidity_ratio: float
    transpiration_kg_s: float
    condensing: bool
    leaf_c: float
    leaf_vpd_pa: float


def settle(conditions: Conditions) -> SteadyAir:
    """Solve the three balances together; hotter than 70 °C is called 70 °C.

    For every temperature there is one humidity at which the plants give off just what the air
    carries away, since transpiration falls as the air gets moister; and one temperature at which
    lamp, evaporation, air and walls balance, since all that takes heat away grows with it. So two
    nested searches find the only solution. CO2 follows: uptake falls with concentration.

    Raises
    ------
    ValueError
        When no air moves, or a quantity is out of the range of the air functions.
    """
    if not 0.0 < conditions.flow_m3_s < 1e3:
        raise ValueError(f"flow must be above 0 m³/s, got {conditions.flow_m3_s!r}")
    intake_ratio = air.humidity_ratio(
        conditions.intake_c, conditions.intake_humidity_pct, conditions.pressure_pa
    )

    def surplus_w(temperature_c: float) -> float:
        ratio, leaf = _moisture(conditions, intake_ratio, temperature_c)
        evaporating = conditions.leaf_area_m2 * leaf.transpiration_kg_per_m2_s
        dry_kg_s = _dry_air_kg_s(conditions, temperature_c, ratio)
        condensed_kg_s = max(0.0, dry_kg_s * (intake_ratio - ratio) + evaporating)
        rise_k = temperature_c - conditions.intake_c
        carried = dry_kg_s * (DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * intake_ratio)
        return (
            conditions.heat_w
            - LATENT_J_PER_KG * (evaporating - condensed_kg_s)
            - (carried + conditions.wall_ua_w_per_k) * rise_k
        )

    low = max(_COLDEST_C, conditions.intake_c - _DEEPEST_FALL_K)
    high = min(HOTTEST_C, conditions.intake_c + _rise_without_air_k(conditions))
    temperature_c = falling_root(surplus_w, low, high, 1e-9)
    ratio, leaf = _moisture(conditions, intake_ratio, temperature_c)
    saturated = air.humidity_ratio(temperature_c, 100.0, conditions.pressure_pa)
    humidity_pct = _humidity_pct(temperature_c, ratio, conditions.pressure_pa)
    return SteadyAir(
        temperature_c,
        humidity_pct,
        air.vpd_pa(temperature_c, humidity_pct),
        _co2_ppm(conditions, temperature_c),
        ratio,
        conditions.leaf_area_m2 * leaf.transpiration_kg_per_m2_s,
        ratio >= saturated,
        leaf.leaf_c,
        leaf.leaf_vpd_pa,
    )


def _rise_without_air_k(conditions: Conditions) -> float:
    """More than the tent can ever rise: all heat through the walls alone."""
    return max(0.0, conditions.heat_w) / max(conditions.wall_ua_w_per_k, 0.1) + 1.0


def _moisture(
    conditions: Conditions, intake_ratio: float, temperature_c: float
) -> tuple[float, LeafState]:
    """Humidity ratio [kg/kg] that balances at a temperature, and the leaves in that air."""
    saturated_pa = air.saturation_vapour_pressure_pa(temperature_c)

    def leaves(ratio: float) -> LeafState:
        vapour_pa = air.vapour_pressure_of_humidity_ratio_pa(ratio, conditions.pressure_pa)
        return leaf_balance(
            conditions.traits,
            conditions.leaf_ppfd,
            temperature_c,
            saturated_pa - vapour_pa,
            conditions.pressure_pa,
            conditions.boundary_conductance,
        )

    def surplus_kg_s(ratio: float) -> float:
        evaporated = conditions.leaf_area_m2 * leaves(ratio).transpiration_kg_per_m2_s
        return evaporated - _dry_air_kg_s(conditions, temperature_c, ratio) * (ratio - intake_ratio)

    saturated = air.humidity_ratio(temperature_c, 100.0, conditions.pressure_pa)
    ratio = saturated
    if intake_ratio < saturated:  # lit leaves give off water even into saturated air
        ratio = falling_root(surplus_kg_s, intake_ratio, saturated, 1e-12)
    return ratio, leaves(ratio)


def _humidity_pct(temperature_c: float, ratio: float, pressure_pa: float) -> float:
    """Relative humidity [%], with the dust of rounding at saturation swept away."""
    vapour = air.vapour_pressure_of_humidity_ratio_pa(ratio, pressure_pa)
    return min(100.0, 100.0 * vapour / air.saturation_vapour_pressure_pa(temperature_c))


def _dry_air_kg_s(conditions: Conditions, temperature_c: float, ratio: float) -> float:
    volume = air.specific_volume_m3_per_kg(temperature_c, ratio, conditions.pressure_pa)
    return conditions.flow_m3_s / volume


def _co2_ppm(conditions: Conditions, temperature_c: float) -> float:
    moved_umol_s_per_ppm = conditions.flow_m3_s * molar_density_mol_per_m3(
        temperature_c, conditions.pressure_pa
    )

    def surplus_umol_s(co2_ppm: float) -> float:
        taken = conditions.leaf_area_m2 * co2_uptake_umol_per_m2_s(
            conditions.traits, conditions.leaf_ppfd, co2_ppm, temperature_c
        )
        return moved_umol_s_per_ppm * (conditions.intake_co2_ppm - co2_ppm) - taken

    # Leaves give off a few µmol m⁻² s⁻¹ at most, whatever the temperature here.
    ceiling = conditions.intake_co2_ppm + 1000.0 * conditions.leaf_area_m2 / moved_umol_s_per_ppm
    return falling_root(surplus_umol_s, 0.0, ceiling, 1e-6)
