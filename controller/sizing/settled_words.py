"""Where the air and the leaves settle, and what the leaves' water takes up, in words."""

from __future__ import annotations

from controller import display
from controller.air.constants import LATENT_J_PER_KG
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import SettledSpan, Sizing
from controller.sizing.steady import SteadyAir

# Plants that take up more than this share of the lamp's heat cool the room's air too.
_MUCH_OF_THE_HEAT = 1.0


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
