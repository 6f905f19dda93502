"""The flow a planned tent needs, by day and by night, in the best and the two doubtful cases."""

from __future__ import annotations

import math

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
from controller.sizing.plan import INFILTRATION_PER_H, Plan


def rule_of_thumb_m3_s(plan: Plan) -> float:
    """Flow by the trade's rule with its allowances [m³/s]; common practice, no source."""
    return air_change_flow_m3_s(
        plan.volume_m3,
        plan.minutes_per_change,
        plan.rig.bends or 0,
        plan.rig.has_filter,
        plan.lamp_power_w,
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
    other = OPPOSITE[case]
    top_c, top_pct = plan.day_c[1], plan.day_humidity_pct[1]
    intake_c = plan.intake_temperature_c.at(case)
    intake_ratio = air.humidity_ratio(intake_c, plan.intake_rh_pct.at(case), plan.pressure_pa)
    heat = heat_flow_m3_s(
        plan.lamp_power_w + plan.fan_heat_in_tent_w(1.0, case),
        top_c - intake_c,
        heat_capacity_j_per_m3_k(top_c, intake_ratio, plan.pressure_pa),
        plan.wall_ua.at(other),
    )
    leaves_m2, ppfd = plan.leaves_m2.at(case), plan.leaf_ppfd(case)
    vapour = leaves_m2 * transpiration_kg_per_m2_s(
        plan.traits, ppfd, top_c, top_pct, plan.pressure_pa
    )
    moisture = _moisture(plan, vapour, top_c, top_pct, intake_ratio)
    uptake = leaves_m2 * co2_uptake_umol_per_m2_s(plan.traits, ppfd, plan.lowest_co2_ppm, top_c)
    co2 = co2_flow_m3_s(
        uptake, plan.intake_ppm.at(other), plan.lowest_co2_ppm, top_c, plan.pressure_pa
    )
    return Needs(rule_of_thumb_m3_s(plan), heat, moisture, co2)


def night_need_m3_s(plan: Plan, case: Case = "best") -> float:
    """Flow needed in the dark [m³/s]: what carries off the little that leaves then give off.

    Without a lamp the tent is as warm as the room, leaves give off CO2, and the trade's rule,
    made for lit lamps, has nothing to say.
    """
    intake_c = plan.intake_temperature_c.at(case)
    top_pct = plan.night_humidity_pct[1]
    intake_ratio = air.humidity_ratio(intake_c, plan.intake_rh_pct.at(case), plan.pressure_pa)
    vapour = plan.leaves_m2.at(case) * transpiration_kg_per_m2_s(
        plan.traits, 0.0, intake_c, top_pct, plan.pressure_pa
    )
    return _moisture(plan, vapour, intake_c, top_pct, intake_ratio)


def leakage_m3_s(plan: Plan, case: Case = "low") -> float:
    """Flow that finds its way through the tent with the fan at rest [m³/s]."""
    return plan.volume_m3 * INFILTRATION_PER_H.at(case) / 3600.0


def lamp_power_the_rule_cools_w(plan: Plan) -> float:
    """Heat that the flow of the trade's rule carries off at the wished rise, walls helping [W]."""
    rise_k = plan.day_c[1] - plan.intake_temperature_c.best
    if rise_k <= 0.0:
        return 0.0
    intake_ratio = air.humidity_ratio(
        plan.intake_temperature_c.best, plan.intake_rh_pct.best, plan.pressure_pa
    )
    capacity = heat_capacity_j_per_m3_k(plan.day_c[1], intake_ratio, plan.pressure_pa)
    return (rule_of_thumb_m3_s(plan) * capacity + plan.wall_ua.best) * rise_k


def _moisture(
    plan: Plan, vapour_kg_s: float, top_c: float, top_pct: float, intake_ratio: float
) -> float:
    allowed = air.humidity_ratio(top_c, top_pct, plan.pressure_pa)
    if vapour_kg_s > 0.0 and allowed <= intake_ratio:
        return math.inf
    volume = air.specific_volume_m3_per_kg(top_c, allowed, plan.pressure_pa)
    return moisture_flow_m3_s(vapour_kg_s, allowed, intake_ratio, volume)
