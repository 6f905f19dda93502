"""The engineer's short note on a sized fan: verdict, doubt, disagreement."""

from __future__ import annotations

import math
from dataclasses import replace

from controller import display
from controller.air.constants import LATENT_J_PER_KG
from controller.airflow.friction import circle_area_m2
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import AMPLE, SettledSpan, Sizing, Verdict
from controller.sizing.demand import (
    lamp_power_the_rule_cools_w,
    rule_of_thumb_m3_s,
)
from controller.sizing.needs import NeedName
from controller.sizing.plan import Plan
from controller.sizing.steady import SteadyAir

NEED_WORDS: dict[NeedName, str] = {
    "air_change": "the rule of thumb",
    "heat": "heat",
    "moisture": "moisture",
    "co2": "CO2",
}

# Plants that take up more than this share of the lamp's heat cool the room's air too.
_MUCH_OF_THE_HEAT = 1.0
_SHORTEST_RUN_MIN = 2  # a motor that starts more often than it must wears


def verdict(sizing: Sizing, units: Units) -> str:
    """What to know if nothing else is read."""
    needs = sizing.needs()
    required = sizing.required_m3_s.best
    if sizing.verdict is Verdict.NO_FLOW_HELPS:
        return _no_flow_helps(sizing, units)
    needed = display.flow(required, units)
    why = NEED_WORDS[needs.ruled_by]
    if sizing.delivered is None:
        if sizing.wider_run is not None:
            return f"No fan is named, and {why} decides: {_what_to_look_for(sizing, units)}."
        pressure = sizing.needed_pressure_pa
        against = show.span(pressure, lambda pa: display.pressure(pa, units)) if pressure else "–"
        with_reserve = display.flow(AMPLE * required, units)
        return (
            f"No fan is named. Look for one that moves {needed} against {against}, through its "
            f"duct{_and_filter(sizing)}; {why} decides. With a quarter in reserve that is "
            f"{with_reserve}. The free flow on the box is with nothing attached: compare at "
            "the pressure."
        )
    delivered = display.flow(sizing.delivered.flow_m3_s, units)
    facts = (
        f"through its duct{_and_filter(sizing)} it delivers {delivered}, and the tent needs "
        f"{needed}, which {why} decides."
    )
    if sizing.verdict is Verdict.TOO_WEAK:
        return _too_weak(sizing, units, facts)
    sure = "is" if sizing.is_certain else "is probably"
    if sizing.verdict is Verdict.BARELY_ENOUGH:
        spare = display.speed(sizing.margin or 0.0)
        lead = f"The fan {sure} just strong enough, with {spare} to spare: "
    else:
        lead = f"The fan {sure} strong enough: "
    return " ".join(filter(None, (lead + facts, _speeds(sizing), _limit(sizing, units))))


def _no_flow_helps(sizing: Sizing, units: Units) -> str:
    plan, needs = sizing.plan, sizing.needs()
    intake_c = display.temperature(plan.intake_temperature_c.best, units)
    intake_rh = display.humidity(plan.intake_rh_pct.best)
    top_c = display.temperature(plan.day_c[1], units)
    if math.isinf(needs.heat):
        why = (
            f"the intake air, {intake_c}, is no cooler than the top of the day band, {top_c}. "
            "More air only brings the tent closer to the room. Cool the room, draw air from "
            "a cooler place, light the lamp at night, or accept a warmer band"
        )
    elif math.isinf(needs.moisture):
        why = (
            f"the intake air, {intake_c} and {intake_rh}, holds as much water as the tent may, "
            f"or more: its limit is {display.humidity(plan.day_humidity_pct[1])} at {top_c}. Dry "
            "the room or draw air from a drier place"
        )
    else:
        why = (
            f"the intake air has {show.ppm(plan.intake_ppm.best)} of CO2 and no less than "
            f"{show.ppm(plan.lowest_co2_ppm)} is wished. Wish for less than the intake air has"
        )
    return f"No fan can do this: {why}."


def _too_weak(sizing: Sizing, units: Units, facts: str) -> str:
    needs, delivered = sizing.needs(), sizing.delivered
    assert delivered is not None
    look = _what_to_look_for(sizing, units)
    if delivered.flow_m3_s >= needs.physical:
        return (
            f"The fan falls short of the rule of thumb but meets the physics: {facts} Heat, "
            f"moisture and CO2 need no more than {display.flow(needs.physical, units)}. If you "
            f"want the rule's reserve: {look}."
        )
    sure = "is" if sizing.is_certain else "is probably"
    settled, dry_c = sizing.settles_at, sizing.dry_temperature_c
    reached = ""
    if needs.ruled_by == "heat":
        reached = (
            f" At full speed the tent would reach {show.settled(dry_c, units)} while the "
            f"plants are small, and {show.settled(settled.temperature_c, units)} with "
            f"{display.area(sizing.plan.leaves_m2.best, units)} of leaves, whose water cools."
        )
    shorten = "" if sizing.wider_run else ", or shorten and straighten the duct"
    return f"The fan {sure} too weak: {facts}{reached} {look}{shorten}."


