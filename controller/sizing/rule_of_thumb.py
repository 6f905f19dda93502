"""Where the trade's rule of thumb and the physics part, and why, with numbers."""

from __future__ import annotations

import math
from dataclasses import replace

from controller import display
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import Sizing
from controller.sizing.demand import lamp_power_the_rule_cools_w, rule_of_thumb_m3_s
from controller.sizing.plan import Plan
from controller.sizing.verdict import NEED_WORDS


def disagreement(sizing: Sizing, units: Units) -> list[str]:
    """Where the rule of thumb and the physics part, and why, with numbers."""
    plan, needs = sizing.plan, sizing.needs()
    rule, physical = needs.air_change, needs.physical
    if math.isinf(physical):
        return [
            f"The rule of thumb asks for {show.computed_flow(rule, units)} whatever the weather. "
            "The physics says that no flow is enough, since the rule never asks how warm, moist or "
            "stale the intake air is."
        ]
    by = max(("heat", "moisture", "co2"), key=lambda name: getattr(needs, name))
    asks = (
        f"The rule of thumb asks for {show.computed_flow(rule, units)}, the physics for "
        f"{show.computed_flow(physical, units)} ({NEED_WORDS[by]})"  # type: ignore[index]
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
            f"{show.computed_flow(bare, units)}."
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
