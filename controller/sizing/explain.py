"""How the figures were reached: the sum behind each need, and the ground of each assumption."""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller import display
from controller.airflow.span import Assumption
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import Sizing
from controller.sizing.demand import day_terms


def explanation(
    sizing: Sizing, assumed: Sequence[Assumption], units: Units, width: int
) -> list[str]:
    """Two lists, sums and grounds.

    Parameters
    ----------
    sizing : Sizing
        The figures.
    assumed : sequence of Assumption
        What was taken for granted.
    units : str
        "si" or "us".
    width : int
        Columns.
    """
    sums = (_air_change, _heat, _moisture, _co2, _delivered)
    amounts = [text for work_out in sums if (text := work_out(sizing, units))]
    grounds = [
        f"{assumption.what}: {assumption.basis}"
        + (f" (better: {assumption.option})" if assumption.option else "")
        for assumption in assumed
    ]
    return [
        "How it was worked out:",
        *(line for text in amounts for line in show.item(text, width)),
        "",
        "What the assumptions rest on:",
        *(line for text in grounds for line in show.item(text, width)),
    ]


def _air_change(sizing: Sizing, units: Units) -> str:
    plan = sizing.plan
    bare = plan.volume_m3 / (plan.minutes_per_change * 60.0)
    allowances = [
        (0.20 * (plan.rig.bends or 0), "for the bends"),
        (0.25 * plan.rig.has_filter, "for the filter"),
        (0.10 * plan.lamp_power_w / 1000.0, "for the lamp"),
    ]
    more = ", ".join(f"{share * 100:.3g} % {why}" for share, why in allowances if share > 0.0)
    text = (
        f"Air change: {display.volume(plan.volume_m3, units)} in {plan.minutes_per_change:g} min "
        f"is {show.computed_flow(bare, units)}"
    )
    if more:
        text += f"; and {more}: {show.computed_flow(sizing.needs().air_change, units)}"
    return text + ". Common practice, no source."


def _heat(sizing: Sizing, units: Units) -> str:
    terms, need = day_terms(sizing.plan), sizing.needs().heat
    motor_w = terms.heat_w - sizing.plan.lamp_power_w
    made = f"the lamp's {display.power(sizing.plan.lamp_power_w)}, its driver within,"
    if motor_w >= 0.05:
        made += f" and the motor's {display.power(motor_w)}"
    rise = display.temperature_difference(terms.rise_k, units)
    if terms.rise_k <= 0.0:
        return f"Heat: {made} at {rise} over the intake air: no flow carries it off."
    walls_w = terms.wall_ua_w_per_k * terms.rise_k
    left_w = max(0.0, terms.heat_w - walls_w)
    hundred = 100.0 * (0.3048**3 / 60.0 if units == "us" else 1.0 / 3600.0)
    return (
        f"Heat: {made}, less {display.power(walls_w)} through the fabric at {rise} over the "
        f"room, taken to be as warm as the intake air, leave {display.power(left_w)}. "
        f"{display.flow(hundred, units)} of air carry off "
        f"{display.power(hundred * terms.capacity_j_per_m3_k * terms.rise_k)} at that rise: "
        f"{_flow(need, units)}. q = ρ cp Q ΔT + UA ΔT."
    )


def _moisture(sizing: Sizing, units: Units) -> str:
    plan, terms = sizing.plan, day_terms(sizing.plan)
    water = display.mass(terms.vapour_kg_s * 3600.0, units)
    top = (
        f"{display.temperature(plan.day_c[1], units)} and "
        f"{display.humidity(plan.day_humidity_pct[1])}"
    )
    return (
        f"Moisture: at {top}, the top of the day band, "
        f"{display.area(plan.leaves_m2.best, units)} of leaves give off {water} an hour. The air "
        f"takes it from {terms.ratio_intake * 1000.0:.1f} to {terms.ratio_allowed * 1000.0:.1f} g "
        f"of water in a kilogram: {_flow(sizing.needs().moisture, units)}. E = ṁ ΔW, the leaves "
        "as warm as light, air and their own water make them (Penman–Monteith). What wet soil and "
        "trays give off comes on top, and is not counted."
    )


def _co2(sizing: Sizing, units: Units) -> str:
    plan, terms = sizing.plan, day_terms(sizing.plan)
    if terms.uptake_umol_s <= 0.0:
        return "CO2: the leaves take up none in this light, so none need be brought."
    return (
        f"CO2: the leaves take up {terms.uptake_umol_s:.1f} µmol/s, and the air may fall from "
        f"{show.ppm(terms.intake_ppm)} to {show.ppm(plan.lowest_co2_ppm)}: "
        f"{_flow(sizing.needs().co2, units)}."
    )


def _delivered(sizing: Sizing, units: Units) -> str:
    point = sizing.delivered
    if point is None:
        return ""
    return (
        f"Delivered: where the fan's curve meets the run's, "
        f"{show.computed_flow(point.flow_m3_s, units)} at "
        f"{display.pressure(point.pressure_pa, units)}. "
        "Duct by Darcy–Weisbach and Colebrook, bends by Rennels, the filter part linear and part "
        "square as a bed of carbon is (Ergun), openings as orifices; other speeds by the fan laws. "
        "The exit costs no static pressure: a fan's curve leaves out the velocity pressure at its "
        "outlet, taken to be as wide as the duct."
    )


def _flow(flow_m3_s: float, units: Units) -> str:
    return "no flow does it" if math.isinf(flow_m3_s) else show.flow(flow_m3_s, units)
