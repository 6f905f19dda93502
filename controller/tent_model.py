"""A config's tent and fan as the modulating law needs them: worked out of the settings once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from controller.airflow import operating_point
from controller.control.actuator import motor_speed
from controller.control.forecast import Drive, TentBalance, Worth
from controller.control.modulation import Modulation
from controller.control.override_state import STALE
from controller.kernel_sensors import measures_co2
from controller.leaf_table import LeafTable
from controller.sizing.plan import MOTOR_HEAT_INTO_TENT, Plan
from controller.tent_physics import TentPhysics

if TYPE_CHECKING:
    from collections.abc import Iterable

    from controller.config import Settings
    from controller.control import Rules

_INSIDE = ("both_inside", "fan_inside_filter_outside")


def tent_model(settings: Settings) -> TentBalance:
    """Give the part of a tent's physics that a forecast of half an hour needs."""
    tent = TentPhysics.from_settings(settings)

    def transpiration(lit: bool) -> LeafTable:
        return LeafTable(lambda air_c, vpd_pa: tent.transpiration_kg_s(lit, air_c, vpd_pa))

    return TentBalance(
        air_j_k=tent.air_capacity_j_k,
        contents_j_k=tent.contents_capacity_j_k,
        contents_w_per_k=tent.contents_w_per_k,
        wall_w_per_k=tent.wall_w_per_k,
        dry_air_kg=tent.density_kg_m3 * tent.volume_m3,
        density_kg_m3=tent.density_kg_m3,
        heat_capacity_j_m3_k=tent.heat_capacity_j_m3_k,
        leakage_m3_s=tent.infiltration_m3_s,
        lamp_w=tent.lamp_heat_w,
        lamp_on_contents_w=tent.lamp_heat_w * tent.lamp_contents_share,
        pressure_pa=tent.pressure_pa,
        transpiration_kg_s=(transpiration(False), transpiration(True)),
    )


def drives(
    settings: Settings, speeds: Iterable[float], density_kg_m3: float
) -> tuple[Drive, ...] | None:
    """Give the fan's flow, power and heat at some speeds; None where its figures aren't known.

    The flow is that of air of a density [kg/m³].
    """
    plan = Plan.from_settings(settings)
    rig, power_w = plan.rig, plan.rig.power_w()
    if not rig.has_fan or power_w is None:
        return None
    curve, system = rig.curve(), rig.system()
    share = MOTOR_HEAT_INTO_TENT.best if rig.arrangement in _INSIDE else 0.0
    at_speeds = []
    for speed in speeds:
        point = operating_point(curve, system, speed, density_kg_m3, power_w)
        at_speed_w = power_w * speed**3
        at_speeds.append(Drive(speed, point.flow_m3_s, at_speed_w, share * at_speed_w))
    return tuple(at_speeds)


def modulation(settings: Settings, rules: Rules) -> Modulation | None:
    """Give what the modulating law needs; None where it can't work.

    It needs an intake sensor, since without it nothing tells what more air would bring, and the
    fan's figures, by which it knows what more air there would be.
    """
    from controller.sensors.data_sheets import profile_of

    over = settings.overrides
    errors_k = {
        role: [profile_of(sensor).accuracy_k for sensor in settings.sensors if sensor.role == role]
        for role in ("tent", "intake")
    }
    if not all(errors_k.values()):
        return None
    tent = tent_model(settings)
    # What stale air would ask for is no speed of a tent where nothing measures it.
    asked = rules.speeds if measures_co2(settings, "tent") else rules.speeds[:STALE]
    fan_drives = drives(settings, _speeds(rules, asked, over.step), tent.density_kg_m3)
    if fan_drives is None:
        return None
    return Modulation(
        tent=tent,
        drives=fan_drives,
        worth=Worth(
            over.temperature.worth_w_per_k, over.humidity.worth_w_per_pct, over.vpd.worth_w_per_pa
        ),
        every_s=over.every_s,
        heat_warning_c=settings.targets.heat_warning_c,
        doubt_k=math.hypot(*(max(role) for role in errors_k.values())),
    )


def _speeds(rules: Rules, overriding: tuple[float, ...], step: float) -> list[float]:
    """Standstill, every step from the least speed on, and what schedule and overrides ask for."""
    steps = (round(step * number, 6) for number in range(1, math.floor(1.0 / step + 1e-9) + 1))
    asked = (*(wish.speed for wish in rules.base), *overriding, rules.quiet_speed or 0.0)
    return sorted(
        {0.0, *(motor_speed(speed, rules) for speed in asked)}
        | {speed for speed in steps if speed >= rules.min_speed}
    )
