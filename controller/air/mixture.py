"""Vapour and dry air together, at a total pressure: ratio, enthalpy, volume, density."""

from __future__ import annotations

from controller.air.constants import DRY_AIR_J_PER_KG_K, VAPOUR_J_PER_KG_K
from controller.air.ranges import (
    ELEVATION_MAX_M,
    ELEVATION_MIN_M,
    RATIO_MAX,
    T_MAX_C,
    T_MIN_C,
    AirRangeError,
    check_pressure,
    check_ratio,
    outside,
)
from controller.air.saturation import saturation_vapour_pressure_pa, vapour_pressure_pa

STANDARD_PRESSURE_PA = 101_325.0
# Gas constant of dry air [J/(kg K)] and the ratio of the molar masses of water and air (ch. 1).
R_DRY_AIR = 287.042
MASS_RATIO = 0.621945
R_VAPOUR = R_DRY_AIR / MASS_RATIO


def humidity_ratio(t_c: float, rh_pct: float, pressure_pa: float) -> float:
    """Mass of vapour per mass of dry air [kg/kg].

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200; below boiling at the pressure.
    rh_pct : float
        Relative humidity [%], 0 to 100.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN, or if the vapour pressure reaches the total.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 20 (perfect gas: no enhancement factor, which would
    add 0.3 to 0.6 % in a tent's range).
    """
    return humidity_ratio_of_vapour_pressure(vapour_pressure_pa(t_c, rh_pct), pressure_pa)


def humidity_ratio_of_vapour_pressure(e_pa: float, pressure_pa: float) -> float:
    """Humidity ratio of air with a vapour pressure [kg/kg].

    Parameters
    ----------
    e_pa : float
        Vapour pressure [Pa], 0 to below the total.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 20.
    """
    check_pressure(pressure_pa)
    # The same bound as on every ratio taken in.
    if not 0.0 <= e_pa <= pressure_pa * (RATIO_MAX / (RATIO_MAX + MASS_RATIO)):
        raise AirRangeError(
            "vapour pressure must be from 0 Pa to below the total pressure "
            f"of {pressure_pa:g} Pa, got {e_pa!r}"
        )
    return MASS_RATIO * e_pa / (pressure_pa - e_pa)


def vapour_pressure_of_humidity_ratio_pa(w: float, pressure_pa: float) -> float:
    """Vapour pressure of air with a humidity ratio [Pa].

    Parameters
    ----------
    w : float
        Humidity ratio [kg/kg], 0 to 10.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 20, solved for the vapour pressure.
    """
    check_ratio(w)
    check_pressure(pressure_pa)
    return pressure_pa * w / (MASS_RATIO + w)


def humidity_pct_from_ratio(t_c: float, w: float, pressure_pa: float) -> float:
    """Relative humidity [%] of air that holds a humidity ratio.

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    w : float
        Humidity ratio [kg/kg], 0 to 10.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Returns
    -------
    float
        Relative humidity [%]; above 100 where the air cannot hold it and the rest condenses.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 12 and 20.
    """
    e_pa = vapour_pressure_of_humidity_ratio_pa(w, pressure_pa)
    return 100.0 * e_pa / saturation_vapour_pressure_pa(t_c)


def enthalpy_j_per_kg(t_c: float, w: float) -> float:
    """Enthalpy of moist air per kg of dry air [J/kg]; zero is dry air and liquid water at 0 °C.

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    w : float
        Humidity ratio [kg/kg], 0 to 10.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 30.
    """
    if not T_MIN_C <= t_c <= T_MAX_C:
        raise outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    check_ratio(w)
    return DRY_AIR_J_PER_KG_K * t_c + w * (2_501_000.0 + VAPOUR_J_PER_KG_K * t_c)


def specific_volume_m3_per_kg(t_c: float, w: float, pressure_pa: float) -> float:
    """Volume of moist air per kg of dry air [m³/kg].

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    w : float
        Humidity ratio [kg/kg], 0 to 10.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 26.
    """
    if not T_MIN_C <= t_c <= T_MAX_C:
        raise outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    check_ratio(w)
    check_pressure(pressure_pa)
    return R_DRY_AIR * (t_c + 273.15) * (1.0 + 1.607858 * w) / pressure_pa


def density_kg_per_m3(t_c: float, w: float, pressure_pa: float) -> float:
    """Density of moist air, vapour included [kg/m³].

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    w : float
        Humidity ratio [kg/kg], 0 to 10.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 11.
    """
    return (1.0 + w) / specific_volume_m3_per_kg(t_c, w, pressure_pa)


def absolute_humidity_kg_per_m3(t_c: float, rh_pct: float) -> float:
    """Mass of vapour per volume of moist air [kg/m³].

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    rh_pct : float
        Relative humidity [%], 0 to 100.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    The definition of ASHRAE Fundamentals 2017 ch. 1 ("absolute humidity"), with vapour as a
    perfect gas: e / (R_w T), where R_w is dry air's gas constant over the ratio of molar masses.
    """
    return vapour_pressure_pa(t_c, rh_pct) / (R_VAPOUR * (t_c + 273.15))


def pressure_at_elevation_pa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere [Pa].

    Parameters
    ----------
    elevation_m : float
        Height above sea level [m], −5000 to 11 000.

    Raises
    ------
    ValueError
        If the elevation is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 3.
    """
    if not ELEVATION_MIN_M <= elevation_m <= ELEVATION_MAX_M:
        raise outside("elevation", elevation_m, ELEVATION_MIN_M, ELEVATION_MAX_M, "m")
    return float(STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * elevation_m) ** 5.2559)
