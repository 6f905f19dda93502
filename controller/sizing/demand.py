"""The flow a planned tent needs, by day and by night, in the best and the two doubtful cases."""

from __future__ import annotations

from typing import NamedTuple

from controller import air
from controller.airflow.span import OPPOSITE, Case
from controller.plants import co2_uptake_umol_per_m2_s, transpiration_kg_per_m2_s
from controller.sizing.needs import (
    Needs,
    air_change_flow_m3_s,
    co2_flow_m3_s,
    heat_capacity_j_per_m3_k,
    heat_flow_m3_s,
    moisture_flow_m3_s,
)
from controller.sizing.plan import BOUNDARY_CONDUCTANCE, INFILTRATION_PER_H, Plan


def rule_of_thumb_m3_s(plan: Plan) -> float:
    """Flow by the trade's rule with its allowances [m³/s]; common practice, no source."""
    return air_change_flow_m3_s(
        plan.volume_m3,
        plan.minutes_per_change,
        plan.rig.bends or 0,
        plan.rig.has_filter,
        plan.lamp_power_w,
    )


class DayTerms(NamedTuple):
    """What the three balances of the day are made of.

    Attributes
    ----------
    heat_w : float
        Lamp, and what of the fan stays in the tent [W].
    rise_k : float
        Wished rise of the tent over its intake air [K].
    wall_ua_w_per_k : float
        Heat the walls let through [W/K].
    capacity_j_per_m3_k : float
        ρ cp of the air at the fan [J/(m³ K)].
    vapour_kg_s : float
        Transpiration of all leaves [kg/s].
    ratio_allowed, ratio_intake : float
        Humidity ratio at the limit and of the intake air [kg/kg].
    uptake_umol_s : float
        Net CO2 uptake of all leaves [µmol/s].
    intake_ppm : float
        CO2 of the intake air [ppm].
    """

    heat_w: float
    rise_k: float
    wall_ua_w_per_k: float
    capacity_j_per_m3_k: float
    vapour_kg_s: float
    ratio_allowed: float
    ratio_intake: float
    uptake_umol_s: float
    intake_ppm: float


def day_terms(plan: Plan, case: Case = "best") -> DayTerms:
    """The terms of the day's balances, in one of the three cases of `day_needs`."""
    other = OPPOSITE[case]
    top_c, top_pct = plan.day_c[1], plan.day_humidity_pct[1]
    intake_c = plan.intake_temperature_c.at(case)
    intake_ratio = air.humidity_ratio(intake_c, plan.intake_rh_pct.at(case), plan.pressure_pa)
    leaves_m2, ppfd = plan.leaves_m2.at(case), plan.leaf_ppfd(case)
    return DayTerms(
        heat_w=plan.lamp_power_w + plan.fan_heat_in_tent_w(1.0, case),
        rise_k=top_c - intake_c,
        wall_ua_w_per_k=plan.wall_ua.at(other),
        capacity_j_per_m3_k=heat_capacity_j_per_m3_k(top_c, intake_ratio, plan.pressure_pa),
        vapour_kg_s=_vapour_kg_s(plan, ppfd, top_c, top_pct, case),
        ratio_allowed=air.humidity_ratio(top_c, top_pct, plan.pressure_pa),
        ratio_intake=intake_ratio,
        uptake_umol_s=leaves_m2
        * co2_uptake_umol_per_m2_s(plan.traits, ppfd, plan.lowest_co2_ppm, top_c),
        intake_ppm=plan.intake_ppm.at(other),
    )


def day_needs(plan: Plan, case: Case = "best") -> Needs:
    """Flow needed while the lamp is lit [m³/s].

    All balances are struck at the top of the day's bands of temperature and humidity, where the
    tent may be at most. Evaporation is not counted on to cool: seedlings hardly evaporate.

    Parameters
    ----------
    plan : Plan
        The tent.
    case : str
        "best", or with every doubt taken so that "low"est or "high"est flow is needed.
    """
    terms = day_terms(plan, case)
    top_c = plan.day_c[1]
    volume = air.specific_volume_m3_per_kg(top_c, terms.ratio_allowed, plan.pressure_pa)
    return Needs(
        rule_of_thumb_m3_s(plan),
        heat_flow_m3_s(
            terms.heat_w, terms.rise_k, terms.capacity_j_per_m3_k, terms.wall_ua_w_per_k
        ),
        moisture_flow_m3_s(terms.vapour_kg_s, terms.ratio_allowed, terms.ratio_intake, volume),
        co2_flow_m3_s(
            terms.uptake_umol_s, terms.intake_ppm, plan.lowest_co2_ppm, top_c, plan.pressure_pa
        ),
    )


def night_need_m3_s(plan: Plan, case: Case = "best") -> float:
    """Flow needed in the dark [m³/s]: what carries off the little that leaves then give off.

    Without a lamp the tent is as warm as the room, leaves give off CO2, and the trade's rule,
    made for lit lamps, has nothing to say.
    """
    intake_c = plan.intake_temperature_c.at(case)
    top_pct = plan.night_humidity_pct[1]
    intake_ratio = air.humidity_ratio(intake_c, plan.intake_rh_pct.at(case), plan.pressure_pa)
    vapour = _vapour_kg_s(plan, 0.0, intake_c, top_pct, case)
    allowed = air.humidity_ratio(intake_c, top_pct, plan.pressure_pa)
    volume = air.specific_volume_m3_per_kg(intake_c, allowed, plan.pressure_pa)
    return moisture_flow_m3_s(vapour, allowed, intake_ratio, volume)


def _vapour_kg_s(plan: Plan, ppfd: float, air_c: float, air_pct: float, case: Case) -> float:
    """Transpiration of all leaves in air of a temperature and a humidity [kg/s]."""
    return plan.leaves_m2.at(case) * transpiration_kg_per_m2_s(
        plan.traits, ppfd, air_c, air_pct, plan.pressure_pa, BOUNDARY_CONDUCTANCE.at(case)
    )


def leakage_m3_s(plan: Plan, case: Case = "low") -> float:
    """Flow that finds its way through the tent with the fan at rest [m³/s]."""
    return plan.volume_m3 * INFILTRATION_PER_H.at(case) / 3600.0


def lamp_power_the_rule_cools_w(plan: Plan) -> float:
    """Heat that the flow of the trade's rule carries off at the wished rise, walls helping [W]."""
    terms = day_terms(plan)
    if terms.rise_k <= 0.0:
        return 0.0
    carried = rule_of_thumb_m3_s(plan) * terms.capacity_j_per_m3_k + terms.wall_ua_w_per_k
    return carried * terms.rise_k
