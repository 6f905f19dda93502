"""Water on the fabric of a tent: the step while it condenses or dries, and mist."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import air
from controller.air.constants import LATENT_J_PER_KG
from simulators.tent.saturation_table import saturation_pa, slope_pa_k
from simulators.tent.step import StepRows, linearisation

if TYPE_CHECKING:
    from simulators.tent.tent import Tent


def step_wet(
    tent: Tent, rows: StepRows, room_c: float, intake_c: float, intake_ratio: float
) -> None:
    """Carry a tent on by one step with water going to and from the fabric; see `Tent.step`."""
    p = tent.physics
    wet = rows.wet_rows
    state = (tent.air_c, tent.contents_c, tent.humidity_ratio)
    outside = (rows.heat_w(room_c, intake_c), intake_ratio)
    rest = _rest_kg_s(rows, tent.air_c, tent.humidity_ratio)
    film = p.film_kg_s * _fabric_ratio(rows, tent.air_c, room_c)
    flat = (rest, 0.0, film, 0.0)
    new_c = wet.air.value(state, outside, flat)
    new_ratio = wet.ratio.value(state, outside, flat)
    forcing = (
        rest,
        _rest_kg_s(rows, new_c, new_ratio) - rest,
        film,
        p.film_kg_s * _fabric_ratio(rows, new_c, room_c) - film,
    )
    tent.air_c = wet.air.value(state, outside, forcing)
    tent.contents_c = wet.contents.value(state, outside, forcing)
    tent.humidity_ratio = wet.ratio.value(state, outside, forcing)
    condensed = (
        p.film_kg_s * wet.ratio_integral.value(state, outside, forcing)
        - (film + 0.5 * forcing[3]) * rows.dt_s
    )
    outflow = tent.outflow
    outflow.steps += 1
    outflow.around_w += outside[0]
    outflow.around_ratio += intake_ratio
    outflow.left_over_kg_s += rest + 0.5 * forcing[1]
    outflow.released_j += p.fabric_inside_share * LATENT_J_PER_KG * condensed
    if tent.ledger is not None:
        tent.ledger.enter(rows, True, state, (room_c, intake_c, intake_ratio), forcing)
    tent.film_kg += condensed
    if tent.film_kg < 0.0:  # dried up on the way: give back what wasn't there
        _condense(tent, -tent.film_kg, p.fabric_inside_share)
    if tent.film_kg > p.film_limit_kg:
        tent.drained_kg += tent.film_kg - p.film_limit_kg
        tent.film_kg = p.film_limit_kg
    tent.settle_vapour()
    if tent.vapour_pa > tent.saturation_pa:
        mist(tent)


def mist(tent: Tent) -> None:
    """Take the surplus out of air above saturation; the droplets are added to the film."""
    p = tent.physics
    mass = p.density_kg_m3 * p.volume_m3
    per_ratio_pa = linearisation(p.pressure_pa).per_ratio_pa
    for _ in range(3):
        ratio = _ratio(tent.saturation_pa, p.pressure_pa)
        surplus = mass * (tent.humidity_ratio - ratio)
        by_k = slope_pa_k(tent.air_c) / per_ratio_pa  # of the ratio, near enough
        surplus /= 1.0 + LATENT_J_PER_KG * mass * by_k / p.air_capacity_j_k
        _condense(tent, surplus, 1.0)
        tent.settle_vapour()


def _condense(tent: Tent, kg: float, share: float) -> None:
    """Turn vapour into film; `share` of the heat stays inside."""
    p = tent.physics
    heat = share * LATENT_J_PER_KG * kg
    tent.film_kg += kg
    tent.humidity_ratio -= kg / (p.density_kg_m3 * p.volume_m3)
    tent.air_c += heat / p.air_capacity_j_k
    tent.outflow.released_j += heat
    if tent.ledger is not None:
        tent.ledger.condensed_kg += kg
        tent.ledger.condensation_j += heat


def _fabric_ratio(rows: StepRows, air_c: float, room_c: float) -> float:
    """Humidity ratio of saturated air at the fabric's inner surface."""
    p = rows.physics
    fabric_c = air_c - (1.0 - p.fabric_inside_share) * (air_c - room_c)
    return _ratio(air.saturation_vapour_pressure_pa(fabric_c), p.pressure_pa)


def _rest_kg_s(rows: StepRows, air_c: float, ratio: float) -> float:
    """What the linearisation leaves of the transpiration [kg/s]."""
    pressure_pa = rows.physics.pressure_pa
    slopes = linearisation(pressure_pa)
    vapour = ratio * pressure_pa / (air.MASS_RATIO + ratio)
    water = rows.exchange.water.at(air_c, saturation_pa(air_c) - vapour)
    kappa = rows.exchange.per_vpd_kg_s_pa
    return water - kappa * (slopes.per_k_pa * air_c - slopes.per_ratio_pa * ratio)


def _ratio(vapour_pa: float, pressure_pa: float) -> float:
    return air.MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)
