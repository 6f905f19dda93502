"""Heat through the fabric of a tent. Pure, standard library only."""

from __future__ import annotations

import math

FILM_M2_K_PER_W = 0.13
"""Resistance of the still air on one side of a wall [m²K/W] (ISO 6946, horizontal heat flow)."""

LINED_FILM_M2_K_PER_W = 0.30
"""The same inside a shiny lining that hardly radiates (ISO 6946 with an emissivity near 0.15)."""

WALL_U_W_PER_M2_K = 1.0 / (2.0 * FILM_M2_K_PER_W)
"""Transmittance of thin fabric: a film on each side, the cloth itself counts for nothing."""

STIRRED_FILM_M2_K_PER_W = 0.09
"""The same inside a dull lining that a stirring fan blows along (ISO 6946: 5.1 W/m²K by radiation,
and by convection its 4 + 4 v at 0.5 m/s; from memory)."""

WALL_U_RANGE = (
    1.0 / (FILM_M2_K_PER_W + LINED_FILM_M2_K_PER_W),
    1.0 / (FILM_M2_K_PER_W + STIRRED_FILM_M2_K_PER_W),
)
"""From still air along a shiny lining to stirred air along a dull one. Common tents have a shiny
lining and stirred air, which about cancel: two plain films are the best guess."""


def wall_area_m2(width_m: float, depth_m: float, height_m: float) -> float:
    """Walls and roof of a box [m²], without its floor, which loses no heat to the room's air."""
    for name, value in (("width", width_m), ("depth", depth_m), ("height", height_m)):
        if not 0.0 < value < math.inf:
            raise ValueError(f"{name} of the tent must be above 0 m, got {value!r}")
    return 2.0 * (width_m + depth_m) * height_m + width_m * depth_m


def wall_ua_w_per_k(
    width_m: float, depth_m: float, height_m: float, u_w_per_m2_k: float = WALL_U_W_PER_M2_K
) -> float:
    """Heat that walls and roof let through for each kelvin over the room [W/K].

    Parameters
    ----------
    width_m, depth_m, height_m : float
        Inside of the tent [m], > 0.
    u_w_per_m2_k : float
        Transmittance [W m⁻² K⁻¹], > 0.
    """
    if not 0.0 < u_w_per_m2_k < math.inf:
        raise ValueError(f"transmittance must be above 0 W/m²K, got {u_w_per_m2_k!r}")
    return u_w_per_m2_k * wall_area_m2(width_m, depth_m, height_m)
