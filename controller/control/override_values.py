"""What the watches compare: their values, and what outside air offers them."""

from __future__ import annotations

from controller import air
from controller.control.override_state import MOST_PCT_PER_K, WATCHES, OverrideKind
from controller.control.thresholds import Rules
from controller.control.types import Quantity, Reading


def surface_c(tent: Reading, intake: Reading | None) -> float:
    """Estimate the coldest surface inside the tent [°C].

    Thin fabric between two equal surface films (0.13 m²K/W each side, ISO 6946, from memory)
    sits midway between the air inside and the air of the room, which the intake sensor sees.
    Without one, or with a warmer room, surfaces are taken to be as warm as the tent's air.
    """
    if intake is None or intake.temperature_c >= tent.temperature_c:
        return tent.temperature_c
    return 0.5 * (tent.temperature_c + intake.temperature_c)


def values(tent: Reading, intake: Reading | None) -> tuple[float, ...]:
    """Give each watch's value, in the order of `WATCHES`.

    The fourth is how far the coldest surface is above the dew point of the tent's air [K].
    """
    _, temperature_c, humidity_pct = tent
    saturation_pa = air.saturation_vapour_pressure_pa(temperature_c)
    vapour_pa = humidity_pct * 0.01 * saturation_pa
    vpd_pa = saturation_pa - vapour_pa
    if humidity_pct >= 1.0:
        dew_c = min(air.dew_point_of_vapour_pressure_c(vapour_pa), temperature_c)
    else:
        dew_c = -60.0  # drier than a dew point is defined for
    distance_k = surface_c(tent, intake) - dew_c
    return (
        temperature_c,
        humidity_pct,
        vpd_pa,
        distance_k,
        temperature_c,
        humidity_pct,
        vpd_pa,
    )


def dew_distance_k(tent: Reading, intake: Reading | None) -> float:
    """How far the coldest surface is above the dew point of the tent's air [K]."""
    return values(tent, intake)[3]


def watched_value(kind: OverrideKind, tent: Reading, intake: Reading | None) -> float:
    """Give the value that a watch compares with its limit, in its unit."""
    return values(tent, intake)[WATCHES.index(kind)]


def potential(
    index: int, tent: Reading, intake: Reading | None, rules: Rules
) -> tuple[float, float]:
    """Say by how much the intake air is better than the tent's for a watch, and the margin.

    For temperatures [K]. For moisture, vapour pressures [Pa]: at one air pressure they order
    air exactly as humidity ratios do, which relative humidities of unequal temperatures do not.
    """
    if intake is None:
        return 1.0, 0.0  # nothing is known against it, whichever way it turns the fan
    kind, hysteresis = WATCHES[index], rules.hystereses[index]
    if kind.quantity is Quantity.TEMPERATURE:
        better = tent.temperature_c - intake.temperature_c
        margin = hysteresis
    else:
        vapour_pa = air.vapour_pressure_pa(tent.temperature_c, tent.humidity_pct)
        better = vapour_pa - air.vapour_pressure_pa(intake.temperature_c, intake.humidity_pct)
        if kind.quantity is Quantity.HUMIDITY:
            margin = air.vapour_pressure_pa(tent.temperature_c, min(100.0, hysteresis))
        elif kind.quantity is Quantity.VPD:
            margin = hysteresis
        else:
            margin = vapour_pa * min(1.0, hysteresis * MOST_PCT_PER_K / 200.0)
    return better, margin
