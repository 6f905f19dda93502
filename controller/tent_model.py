"""A config's tent and fan as the modulating law needs them: worked out of the settings once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from controller import air, envelope, plants
from controller.air.constants import DRY_AIR_J_PER_KG_K, VAPOUR_J_PER_KG_K
from controller.airflow import operating_point
from controller.control.actuator import motor_speed
from controller.control.forecast import Drive, TentModel, Worth
from controller.control.modulation import Modulation
from controller.leaf_table import LeafTable
from controller.sizing.plan import INFILTRATION_PER_H, MOTOR_HEAT_INTO_TENT, Plan

if TYPE_CHECKING:
    from collections.abc import Iterable

    from controller.config import Settings
    from controller.control import Rules

# Engineering judgement, no source, each to within a factor of two.
AIR_J_K_PER_WALL_M2 = 1000.0
"""Fabric of 0.4 kg/m², poles, leaves: what follows the air within minutes [J/(K m²)]."""
LAMP_J_K = 2500.0
"""Some kilograms of aluminium [J/K]."""
POTS_J_K_PER_FLOOR_M2 = 110_000.0
"""25 kg of wet soil [J/(K m²)]."""
POTS_W_K_PER_FLOOR_M2 = 12.0
"""Heat that pots, soil and frame exchange with the air [W/(K m²)]."""
LAMP_TO_CONTENTS = 0.2
"""Share of the lamp's heat that lands on the contents."""
LAMP_STORED = 0.04
"""Share of the light that ends up as sugar (from memory)."""
ABOUT_C, ABOUT_PCT = 25.0, 50.0
"""The state the density of the air is taken at [°C], [%]."""

_INSIDE = ("both_inside", "fan_inside_filter_outside")


def tent_model(settings: Settings) -> TentModel:
    """Work the tent's parameters out of a config, as `simulators.tent` does."""
    tent = settings.tent
    pressure = air.pressure_at_elevation_pa(tent.elevation_m)
    ratio = air.humidity_ratio(ABOUT_C, ABOUT_PCT, pressure)
    density = 1.0 / air.specific_volume_m3_per_kg(ABOUT_C, ratio, pressure)
    heat_capacity = density * (DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * ratio)
    size = (tent.width_m, tent.depth_m, tent.height_m)
    floor = tent.width_m * tent.depth_m
    plan = Plan.from_settings(settings)
    traits, ppfd, leaves_m2 = plan.traits, plan.leaf_ppfd("best"), plan.leaves_m2.best

    def transpiration(lit: bool) -> LeafTable:
        light = ppfd if lit else 0.0
        return LeafTable(
            lambda air_c, vpd_pa: (
                leaves_m2
                * plants.leaf_balance(
                    traits, light, air_c, vpd_pa, pressure
                ).transpiration_kg_per_m2_s
            )
        )

    return TentModel(
        air_j_k=heat_capacity * tent.volume_m3
        + AIR_J_K_PER_WALL_M2 * envelope.wall_area_m2(*size)
        + LAMP_J_K,
        contents_j_k=POTS_J_K_PER_FLOOR_M2 * floor,
        contents_w_per_k=POTS_W_K_PER_FLOOR_M2 * floor,
        wall_w_per_k=envelope.wall_ua_w_per_k(*size),
        dry_air_kg=density * tent.volume_m3,
        density_kg_m3=density,
        heat_capacity_j_m3_k=heat_capacity,
        leakage_m3_s=INFILTRATION_PER_H.best * tent.volume_m3 / 3600.0,
        lamp_w=settings.lamp.power_w * (1.0 - LAMP_STORED),
        lamp_contents_share=LAMP_TO_CONTENTS,
        pressure_pa=pressure,
        transpiration_kg_s=(transpiration(False), transpiration(True)),
    )


def drives(settings: Settings, speeds: Iterable[float]) -> tuple[Drive, ...] | None:
    """Give the fan's flow, power and heat at some speeds; None where its figures aren't known."""
    plan = Plan.from_settings(settings)
    rig, power_w = plan.rig, plan.rig.power_w()
    if not rig.has_fan or power_w is None:
        return None
    curve, system = rig.curve(), rig.system()
    share = MOTOR_HEAT_INTO_TENT.best if rig.arrangement in _INSIDE else 0.0
    density = tent_model(settings).density_kg_m3
    found = []
    for speed in speeds:
        point = operating_point(curve, system, speed, density, power_w)
        at_speed_w = power_w * speed**3
        found.append(Drive(speed, point.flow_m3_s, at_speed_w, share * at_speed_w))
    return tuple(found)


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
    found = drives(settings, _speeds(rules, over.step))
    if found is None:
        return None
    return Modulation(
        tent=tent_model(settings),
        drives=found,
        worth=Worth(
            over.temperature.worth_w_per_k, over.humidity.worth_w_per_pct, over.vpd.worth_w_per_pa
        ),
        every_s=over.every_s,
        heat_warning_c=settings.targets.heat_warning_c,
        doubt_k=math.hypot(*(max(role) for role in errors_k.values())),
    )


def _speeds(rules: Rules, step: float) -> list[float]:
    """Standstill, every step from the least speed on, and what schedule and overrides ask for."""
    steps = (round(step * number, 6) for number in range(1, math.floor(1.0 / step + 1e-9) + 1))
    asked = (*(wish.speed for wish in rules.base), *rules.speeds)
    return sorted(
        {0.0, *(motor_speed(speed, rules) for speed in asked)}
        | {speed for speed in steps if speed >= rules.min_speed}
    )
