"""What half an hour at a fan speed brings a tent: its balances in two implicit steps. Pure.

The heat and water balance is that of the simulated tent (`simulators.tent`), in steps of a quarter
of an hour: in one of them the air, with a time constant of minutes, all but settles. What lamp,
leaves, walls and intake air do to a tent is known better than the difference between two sensors
that are each half a kelvin off; and where it stands now matters little to where it goes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from controller import air
from controller.air.constants import LATENT_J_PER_KG
from controller.control.thresholds import Limits

STEP_S = 900.0
STEPS = 2
# Over these the slopes of the transpiration are taken: about what a step moves the air by.
_SLOPE_K = 1.0
_SLOPE_PA = 200.0


class TentModel(NamedTuple):
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
    lamp_w : float
        Heat of the lit lamp, less what plants store [W].
    lamp_contents_share : float
        The part of it that lands on the contents, 0–1.
    pressure_pa : float
        Of the air [Pa].
    transpiration_kg_s : callable
        Water that the plants give off by (lamp lit?, air [°C], VPD of the air [Pa]) [kg/s].
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
    lamp_contents_share: float
    pressure_pa: float
    transpiration_kg_s: Callable[[bool, float, float], float]


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
        hot_c, humid_pct, low_vpd_pa, _, cold_c, dry_pct, high_vpd_pa = limits
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


class Forecast(NamedTuple):
    """What half an hour at a speed brings.

    Attributes
    ----------
    drive : Drive
        The speed, with flow and power.
    outlook : Outlook
        The air at its end.
    harm_w : float
        What straying is worth, mean over the time [W].
    """

    drive: Drive
    outlook: Outlook
    harm_w: float

    @property
    def cost_w(self) -> float:
        """Harm and power together [W]."""
        return self.harm_w + self.drive.power_w


class _Leaves(NamedTuple):
    """Transpiration as a plane over temperature and humidity ratio, tangent at a state."""

    kg_s: float
    per_k: float
    per_ratio: float


def _leaves(model: TentModel, lit: bool, now: MoistAir) -> _Leaves:
    saturation_pa = air.saturation_vapour_pressure_pa(now.air_c)
    warmer_pa = air.saturation_vapour_pressure_pa(now.air_c + _SLOPE_K)
    vapour_pa = air.vapour_pressure_of_humidity_ratio_pa(now.ratio, model.pressure_pa)
    vpd_pa = max(0.0, saturation_pa - vapour_pa)
    water = model.transpiration_kg_s
    here = water(lit, now.air_c, vpd_pa)
    per_pa = (water(lit, now.air_c, vpd_pa + _SLOPE_PA) - here) / _SLOPE_PA
    warmer = (water(lit, now.air_c + _SLOPE_K, vpd_pa) - here) / _SLOPE_K
    vapour_per_ratio = model.pressure_pa * air.MASS_RATIO / (air.MASS_RATIO + now.ratio) ** 2
    per_k = warmer + per_pa * (warmer_pa - saturation_pa) / _SLOPE_K
    return _Leaves(
        here - per_k * now.air_c + per_pa * vapour_per_ratio * now.ratio,
        per_k,
        -per_pa * vapour_per_ratio,
    )


def forecasts(
    model: TentModel,
    drives: Sequence[Drive],
    tent: MoistAir,
    intake: MoistAir,
    lit: bool,
    limits: Limits,
    worth: Worth,
) -> list[Forecast]:
    """Carry the tent on by half an hour at each of some speeds.

    Parameters
    ----------
    model : TentModel
        The tent.
    drives : sequence of Drive
        The speeds.
    tent, intake : MoistAir
        The air in the tent, and that drawn in, which the room around it has too.
    lit : bool
        Whether the lamp is lit.
    limits : Limits
        The bands of the phase.
    worth : Worth
        What straying from them is worth.

    Notes
    -----
    Backward Euler on the equations of `simulators.tent.tent`, transpiration linearised about the
    present state. Pots and soil are taken to be as warm as the air: nobody measures them.
    """
    leaves = _leaves(model, lit, tent)
    return [_forecast(model, leaves, drive, tent, intake, lit, limits, worth) for drive in drives]


def _forecast(
    model: TentModel,
    leaves: _Leaves,
    drive: Drive,
    tent: MoistAir,
    intake: MoistAir,
    lit: bool,
    limits: Limits,
    worth: Worth,
) -> Forecast:
    through_m3_s = drive.flow_m3_s + model.leakage_m3_s
    out_w_k = model.heat_capacity_j_m3_k * through_m3_s + model.wall_w_per_k
    moved_kg_s = model.density_kg_m3 * through_m3_s
    lamp_w = model.lamp_w if lit else 0.0
    onto_contents_w = lamp_w * model.lamp_contents_share
    heat_w = lamp_w - onto_contents_w + drive.heat_w + out_w_k * intake.air_c
    air_w_k, contents_w_k = model.air_j_k / STEP_S, model.contents_j_k / STEP_S
    coupling = model.contents_w_per_k
    contents_share = coupling / (contents_w_k + coupling)
    kg_s = model.dry_air_kg / STEP_S
    kept_kg_s = kg_s + moved_kg_s - leaves.per_ratio
    # Humidity ratio, water given off and contents after a step are straight lines in its air_c.
    ratio_per_k = leaves.per_k / kept_kg_s
    water_per_k = leaves.per_k + leaves.per_ratio * ratio_per_k
    w_per_k = air_w_k + out_w_k + coupling * (1.0 - contents_share) + LATENT_J_PER_KG * water_per_k
    (air_c, ratio), contents_c, harm_w = tent, tent.air_c, 0.0
    for _ in range(STEPS):
        ratio_at_0 = (kg_s * ratio + moved_kg_s * intake.ratio + leaves.kg_s) / kept_kg_s
        water_at_0 = leaves.kg_s + leaves.per_ratio * ratio_at_0
        contents_at_0 = (contents_w_k * contents_c + onto_contents_w) / (contents_w_k + coupling)
        air_c = (
            air_w_k * air_c + heat_w - LATENT_J_PER_KG * water_at_0 + coupling * contents_at_0
        ) / w_per_k
        ratio = max(0.0, ratio_at_0 + ratio_per_k * air_c)
        contents_c = contents_at_0 + contents_share * air_c
        outlook = _outlook(air_c, ratio, model.pressure_pa)
        harm_w += outlook.harm_w(limits, worth)
    return Forecast(drive, outlook, harm_w / STEPS)


def _outlook(air_c: float, ratio: float, pressure_pa: float) -> Outlook:
    saturation_pa = air.saturation_vapour_pressure_pa(min(60.0, max(-40.0, air_c)))
    vapour_pa = min(saturation_pa, pressure_pa * ratio / (air.MASS_RATIO + ratio))
    return Outlook(air_c, 100.0 * vapour_pa / saturation_pa, saturation_pa - vapour_pa)
