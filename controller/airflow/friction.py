"""Friction of air in round duct: Darcy–Weisbach with the Colebrook friction factor."""

from __future__ import annotations

import math

STANDARD_DENSITY_KG_PER_M3 = 1.204
"""Density of dry air at 20 °C and 101 325 Pa [kg/m³]."""

AIR_VISCOSITY_PA_S = 1.825e-5
"""Dynamic viscosity of air at 20 °C [Pa s]; 0.25 % a kelvin, which moves friction by 0.05 %."""

LAMINAR_BELOW = 2000.0
"""Reynolds number up to which the flow is taken as laminar."""

TURBULENT_ABOVE = 4000.0
"""Reynolds number from which Colebrook's equation holds."""


def circle_area_m2(diameter_m: float) -> float:
    """Cross-section [m²] of a round duct of `diameter_m` [m]."""
    return math.pi * diameter_m * diameter_m / 4.0


def reynolds_number(velocity_m_s: float, diameter_m: float, density_kg_per_m3: float) -> float:
    """Reynolds number [-] of air at `velocity_m_s` [m/s] in a duct of `diameter_m` [m]."""
    return density_kg_per_m3 * velocity_m_s * diameter_m / AIR_VISCOSITY_PA_S


def colebrook_friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of turbulent flow, solved to machine precision.

    Parameters
    ----------
    reynolds : float
        Reynolds number [-], > 0; the equation is meant for 4000 and more.
    relative_roughness : float
        Wall roughness over diameter [-], 0 (smooth) to 0.2.

    Returns
    -------
    float
        Darcy (not Fanning) friction factor [-].

    References
    ----------
    Colebrook, C. F. (1939), J. Inst. Civ. Eng. 11:133–156:
    1/√f = −2 log10(ε/(3.7 D) + 2.51/(Re √f)). Newton's method on x = 1/√f, started from
    Haaland's explicit formula (1983), J. Fluids Eng. 105:89.
    """
    _require(0.0 < reynolds < math.inf, "Reynolds number", reynolds, "above 0")
    _require(0.0 <= relative_roughness <= 0.2, "relative roughness", relative_roughness, "0 to 0.2")
    rough = relative_roughness / 3.7
    smooth = 2.51 / reynolds
    x = max(0.1, -1.8 * math.log10(rough**1.11 + 6.9 / reynolds))
    for _ in range(50):
        argument = rough + smooth * x
        step = (x + 2.0 * math.log10(argument)) / (1.0 + 2.0 * smooth / (math.log(10.0) * argument))
        following = x - step
        if following <= 0.0:
            following = x / 2.0
        if abs(following - x) <= 4e-16 * x:
            break
        x = following
    return 1.0 / (x * x)


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor at any Reynolds number: laminar, transition, turbulent.

    Laminar flow follows 64/Re (Hagen–Poiseuille). Between Re 2000 and 4000, where the flow is
    neither, the factor is interpolated linearly in Re, so that the pressure drop stays continuous
    and rises with the flow; no formula is right there.

    Parameters
    ----------
    reynolds : float
        Reynolds number [-], > 0.
    relative_roughness : float
        Wall roughness over diameter [-], 0 to 0.2.
    """
    _require(0.0 < reynolds < math.inf, "Reynolds number", reynolds, "above 0")
    if reynolds <= LAMINAR_BELOW:
        return 64.0 / reynolds
    if reynolds >= TURBULENT_ABOVE:
        return colebrook_friction_factor(reynolds, relative_roughness)
    laminar = 64.0 / LAMINAR_BELOW
    turbulent = colebrook_friction_factor(TURBULENT_ABOVE, relative_roughness)
    share = (reynolds - LAMINAR_BELOW) / (TURBULENT_ABOVE - LAMINAR_BELOW)
    return laminar + share * (turbulent - laminar)


def friction_pa_per_m(
    flow_m3_s: float,
    diameter_m: float,
    roughness_m: float,
    density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3,
) -> float:
    """Pressure lost to friction in a metre of straight round duct [Pa/m].

    Parameters
    ----------
    flow_m3_s : float
        Volume flow [m³/s], ≥ 0.
    diameter_m : float
        Inside diameter [m], > 0.
    roughness_m : float
        Height of the wall's roughness [m], 0 to a fifth of the diameter.
    density_kg_per_m3 : float
        Density of the air [kg/m³], > 0.

    References
    ----------
    Darcy–Weisbach: Δp/L = f/D · ρ v²/2 (ASHRAE Handbook Fundamentals, Duct Design).
    """
    _require(0.0 <= flow_m3_s < math.inf, "flow", flow_m3_s, "0 m³/s or more")
    _require(0.0 < diameter_m < math.inf, "duct diameter", diameter_m, "above 0 m")
    _require(0.0 < density_kg_per_m3 < math.inf, "density", density_kg_per_m3, "above 0 kg/m³")
    if flow_m3_s == 0.0:
        return 0.0
    velocity_m_s = flow_m3_s / circle_area_m2(diameter_m)
    reynolds = reynolds_number(velocity_m_s, diameter_m, density_kg_per_m3)
    if reynolds < 1e-9:  # a flow too small to divide by
        return 0.0
    factor = friction_factor(reynolds, roughness_m / diameter_m)
    return factor / diameter_m * velocity_pressure_pa(velocity_m_s, density_kg_per_m3)


def velocity_pressure_pa(velocity_m_s: float, density_kg_per_m3: float) -> float:
    """Velocity pressure ρv²/2 [Pa]."""
    return 0.5 * density_kg_per_m3 * velocity_m_s * velocity_m_s


def _require(holds: bool, name: str, value: float, expected: str) -> None:
    if not holds:
        raise ValueError(f"{name} must be {expected}, got {value!r}")
