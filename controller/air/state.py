"""The whole state of the air from any two of its quantities."""

from __future__ import annotations

from typing import NamedTuple

from controller.air.mixture import (
    R_VAPOUR,
    density_kg_per_m3,
    enthalpy_j_per_kg,
    humidity_ratio_of_vapour_pressure,
    specific_volume_m3_per_kg,
)
from controller.air.pairs import SOLVERS
from controller.air.ranges import (
    STATE_T_MAX_C,
    STATE_T_MIN_C,
    T_MIN_C,
    ImpossibleAirError,
    check_pressure,
    outside,
)
from controller.air.saturation import (
    dew_point_of_vapour_pressure_c,
    saturation_vapour_pressure_pa,
)
from controller.air.wet_bulb import wet_bulb_c


class AirState(NamedTuple):
    """Everything about the air at one point, at one pressure.

    Attributes
    ----------
    temperature_c : float
        Dry-bulb temperature [°C].
    humidity_pct : float
        Relative humidity [%], 0–100; over ice below 0.01 °C.
    pressure_pa : float
        Total pressure [Pa].
    vapour_pressure_pa : float
        Partial pressure of the vapour [Pa].
    dew_point_c : float
        Dew point, below 0.01 °C the frost point [°C].
    wet_bulb_c : float
        Thermodynamic wet bulb [°C].
    humidity_ratio_kg_per_kg : float
        Vapour per dry air [kg/kg].
    absolute_humidity_kg_per_m3 : float
        Vapour per volume [kg/m³].
    enthalpy_j_per_kg : float
        Enthalpy per dry air, zero at 0 °C [J/kg].
    specific_volume_m3_per_kg : float
        Volume per dry air [m³/kg].
    density_kg_per_m3 : float
        Density, vapour included [kg/m³].
    vpd_pa : float
        Vapour pressure deficit of the air [Pa].
    """

    temperature_c: float
    humidity_pct: float
    pressure_pa: float
    vapour_pressure_pa: float
    dew_point_c: float
    wet_bulb_c: float
    humidity_ratio_kg_per_kg: float
    absolute_humidity_kg_per_m3: float
    enthalpy_j_per_kg: float
    specific_volume_m3_per_kg: float
    density_kg_per_m3: float
    vpd_pa: float


def state_from(
    pressure_pa: float,
    *,
    temperature_c: float | None = None,
    humidity_pct: float | None = None,
    dew_point_c: float | None = None,
    vpd_pa: float | None = None,
    wet_bulb_c: float | None = None,
) -> AirState:
    """Solve the state of the air from exactly two quantities.

    Parameters
    ----------
    pressure_pa : float
        Total pressure [Pa], 20 000 to 120 000.
    temperature_c : float, optional
        Dry-bulb temperature [°C]; whether given or found, −60 to 80.
    humidity_pct : float, optional
        Relative humidity [%], 0 to 100.
    dew_point_c : float, optional
        Dew point or frost point [°C], −100 to 80, at most the temperature.
    vpd_pa : float, optional
        Vapour pressure deficit of the air [Pa], 0 or more, below saturation.
    wet_bulb_c : float, optional
        Thermodynamic wet bulb [°C], from dew point to temperature.

    Returns
    -------
    AirState
        The state; the two given quantities are in it unchanged.

    Raises
    ------
    ImpossibleAirError
        If no air can have both, or it is out of range; a ValueError that says which and why.
    ValueError
        If not exactly two are given, or one is out of range by itself, or NaN.
    """
    given = {
        name: value
        for name, value in (
            ("temperature_c", temperature_c),
            ("humidity_pct", humidity_pct),
            ("dew_point_c", dew_point_c),
            ("vpd_pa", vpd_pa),
            ("wet_bulb_c", wet_bulb_c),
        )
        if value is not None
    }
    if len(given) != 2:
        raise ValueError(
            "two quantities determine the air: give exactly two of temperature, relative "
            f"humidity, dew point, VPD and wet bulb, got {len(given)}"
        )
    check_pressure(pressure_pa)
    _check_given(given)
    first, second = given  # in the order above
    t_c, e_pa = SOLVERS[first, second](given[first], given[second], pressure_pa)
    if not STATE_T_MIN_C <= t_c <= STATE_T_MAX_C:
        raise ImpossibleAirError(
            "that air would be at {t}; the range is {low} to {high}",
            t=t_c,
            low=STATE_T_MIN_C,
            high=STATE_T_MAX_C,
        )
    return _build(t_c, e_pa, pressure_pa)._replace(**given)


def _check_given(given: dict[str, float]) -> None:
    ranges = {
        "temperature_c": ("temperature", STATE_T_MIN_C, STATE_T_MAX_C, "°C"),
        "humidity_pct": ("relative humidity", 0.0, 100.0, "%"),
        "dew_point_c": ("dew point", T_MIN_C, STATE_T_MAX_C, "°C"),
        "vpd_pa": ("VPD", 0.0, saturation_vapour_pressure_pa(STATE_T_MAX_C), "Pa"),
        "wet_bulb_c": ("wet bulb", STATE_T_MIN_C, STATE_T_MAX_C, "°C"),
    }
    for name, value in given.items():
        what, low, high, unit = ranges[name]
        if not low <= value <= high:
            if unit == "°C":
                raise ImpossibleAirError(
                    what + " must be from {low} to {high}, got {got}", low=low, high=high, got=value
                )
            raise outside(what, value, low, high, unit)


def _build(t_c: float, e_pa: float, pressure_pa: float) -> AirState:
    saturated_pa = saturation_vapour_pressure_pa(t_c)
    # Rounding in the solvers may leave a hair more than saturation.
    e_pa = min(e_pa, saturated_pa)
    humidity_pct = min(100.0, 100.0 * e_pa / saturated_pa)
    w = humidity_ratio_of_vapour_pressure(e_pa, pressure_pa)
    try:
        dew_c = min(dew_point_of_vapour_pressure_c(e_pa), t_c)
    except ValueError:
        raise ImpossibleAirError(
            f"air this dry ({humidity_pct:.3g} %" + " at {t}) has no dew point above {least}",
            t=t_c,
            least=T_MIN_C,
        ) from None
    return AirState(
        temperature_c=t_c,
        humidity_pct=humidity_pct,
        pressure_pa=pressure_pa,
        vapour_pressure_pa=e_pa,
        dew_point_c=dew_c,
        wet_bulb_c=wet_bulb_c(t_c, humidity_pct, pressure_pa),
        humidity_ratio_kg_per_kg=w,
        absolute_humidity_kg_per_m3=e_pa / (R_VAPOUR * (t_c + 273.15)),
        enthalpy_j_per_kg=enthalpy_j_per_kg(t_c, w),
        specific_volume_m3_per_kg=specific_volume_m3_per_kg(t_c, w, pressure_pa),
        density_kg_per_m3=density_kg_per_m3(t_c, w, pressure_pa),
        vpd_pa=saturated_pa - e_pa,
    )
