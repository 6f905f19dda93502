"""Whether the fan is too weak for its tent whatever the config's other keys say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import display

if TYPE_CHECKING:
    from controller.config import Settings


def weak_fan_caution(settings: Settings) -> str | None:
    """Say that the fan is too weak, where every doubt of it is allowed for; None where it may do.

    Only what physics asks for counts, no rule of thumb; whether any fan could do at all hangs on a
    room that nobody measured yet, and is left to `lungwort size`.
    """
    from controller.sizing.assess import Sizing, Verdict
    from controller.sizing.plan import Plan

    try:
        sizing = Sizing(Plan.from_settings(settings))
    except ValueError:
        return None  # its figures are not given
    point, needed_m3_s = sizing.delivered, sizing.needs().physical
    if sizing.plan.lit_hours == 0.0:
        return None  # no lamp whose heat or light asks for air
    if sizing.verdict is not Verdict.TOO_WEAK or not sizing.is_certain or point is None:
        return None
    if point.flow_m3_s >= needed_m3_s:
        return None
    units = settings.units
    return (
        f"The fan is too weak for this tent and lamp: it moves about "
        f"{display.flow(point.flow_m3_s, units)}, and heat, moisture or CO2 take about "
        f"{display.flow(needed_m3_s, units)}; `lungwort size` says what would help."
    )
