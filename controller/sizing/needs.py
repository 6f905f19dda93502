"""The flow a tent needs: by the trade's rule, by heat, by moisture, by CO2. Pure, SI."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from controller import air
from controller.air.constants import (
    DRY_AIR_J_PER_KG_K,
    GAS_J_PER_MOL_K,
    VAPOUR_J_PER_KG_K,
    ZERO_CELSIUS_K,
)

NeedName = Literal["air_change", "heat", "moisture", "co2"]


class Needs(NamedTuple):
    """Flow by each balance [m³/s]; infinite where no flow can do it.

    Attributes
    ----------
    air_change, heat, moisture, co2 : float
        By the trade's rule, and by the three balances [m³/s].
    """

    air_change: float
    heat: float
    moisture: float
    co2: float

    def by_name(self) -> dict[NeedName, float]:
        """The four by name."""
        return {
            "air_change": self.air_change,
            "heat": self.heat,
            "moisture": self.moisture,
            "co2": self.co2,
        }

    @property
    def required(self) -> float:
        """The largest [m³/s]."""
        return max(self.by_name().values())

    @property
    def ruled_by(self) -> NeedName:
        """Which one is the largest; the first listed when equal."""
        by_name = self.by_name()
        return max(by_name, key=lambda name: by_name[name])

    @property
    def physical(self) -> float:
        """The largest of the three balances, without the rule of thumb [m³/s]."""
        return max(self.heat, self.moisture, self.co2)


def air_change_flow_m3_s(
    volume_m3: float,
    minutes: float = 3.0,
    bends: float = 0.0,
    carbon_filter: bool = False,
    lamp_power_w: float = 0.0,
) -> float:
    """Flow by the trade's rule [m³/s]: common practice, no source.

    One full air change in `minutes`, and on top of that flow 20 % for each 90° bend, 25 % for a
    carbon filter and 10 % for each 1000 W of lamp.

    Parameters
    ----------
    volume_m3 : float
        Volume of the tent [m³], > 0.
    minutes : float
        Time for a full air change [min], 1 to 5.
    bends : float
        Number of 90° bends.
    carbon_filter : bool
        Whether there is a carbon filter.
    lamp_power_w : float
        Power of the lamp [W].
    """
    if not 1.0 <= minutes <= 5.0:
        raise ValueError(f"time for an air change must be 1 to 5 minutes, got {minutes!r}")
    _check("volume", volume_m3, "m³")
    _check("lamp power", lamp_power_w, "W")
    _check("number of bends", bends, "")
    allowances = 0.20 * bends + (0.25 if carbon_filter else 0.0) + 0.10 * lamp_power_w / 1000.0
    return volume_m3 / (minutes * 60.0) * (1.0 + allowances)


def heat_flow_m3_s(
    heat_w: float, rise_k: float, heat_capacity_j_per_m3_k: float, wall_ua_w_per_k: float = 0.0
) -> float:
    """Flow that carries heat away at a rise over the intake air [m³/s].

    Parameters
    ----------
    heat_w : float
        Heat set free in the tent [W], ≥ 0.
    rise_k : float
        Temperature of the tent over that of intake air and room [K].
    heat_capacity_j_per_m3_k : float
        ρ cp of the air at the fan [J/(m³ K)].
    wall_ua_w_per_k : float
        Heat the walls let through [W/K].

    Returns
    -------
    float
        0 when the walls do it alone, infinite when there is heat and no rise.

    References
    ----------
    q = ρ cp Q ΔT (ASHRAE Handbook Fundamentals: 1.08 Btu/h for each cfm and °F at sea level).
    """
    _check("heat", heat_w, "W")
    _check("wall heat loss", wall_ua_w_per_k, "W/K")
    if not 0.0 < heat_capacity_j_per_m3_k < math.inf:
        raise ValueError(f"heat capacity must be above 0, got {heat_capacity_j_per_m3_k!r}")
    if math.isnan(rise_k):
        raise ValueError("rise must be a number of kelvins, got nan")
    left = heat_w - wall_ua_w_per_k * rise_k
    if rise_k <= 0.0:
        # Walls of a tent cooler than its room bring heat in, and so does the air.
        return math.inf if left > 0.0 else 0.0
    return max(0.0, left / (heat_capacity_j_per_m3_k * rise_k))


def moisture_flow_m3_s(
    vapour_kg_s: float,
    ratio_allowed: float,
    ratio_intake: float,
    specific_volume_m3_per_kg: float,
) -> float:
    """Flow that carries vapour away without exceeding a humidity [m³/s].

    Parameters
    ----------
    vapour_kg_s : float
        Vapour set free [kg/s], ≥ 0.
    ratio_allowed, ratio_intake : float
        Humidity ratio at the limit and of the intake air [kg/kg].
    specific_volume_m3_per_kg : float
        Volume of the tent's air for each kilogram of dry air [m³/kg].

    Returns
    -------
    float
        Infinite when there is vapour and the intake air is no drier than the limit.

    References
    ----------
    Mass balance, E = ṁ (W − W_in) (ASHRAE Handbook Fundamentals: 4840 Btu/h for each cfm and ΔW).
    """
    _check("vapour", vapour_kg_s, "kg/s")
    if vapour_kg_s == 0.0:
        return 0.0
    room = ratio_allowed - ratio_intake
    return vapour_kg_s / room * specific_volume_m3_per_kg if room > 0.0 else math.inf


def co2_flow_m3_s(
    uptake_umol_s: float,
    intake_ppm: float,
    lowest_ppm: float,
    temperature_c: float,
    pressure_pa: float = air.STANDARD_PRESSURE_PA,
) -> float:
    """Flow that brings the CO2 the leaves take up [m³/s].

    Parameters
    ----------
    uptake_umol_s : float
        Net uptake of all leaves at the lowest concentration [µmol/s]; 0 or less needs no air.
    intake_ppm, lowest_ppm : float
        CO2 of the intake air and the lowest wished [ppm].
    temperature_c, pressure_pa : float
        The air at the fan [°C], [Pa].

    Returns
    -------
    float
        Infinite when the intake air has no more than the lowest wished.
    """
    if uptake_umol_s <= 0.0:
        return 0.0
    room = intake_ppm - lowest_ppm
    if room <= 0.0:
        return math.inf
    return uptake_umol_s / (room * molar_density_mol_per_m3(temperature_c, pressure_pa))


def molar_density_mol_per_m3(temperature_c: float, pressure_pa: float) -> float:
    """Moles of air in a cubic metre [mol/m³], by the ideal gas law."""
    return pressure_pa / (GAS_J_PER_MOL_K * (temperature_c + ZERO_CELSIUS_K))


def heat_capacity_j_per_m3_k(temperature_c: float, ratio: float, pressure_pa: float) -> float:
    """ρ cp of moist air for each cubic metre at the fan [J/(m³ K)].

    Parameters
    ----------
    temperature_c : float
        Temperature of the air [°C].
    ratio : float
        Humidity ratio [kg/kg].
    pressure_pa : float
        Atmospheric pressure [Pa]; thin air carries less heat.
    """
    volume = air.specific_volume_m3_per_kg(temperature_c, ratio, pressure_pa)
    return (DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * ratio) / volume


def _check(name: str, value: float, unit: str) -> None:
    if not 0.0 <= value < math.inf:
        raise ValueError(f"{name} must be 0 or more".rstrip() + f" {unit}, got {value!r}")