def _what_to_look_for(sizing: Sizing, units: Units) -> str:
    """The fan, and if need be the duct, that would do."""
    flow, pressure, wider = sizing.required_m3_s.best, sizing.needed_pressure_pa, sizing.wider_run
    needed = display.flow(flow, units)
    if wider is not None:
        inside_diameter_m = sizing.plan.rig.inside_diameter_m
        rest = "duct, filter and fan" if sizing.plan.rig.has_filter else "duct and fan"
        return (
            f"{needed} would race through a duct of {_diameter_text(inside_diameter_m, units)} at "
            f"{velocity(flow / circle_area_m2(inside_diameter_m), units)}; it takes {rest} of "
            f"{_diameter_text(wider.inside_diameter_m, units)}, and then "
            f"{show.span(wider.pressure_pa, lambda pa: display.pressure(pa, units))} at that flow"
        )
    against = display.pressure(pressure.best, units) if pressure else "–"
    return f"{needed} through this run takes {against}: look for a fan that gives both at once"


def _diameter_text(inside_diameter_m: float, units: Units) -> str:
    if units == "us":
        return f"{inside_diameter_m / 0.0254:.0f} in"
    return f"{inside_diameter_m * 1000.0:.0f} mm"


def velocity(velocity_m_s: float, units: Units) -> str:
    """Air speed as "6.2 m/s" or "1220 ft/min"."""
    if units == "us":
        return f"{round(velocity_m_s / 0.3048 * 60.0, -1):.0f} ft/min"
    return f"{velocity_m_s:.1f} m/s"


def _and_filter(sizing: Sizing) -> str:
    return " and filter" if sizing.plan.rig.has_filter else ""


def _speeds(sizing: Sizing) -> str:
    """The settings that suffice."""
    plan, day, night = sizing.plan, sizing.day_speed, sizing.night_speed
    if plan.is_relay:
        return _running_times(sizing)
    needed = display.speed(day or 1.0)
    by_day = f"A speed of {needed} is enough by day"
    if day is not None and plan.day_speed < day - 1e-9:
        scheduled = display.speed(plan.day_speed)
        by_day = f"By day it takes {needed}, more than the {scheduled} it is scheduled for"
    elif day is not None and plan.day_speed < 1.0:
        by_day += f", and it is scheduled for {display.speed(plan.day_speed)}"
    if night is None:
        return f"{by_day}; by night no flow holds the humidity, the room is too moist."
    if night == 0.0:
        return f"{by_day}; by night it can rest, leakage is enough."
    lowest = ", the lowest it turns at," if night <= plan.min_speed + 1e-9 else ""
    return f"{by_day}; by night {display.speed(night)}{lowest} is plenty."


def _running_times(sizing: Sizing) -> str:
    """How long a fan that only knows on and off must run, on average."""
    day, night = minutes_an_hour(sizing.day_share), minutes_an_hour(sizing.night_share)
    by_day = (
        "By day it must run all the time"
        if day >= 60
        else f"By day {day} min in the hour are enough"
    )
    if sizing.night_share is None:
        return f"{by_day}; by night no flow holds the humidity, the room is too moist."
    if night == 0:
        return f"{by_day}; by night it can rest, leakage is enough."
    return f"{by_day}, by night {'all of it' if night >= 60 else night}."


def minutes_an_hour(share: float | None) -> int:
    """Minutes in the hour that a share of the time comes to, as many as a motor should run."""
    if not share:
        return 0
    return min(60, max(_SHORTEST_RUN_MIN, math.ceil(60.0 * share)))


def _limit(sizing: Sizing, units: Units) -> str:
    """Up to which intake air full speed holds the day band."""
    limit_c = sizing.warmest_intake_c
    if limit_c is None or sizing.plan.lamp_power_w <= 0.0:
        return ""
    top_c = display.temperature(sizing.plan.day_c[1], units)
    return (
        f"At full speed it holds {top_c}, even with seedlings that hardly evaporate, as long as "
        f"the intake air is below {display.temperature(limit_c, units)}."
    )


def doubt(sizing: Sizing, units: Units) -> str:
    """How far the figures may be off, and what would narrow them."""
    parts = []
    flow = sizing.delivered_m3_s
    if flow is not None and not flow.is_known:
        parts.append(f"it delivers {show.span(flow, lambda q: display.flow(q, units))}")
    required = sizing.required_m3_s
    if not required.is_known:
        parts.append(f"the tent needs {show.span(required, lambda q: display.flow(q, units))}")
    if not parts:
        return ""
    return f"Within what is not known, {' and '.join(parts)}. {_worst_doubt(sizing, units)}".strip()


