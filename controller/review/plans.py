"""Plans, as advice tries them: what no key of the config does, such as a bigger fan."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from controller import display
from controller.review.changes import MORE_AIR, SettingChange
from controller.review.excursions import Kind

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.review.what_if import Days

COOLER_INTAKE = "cooler intake air"
BIGGER_FAN = "fan.free_flow"

# How much cooler another place to draw air from is taken to be, as moist as before [K]: a guess.
_COOLER_K = 3.0
# How much more than the present fan the fans move that are tried.
_BIGGER = (1.25, 1.5, 2.0, 3.0, 4.0)
_DRIEST = (("temperature", "above"), ("vpd", "above"))


def plans(days: Days, kind: Kind) -> Iterator[SettingChange]:
    """What is worth trying against a kind."""
    if kind in _DRIEST:
        shown = display.temperature_difference(_COOLER_K, days.settings.units)
        yield SettingChange(
            COOLER_INTAKE, "as recorded", f"{shown} cooler", days.settings, _COOLER_K, is_plan=True
        )
    if kind in MORE_AIR:
        yield from _bigger_fan(days)


def _bigger_fan(days: Days) -> Iterator[SettingChange]:
    """The smallest fan that moves what `lungwort size` asks for in the lit hours' intake air.

    None where the present one moves enough, where no flow helps or no such fan does, through the
    same duct.
    """
    from controller.sizing.assess import Sizing
    from controller.sizing.plan import Plan

    settings = days.settings
    if settings.fan.free_flow_m3_s is None and not settings.fan.curve:
        return
    lit_air = _lit_air(days)
    if lit_air is None:
        return
    intake_c, intake_pct = lit_air
    plan = replace(Plan.from_settings(settings), intake_c=intake_c, intake_humidity_pct=intake_pct)
    try:
        sizing = Sizing(plan)
        required = sizing.required_m3_s.best
        if sizing.delivered is None or not sizing.delivered.flow_m3_s < required < math.inf:
            return
        for factor in _BIGGER:
            bigger = _scaled(settings, factor)
            rig = Plan.from_settings(bigger).rig
            point = rig.point(1.0, sizing.density_kg_per_m3)
            if point.flow_m3_s >= required:
                yield _fan_change(settings, bigger)
                return
    except ValueError:  # beyond what the air functions know
        return


def _fan_change(settings: Settings, bigger: Settings) -> SettingChange:
    was, to = (
        display.flow(_free_flow_m3_s(fan_settings), settings.units)
        for fan_settings in (settings, bigger)
    )
    return SettingChange(BIGGER_FAN, was, to, bigger, is_plan=True)


def _free_flow_m3_s(settings: Settings) -> float:
    fan = settings.fan
    return max(point[0] for point in fan.curve) if fan.curve else fan.free_flow_m3_s or 0.0


def _scaled(settings: Settings, factor: float) -> Settings:
    """A fan of the same pressure and efficiency that moves so many times as much."""
    fan = settings.fan
    return settings.changed(
        fan=fan.changed(
            free_flow_m3_s=fan.free_flow_m3_s and fan.free_flow_m3_s * factor,
            curve=fan.curve and tuple((flow * factor, pa) for flow, pa in fan.curve),
            power_w=fan.power_w and fan.power_w * factor,
        )
    )


def _lit_air(days: Days) -> tuple[float, float] | None:
    """Mean intake air of the lit hours under review [°C, %]."""
    from controller.timetable import Timetable

    timetable = Timetable.from_settings(days.settings)
    lit = [
        mean
        for day in days.reviewed
        for mean in day.air
        if mean.at_s >= day.start_s and timetable.state(mean.at_s).lamp_on
    ]
    if not lit:
        return None
    intake_c = sum(mean.intake_c for mean in lit) / len(lit)
    intake_pct = sum(mean.intake_pct for mean in lit) / len(lit)
    return intake_c, intake_pct
