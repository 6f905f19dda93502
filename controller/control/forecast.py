"""What half an hour at a fan speed brings a tent: its balances in one implicit step. Pure.

The heat and water balance is that of the simulated tent (`simulators.tent`): in half an hour the
air, with a time constant of minutes, all but settles, and pots and soil hardly begin to. What lamp,
leaves, walls and intake air do to a tent is known better than the difference between two sensors
that are each half a kelvin off; and where it stands now matters little to where it goes.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.air.constants import LATENT_J_PER_KG

if TYPE_CHECKING:
    from controller.control.thresholds import Limits
    from controller.leaf_table import LeafTable

AHEAD_S = 1800.0
"""How far ahead the tent is carried [s]; foresight beyond it buys nothing."""


class TentBalance(NamedTuple):
    """A tent as the law carries it on.

    Attributes
    ----------
    air_j_k, contents_j_k : float
        Heat capacity of what follows the air within minutes, and of pots and soil [J/K].
    contents_w_per_k, wall_w_per_k : float
        Between air and contents; between air and room [W/K].
    dry_air_kg : float
        Dry air in the tent [kg].
    density_kg_m3, heat_capacity_j_m3_k : float
        Dry air per volume, and its heat capacity [kg/m³, J/(m³ K)].
    leakage_m3_s : float
        Air that comes in beside the fan's [m³/s].
    lamp_w, lamp_on_contents_w : float
        Heat of the lit lamp, less what plants store; what of it lands on pots and soil [W].
    pressure_pa : float
        Of the air [Pa].
    transpiration_kg_s : tuple of two LeafTable
        Water that all the plants give off, in the dark and in the light [kg/s].
    """

    air_j_k: float
    contents_j_k: float
    contents_w_per_k: float
    wall_w_per_k: float
    dry_air_kg: float
    density_kg_m3: float
    heat_capacity_j_m3_k: float
    leakage_m3_s: float
    lamp_w: float
    lamp_on_contents_w: float
    pressure_pa: float
    transpiration_kg_s: tuple[LeafTable, LeafTable]

    def settled_contents_c(self, lit: bool, air_c: float) -> float:
        """Where pots and soil settle in air of a temperature [°C]: in the light warmer than it."""
        return air_c + (self.lamp_on_contents_w / self.contents_w_per_k if lit else 0.0)

    def contents_after_c(self, contents_c: float, lit: bool, air_c: float, for_s: float) -> float:
        """Carry the temperature of pots and soil on through air of a temperature [°C]."""
        settled_c = self.settled_contents_c(lit, air_c)
        kept = math.exp(-for_s * self.contents_w_per_k / self.contents_j_k)
        return settled_c + kept * (contents_c - settled_c)


class Drive(NamedTuple):
    """What the fan does at a speed: speed 0–1, flow [m³/s], power [W], heat it leaves [W]."""

    speed: float
    flow_m3_s: float
    power_w: float
    heat_w: float


class Worth(NamedTuple):
    """What straying is worth: for each kelvin, percent and pascal out of band [W]."""

    w_per_k: float
    w_per_pct: float
    w_per_pa: float


class MoistAir(NamedTuple):
    """Temperature [°C] and humidity ratio [kg/kg]."""

    air_c: float
    ratio: float


class Outlook(NamedTuple):
    """What the air will be: temperature [°C], relative humidity [%], VPD [Pa]."""

    air_c: float
    humidity_pct: float
    vpd_pa: float

    def harm_w(self, limits: Limits, worth: Worth) -> float:
        """What its straying from the bands is worth [W]."""
        air_c, humidity_pct, vpd_pa = self
        hot_c, humid_pct, low_vpd_pa, _, cold_c, dry_pct, high_vpd_pa, _ = limits
        harm = 0.0
        if air_c > hot_c:
            harm += worth.w_per_k * (air_c - hot_c)
        elif air_c < cold_c:
            harm += worth.w_per_k * (cold_c - air_c)
        if humidity_pct > humid_pct:
            harm += worth.w_per_pct * (humidity_pct - humid_pct)
        elif humidity_pct < dry_pct:
            harm += worth.w_per_pct * (dry_pct - humidity_pct)
        if vpd_pa > high_vpd_pa:
            harm += worth.w_per_pa * (vpd_pa - high_vpd_pa)
        elif vpd_pa < low_vpd_pa:
            harm += worth.w_per_pa * (low_vpd_pa - vpd_pa)
        return harm

    def dew_distance_k(self, intake_c: float) -> float:
        """How far the coldest surface will be above the dew point [K]; see `surface_c`."""
        vapour_pa = air.saturation_vapour_pressure_pa(self.air_c) - self.vpd_pa
        if vapour_pa < 10.0:
            return math.inf
        surface_c = 0.5 * (self.air_c + min(self.air_c, intake_c))
        return surface_c - air.dew_point_of_vapour_pressure_c(vapour_pa)


class Leaves(NamedTuple):
    """Transpiration as a plane over temperature and humidity ratio, tangent at a state [kg/s]."""

    at_zero: float
    per_k: float
    per_ratio: float


def leaves_at(model: TentBalance, lit: bool, air_c: float, ratio: float) -> Leaves:
    """Linearise the transpiration about a state of the air.

    Parameters
    ----------
    model : TentBalance
        The tent.
    lit : bool
        Whether the lamp is lit.
    air_c, ratio : float
        The air [°C], [kg/kg].
    """
    saturation_pa = air.saturation_vapour_pressure_pa(air_c)
    vpd_pa = saturation_pa - model.pressure_pa * ratio / (air.MASS_RATIO + ratio)
    value, per_k, per_pa = model.transpiration_kg_s[lit].plane(air_c, vpd_pa)
    # Slope of the saturation curve by Magnus, as for the leaves themselves.
    saturation_per_k = saturation_pa * 4217.5 / (air_c + 240.97) ** 2
    return tangent(
        MoistAir(air_c, ratio), model.pressure_pa, value, per_k, per_pa, saturation_per_k
    )


def tangent(
    state: MoistAir,
    pressure_pa: float,
    value: float,
    per_k: float,
    per_pa: float,
    saturation_per_k: float,
) -> Leaves:
    """Turn slopes by temperature and VPD into those by temperature and humidity ratio.

    Parameters
    ----------
    state : MoistAir
        Where the plane touches.
    pressure_pa : float
        Of the air [Pa].
    value, per_k, per_pa : float
        Transpiration there [kg/s], and its slopes at a constant VPD [kg/(s K)] and at a constant
        temperature [kg/(s Pa)].
    saturation_per_k : float
        Slope of the saturation vapour pressure there [Pa/K].
    """
    air_c, ratio = state
    per_k += per_pa * saturation_per_k
    per_ratio = -per_pa * pressure_pa * air.MASS_RATIO / (air.MASS_RATIO + ratio) ** 2
    return Leaves(value - per_k * air_c - per_ratio * ratio, per_k, per_ratio)


def forecast(
    model: TentBalance,
    leaves: Leaves,
    drive: Drive,
    tent: MoistAir,
    intake: MoistAir,
    lit: bool,
    contents_c: float,
    more_heat_w: float = 0.0,
) -> Outlook:
    """Carry the tent on by half an hour at a speed.

    Parameters
    ----------
    model : TentBalance
        The tent.
    leaves : Leaves
        What they give off about the present state.
    drive : Drive
        The fan at that speed.
    tent, intake : MoistAir
        The air in the tent, and that drawn in, which the room around it has too.
    lit : bool
        Whether the lamp is lit.
    contents_c : float
        Pots and soil [°C]; `TentBalance.settled_contents_c` where nothing else is known.
    more_heat_w : float
        Heat that the model does not know of [W].

    Notes
    -----
    One step of backward Euler on the equations of `simulators.tent.tent`. Two steps of a quarter of
    an hour chose no better (tests/benches/laws.sh), nor do two dozen.
    """
    air_c, ratio = tent
    through_m3_s = drive.flow_m3_s + model.leakage_m3_s
    out_w_k = model.heat_capacity_j_m3_k * through_m3_s + model.wall_w_per_k
    moved_kg_s = model.density_kg_m3 * through_m3_s
    air_w_k, contents_w_k = model.air_j_k / AHEAD_S, model.contents_j_k / AHEAD_S
    coupling = model.contents_w_per_k
    kept = contents_w_k / (contents_w_k + coupling)
    kg_s = model.dry_air_kg / AHEAD_S
    heat_w = drive.heat_w + more_heat_w + out_w_k * intake.air_c + air_w_k * air_c
    heat_w += coupling * kept * contents_c
    if lit:
        heat_w += model.lamp_w - kept * model.lamp_on_contents_w
    # The humidity ratio after the step is a straight line in the temperature after it.
    at_zero, per_k, per_ratio = leaves
    carried_kg_s = kg_s + moved_kg_s - per_ratio
    ratio_at_0 = (kg_s * ratio + moved_kg_s * intake.ratio + at_zero) / carried_kg_s
    ratio_per_k = per_k / carried_kg_s
    air_c = (heat_w - LATENT_J_PER_KG * (at_zero + per_ratio * ratio_at_0)) / (
        air_w_k + out_w_k + coupling * kept + LATENT_J_PER_KG * (per_k + per_ratio * ratio_per_k)
    )
    ratio = ratio_at_0 + ratio_per_k * air_c
    return outlook_of(air_c, ratio, model.pressure_pa)


def outlook_of(air_c: float, ratio: float, pressure_pa: float) -> Outlook:
    """Give humidity and VPD of air at a temperature [°C] and a humidity ratio [kg/kg]."""
    if not -40.0 <= air_c <= 90.0:
        air_c = -40.0 if air_c < -40.0 else 90.0
    saturation_pa = air.saturation_vapour_pressure_pa(air_c)
    vapour_pa = pressure_pa * ratio / (air.MASS_RATIO + ratio)
    if not 0.0 <= vapour_pa <= saturation_pa:
        vapour_pa = 0.0 if vapour_pa < 0.0 else saturation_pa
    return Outlook(air_c, 100.0 * vapour_pa / saturation_pa, saturation_pa - vapour_pa)