def _worst_doubt(sizing: Sizing, units: Units) -> str:
    deciding = sizing.needs("high").ruled_by
    plan = sizing.plan
    if not sizing.required_m3_s.high > sizing.required_m3_s.low:
        return ""
    if deciding == "heat" and not plan.intake_temperature_c.is_known:
        intake = plan.intake_temperature_c
        return (
            "Most of that is the intake air, taken as "
            f"{display.temperature(intake.best, units)} but perhaps "
            f"{display.temperature(intake.high, units)}: measure it, or plan for its worst with "
            "--intake-temperature."
        )
    if deciding == "heat":
        return "Most of that is how much heat the tent's fabric lets through."
    if deciding == "moisture":
        return "Most of that is the plants' leaf area and the humidity of the intake air."
    if deciding == "co2":
        return "Most of that is the plants' leaf area and light."
    return ""


def disagreement(sizing: Sizing, units: Units) -> list[str]:
    """Where the rule of thumb and the physics part, and why, with numbers."""
    plan, needs = sizing.plan, sizing.needs()
    rule, physical = needs.air_change, needs.physical
    if math.isinf(physical):
        return [
            f"The rule of thumb asks for {display.flow(rule, units)} whatever the weather. The "
            "physics says that no flow is enough, since the rule never asks how warm, moist or "
            "stale the intake air is."
        ]
    by = max(("heat", "moisture", "co2"), key=lambda name: getattr(needs, name))
    asks = (
        f"The rule of thumb asks for {display.flow(rule, units)}, the physics for "
        f"{display.flow(physical, units)} ({NEED_WORDS[by]})"  # type: ignore[index]
    )
    paragraphs = []
    if abs(rule - physical) <= 0.1 * max(rule, physical):
        paragraphs.append(f"{asks}: they agree within a tenth, which is chance rather than proof.")
    elif by == "heat" and plan.lamp_power_w > 0.0:
        paragraphs.append(f"{asks}. {_why_heat_differs(sizing, units)}")
    elif rule < physical:
        paragraphs.append(
            f"{asks}. The rule counts the tent's volume; the plants' water and CO2 come with "
            "their leaves. Trust the balance."
        )
    else:
        paragraphs.append(
            f"{asks}. The rule counts the tent's volume, whether a lamp, leaves or nothing fills "
            "it. What it asks for beyond the physics is reserve, and makes the tent drier."
        )
    bare = rule_of_thumb_m3_s(_without_run(plan)) if plan.rig.bends or plan.rig.has_filter else rule
    if bare < rule:
        paragraphs.append(
            "Its allowances for bends and filter are meant for the free flow on a fan's box. Here "
            "the losses are computed, so they count twice; without them it asks for "
            f"{display.flow(bare, units)}."
        )
    return paragraphs


def _why_heat_differs(sizing: Sizing, units: Units) -> str:
    plan, needs = sizing.plan, sizing.needs()
    rise_k = plan.day_c[1] - plan.intake_temperature_c.best
    cooled_w = lamp_power_the_rule_cools_w(plan)
    heat_w = plan.lamp_power_w + plan.fan_heat_in_tent_w(1.0, "best")
    scale = (
        f"At {display.temperature_difference(rise_k, units)} over the intake air the rule's flow "
        f"and the fabric carry off {display.power(cooled_w)}, and this tent makes "
        f"{display.power(heat_w)}."
    )
    if needs.air_change < needs.heat:
        return (
            f"The rule goes by volume and hardly sees the lamp or the room. {scale} Trust the "
            "heat balance."
        )
    return (
        f"The rule goes by volume. {scale} What it asks for beyond the heat is reserve for "
        "warmer days; it costs power and makes the air drier."
    )


def _without_run(plan: Plan) -> Plan:
    return replace(plan, rig=replace(plan.rig, bends=0, has_filter=False))


def leaves(settled: SteadyAir, within: SettledSpan, units: Units) -> str:
    """How warm the leaves are, and the VPD from inside them to the air."""
    return (
        f"The leaves settle at {show.settled(settled.leaf_c, units)} "
        f"({show.span(within.leaf_c, lambda c: show.settled(c, units))}), with "
        f"{display.vpd(settled.leaf_vpd_pa)} ({show.span(within.leaf_vpd_pa, display.vpd)}) of "
        "leaf VPD."
    )


def evaporation(sizing: Sizing, units: Units) -> str:
    """How much of the heat the plants take up, when that is much."""
    settled = sizing.settles_at
    taken_w = settled.transpiration_kg_s * LATENT_J_PER_KG
    if taken_w < 0.1 * max(1.0, sizing.plan.lamp_power_w):
        return ""
    water = display.mass(settled.transpiration_kg_s * 3600.0, units)
    much = ""
    if taken_w > _MUCH_OF_THE_HEAT * sizing.plan.lamp_power_w:
        much = " So much takes moist roots: plants that wilt cool nothing."
    return (
        f"The plants give off {water} of water an hour and so take up {display.power(taken_w)} "
        "of the heat. The need for heat does not count on that, since seedlings hardly do it; "
        f"where the air settles does.{much}"
    )
