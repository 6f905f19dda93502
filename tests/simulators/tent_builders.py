"""Tents for tests, and the model's equations written down a second time for a general solver."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from controller import air, envelope, plants
from controller.air.constants import LATENT_J_PER_KG
from controller.tent_physics import TentPhysics

PEPPER = plants.crop_traits("pepper")


def pepper_tent(**changes: Any) -> TentPhysics:
    """A tent of 80 × 80 × 160 cm with a 150 W lamp and 1.2 m² of pepper leaves."""
    values: dict[str, Any] = {
        "volume_m3": 1.024,
        "wall_w_per_k": 20.0,
        "air_capacity_j_k": 9000.0,
        "contents_capacity_j_k": 70_000.0,
        "contents_w_per_k": 8.0,
        "film_kg_s": 0.017,
        "lamp_heat_w": 144.0,
        "lamp_contents_share": 0.2,
        "infiltration_m3_s": 0.0004,
        "density_kg_m3": 1.165,
        "heat_capacity_j_m3_k": 1193.0,
        "leaf_area_m2": 1.2,
        "leaf": lambda lit, air_c, vpd: plants.leaf_balance(
            PEPPER, 250.0 if lit else 0.0, air_c, vpd
        ),
        "co2_uptake": lambda lit, ppm: plants.co2_uptake_umol_per_m2_s(
            PEPPER, 250.0 if lit else 0.0, ppm
        ),
    }
    return TentPhysics(**(values | changes))


Around = Callable[[float], tuple[float, float]]


def derivatives(p: TentPhysics, flow_m3_s: float, lit: bool, around: Around) -> Callable[..., Any]:
    """As in the docstring of simulators.tent.tent: d/dt of (T, T_contents, W, film, CO2)."""
    total = flow_m3_s + p.infiltration_m3_s
    lamp_w = p.lamp_heat_w if lit else 0.0
    saturation = air.saturation_vapour_pressure_pa
    ratio_of = air.humidity_ratio_of_vapour_pressure

    def rates(t: float, y: Any) -> list[float]:
        air_c, pots_c, ratio, film, co2 = (float(v) for v in y)
        room_c, room_ratio = around(t)
        vapour = ratio * p.pressure_pa / (air.MASS_RATIO + ratio)
        water = p.transpiration_kg_s(lit, air_c, max(0.0, saturation(air_c) - vapour))
        fabric_c = p.fabric_inside_share * air_c + (1.0 - p.fabric_inside_share) * room_c
        onto = p.film_kg_s * (ratio - ratio_of(saturation(fabric_c), p.pressure_pa))
        if onto < 0.0 and film <= 0.0:
            onto = 0.0
        return [
            (
                lamp_w * (1.0 - p.lamp_contents_share)
                - LATENT_J_PER_KG * water
                - p.heat_capacity_j_m3_k * total * (air_c - room_c)
                - p.wall_w_per_k * (air_c - room_c)
                - p.contents_w_per_k * (air_c - pots_c)
                + p.fabric_inside_share * LATENT_J_PER_KG * onto
            )
            / p.air_capacity_j_k,
            (lamp_w * p.lamp_contents_share + p.contents_w_per_k * (air_c - pots_c))
            / p.contents_capacity_j_k,
            (water - p.density_kg_m3 * total * (ratio - room_ratio) - onto)
            / (p.density_kg_m3 * p.volume_m3),
            onto,
            total / p.volume_m3 * (430.0 - co2) - p.co2_ppm_s(lit, co2),
        ]

    return rates


def solved(
    p: TentPhysics, flow_m3_s: float, lit: bool, around: Around, y: Any, from_s: float, for_s: float
) -> Any:
    """Carry the model on with scipy's LSODA at a tight tolerance."""
    solution = solve_ivp(
        derivatives(p, flow_m3_s, lit, around),
        (from_s, from_s + for_s),
        y,
        method="LSODA",
        rtol=1e-9,
        atol=1e-11,
    )
    end = np.array(solution.y[:, -1])
    end[3] = max(0.0, end[3])
    return end


def sized_tent(
    volume_m3: float, lamp_w_m2: float = 300.0, leaf_area_index: float = 2.0
) -> TentPhysics:
    """A tent of a volume, up to 2 m high, with a lamp and leaves for each area of floor."""
    height = min(2.0, (2.0 * volume_m3) ** (1.0 / 3.0))
    side = (volume_m3 / height) ** 0.5
    floor, walls = side * side, envelope.wall_area_m2(side, side, height)
    return pepper_tent(
        volume_m3=volume_m3,
        wall_w_per_k=envelope.wall_ua_w_per_k(side, side, height),
        air_capacity_j_k=1193.0 * volume_m3 + 1000.0 * walls + 2500.0,
        contents_capacity_j_k=110_000.0 * floor,
        contents_w_per_k=12.0 * floor,
        film_kg_s=walls * 3.0 / 1006.0,
        film_limit_kg=0.08 * walls,
        lamp_heat_w=lamp_w_m2 * floor,
        infiltration_m3_s=0.5 * volume_m3 / 3600.0,
        leaf_area_m2=leaf_area_index * floor,
    )
