"""Losses where the air turns, enters and leaves: loss coefficients K, Δp = K ρv²/2."""

from __future__ import annotations

import math

SHARP_ENTRY_K = 0.57
"""Loss of a sharp-edged entry flush with a wall (Rennels & Hudson 2012, as in `fluids`)."""

EXIT_K = 1.0
"""Loss of a free exit in total pressure: the whole velocity pressure."""

ORIFICE_DISCHARGE = 0.61
"""Discharge coefficient of a sharp-edged opening (Bernoulli with a vena contracta of 0.61)."""


def bend_k(radius_ratio: float, friction_factor: float, angle_deg: float = 90.0) -> float:
    """Loss coefficient of a rounded bend, its own wall friction included.

    Parameters
    ----------
    radius_ratio : float
        Radius of the bend's centre line over the duct's diameter [-], 0.5 to 50.
    friction_factor : float
        Darcy friction factor of the duct [-], > 0.
    angle_deg : float
        Angle turned through [°], 0 to 180.

    Returns
    -------
    float
        Loss coefficient [-] on the velocity pressure in the duct.

    References
    ----------
    Rennels, D. C. & Hudson, H. M. (2012), Pipe Flow, eq. 15.1:
    K = f α r/D + (0.10 + 2.4 f) sin(α/2) + 6.6 f (√sin(α/2) + sin(α/2)) / (r/D)^(4α/π).
    """
    if not 0.5 <= radius_ratio <= 50.0:
        raise ValueError(f"bend radius over diameter must be 0.5 to 50, got {radius_ratio!r}")
    if not 0.0 <= angle_deg <= 180.0:
        raise ValueError(f"bend angle must be 0 to 180 °, got {angle_deg!r}")
    if not 0.0 < friction_factor < math.inf:
        raise ValueError(f"friction factor must be above 0, got {friction_factor!r}")
    angle = math.radians(angle_deg)
    sine = math.sin(angle / 2.0)
    return (
        friction_factor * angle * radius_ratio
        + (0.10 + 2.4 * friction_factor) * sine
        + 6.6
        * friction_factor
        * (math.sqrt(sine) + sine)
        / math.pow(radius_ratio, 4.0 * angle / math.pi)
    )


def static_exit_k(duct_over_fan: float) -> float:
    """What a free exit costs a fan in static pressure, on the duct's velocity pressure [-].

    The exit takes one velocity pressure of the fan's total pressure. A fan's static pressure is its
    total pressure less the velocity pressure at its outlet, so behind an outlet as
    wide as the duct nothing is left to pay.

    Parameters
    ----------
    duct_over_fan : float
        Diameter of the duct's end over that of the fan's outlet [-], ≥ 0. Above 1 pressure is
        regained, less what the widening itself loses, which is to be added.

    References
    ----------
    AMCA 210 (fan static pressure), ASHRAE Handbook Fundamentals, Duct Design (exit loss in total
    pressure); from memory.
    """
    if not 0.0 <= duct_over_fan < math.inf:
        raise ValueError(f"duct over fan must be 0 or more, got {duct_over_fan!r}")
    return EXIT_K - duct_over_fan**4


def openings_drop_pa(
    flow_m3_s: float,
    area_m2: float,
    density_kg_per_m3: float,
    discharge: float = ORIFICE_DISCHARGE,
) -> float:
    """Pressure it takes to draw air through open holes side by side [Pa].

    Holes in parallel share one pressure difference, so their free areas add up.

    Parameters
    ----------
    flow_m3_s : float
        Flow through all of them [m³/s], ≥ 0.
    area_m2 : float
        Sum of their free areas [m²], > 0; of a mesh only the holes count.
    density_kg_per_m3 : float
        Density of the air [kg/m³].
    discharge : float
        Discharge coefficient [-], 0 to 1.

    References
    ----------
    Orifice equation Q = Cd A √(2Δp/ρ) (ASHRAE Handbook Fundamentals, Ventilation and Infiltration).
    """
    if not 0.0 < area_m2 < math.inf:
        raise ValueError(f"area of the openings must be above 0 m², got {area_m2!r}")
    if not 0.0 < discharge <= 1.0:
        raise ValueError(f"discharge coefficient must be above 0 and at most 1, got {discharge!r}")
    velocity_m_s = flow_m3_s / (discharge * area_m2)
    return 0.5 * density_kg_per_m3 * velocity_m_s * velocity_m_s
