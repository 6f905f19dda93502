"""The physics of moist air: pure functions, one formula each, standard library only.

Everything here is called from hot loops (the control tick, simulated months), so a range
check costs one chained comparison, which NaN fails too. Temperatures are in °C, pressures in
Pa, masses in kg *per kg of dry air* where the handbook counts them so.

References
----------
ASHRAE Handbook—Fundamentals (SI), 2017, chapter 1 "Psychrometrics": the equation numbers in
the docstrings are that chapter's. Equations 5 and 6 are those of Hyland & Wexler, 1983.
"""

from __future__ import annotations

from math import exp, log

T_MIN_C = -100.0
T_MAX_C = 200.0
PRESSURE_MIN_PA = 20_000.0
PRESSURE_MAX_PA = 120_000.0
ELEVATION_MIN_M = -5_000.0
ELEVATION_MAX_M = 11_000.0

STANDARD_PRESSURE_PA = 101_325.0
ZERO_C_IN_K = 273.15

# Gas constant of dry air [J/(kg K)] and the ratio of the molar masses of water and air (ch. 1).
R_DRY_AIR = 287.042
MASS_RATIO = 0.621945
R_VAPOUR = R_DRY_AIR / MASS_RATIO

# The two saturation curves meet at the triple point, not at 0 °C.
_TRIPLE_POINT_C = 0.01


def _outside(what: str, value: float, low: float, high: float, unit: str) -> ValueError:
    return ValueError(f"{what} must be from {low:g} to {high:g} {unit}, got {value!r}")


def _check_pressure(pressure_pa: float) -> None:
    if not PRESSURE_MIN_PA <= pressure_pa <= PRESSURE_MAX_PA:
        raise _outside("pressure", pressure_pa, PRESSURE_MIN_PA, PRESSURE_MAX_PA, "Pa")


def _check_ratio(w: float) -> None:
    if not 0.0 <= w <= 10.0:
        raise _outside("humidity ratio", w, 0.0, 10.0, "kg/kg")


def saturation_vapour_pressure_pa(t_c: float) -> float:
    """Pressure of water vapour in equilibrium with liquid water, or with ice below 0.01 °C.

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.

    Returns
    -------
    float
        Saturation vapour pressure [Pa].

    Raises
    ------
    ValueError
        If the temperature is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 5 (ice) and 6 (water).
    """
    if not T_MIN_C <= t_c <= T_MAX_C:
        raise _outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    k = t_c + 273.15
    if t_c > 0.01:
        return exp(
            -5.8002206e3 / k
            + 1.3914993
            + k * (-4.8640239e-2 + k * (4.1764768e-5 - 1.4452093e-8 * k))
            + 6.5459673 * log(k)
        )
    return exp(
        -5.6745359e3 / k
        + 6.3925247
        + k * (-9.677843e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 - 9.484024e-13 * k)))
        + 4.1635019 * log(k)
    )


_E_MIN_PA = saturation_vapour_pressure_pa(T_MIN_C)
_E_MAX_PA = saturation_vapour_pressure_pa(T_MAX_C)
# The curve over water at the triple point: the lowest vapour pressure with a liquid dew point.
_E_TRIPLE_PA = saturation_vapour_pressure_pa(_TRIPLE_POINT_C + 1e-12)


def dew_point_of_vapour_pressure_c(e_pa: float) -> float:
    """Temperature at which a vapour pressure saturates: the dew point, or the frost point.

    Parameters
    ----------
    e_pa : float
        Vapour pressure [Pa], from saturation at −100 °C (0.0014) to that at 200 °C (1 555 000).

    Returns
    -------
    float
        Dew point, below 0.01 °C the frost point [°C]; within 1e-7 K of the exact inverse.

    Raises
    ------
    ValueError
        If the vapour pressure is outside its range, or NaN.

    Notes
    -----
    Solves eq. 5 or 6 (ASHRAE Fundamentals 2017 ch. 1) by Newton's method on ln e. The first
    guess is a cubic in ln e for 1/T that was fitted to those equations; it is within 0.001 K
    from −60 to 60 °C, so that a single step suffices there.
    """
    if not _E_MIN_PA <= e_pa <= _E_MAX_PA:
        raise _outside("vapour pressure", e_pa, _E_MIN_PA, _E_MAX_PA, "Pa")
    x = log(e_pa)
    step = 1.0
    if e_pa >= _E_TRIPLE_PA:
        k = 1.0 / (4.8167836e-3 + x * (-1.78515077e-4 + x * (1.68938938e-7 - 6.62234794e-8 * x)))
        # Newton's error after a step s is about s²/250 K.
        while step > 1e-3 or step < -1e-3:
            step = (
                x
                + 5.8002206e3 / k
                - 1.3914993
                - k * (-4.8640239e-2 + k * (4.1764768e-5 - 1.4452093e-8 * k))
                - 6.5459673 * log(k)
            ) / (
                5.8002206e3 / (k * k)
                + 6.5459673 / k
                - 4.8640239e-2
                + k * (8.3529536e-5 - 4.3356279e-8 * k)
            )
            k += step
        return k - 273.15
    k = 1.0 / (4.7043159e-3 + x * (-1.6274946e-4 + x * (5.49276620e-8 - 5.61768768e-9 * x)))
    while step > 1e-3 or step < -1e-3:
        step = (
            x
            + 5.6745359e3 / k
            - 6.3925247
            - k * (-9.677843e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 - 9.484024e-13 * k)))
            - 4.1635019 * log(k)
        ) / (
            5.6745359e3 / (k * k)
            + 4.1635019 / k
            - 9.677843e-3
            + k * (1.24431402e-6 + k * (6.2243475e-9 - 3.7936096e-12 * k))
        )
        k += step
    return k - 273.15


def vapour_pressure_pa(t_c: float, rh_pct: float) -> float:
    """Partial pressure of the water vapour in air of a relative humidity.

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    rh_pct : float
        Relative humidity [%], 0 to 100; over ice below 0.01 °C.

    Returns
    -------
    float
        Vapour pressure [Pa].

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 12 (definition of relative humidity, perfect gas).
    """
    if not 0.0 <= rh_pct <= 100.0:
        raise _outside("relative humidity", rh_pct, 0.0, 100.0, "%")
    return rh_pct * 0.01 * saturation_vapour_pressure_pa(t_c)


def dew_point_c(t_c: float, rh_pct: float) -> float:
    """Dew point (below 0.01 °C the frost point) of air [°C].

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.
    rh_pct : float
        Relative humidity [%], above 0 to 100. Air without any vapour has no dew point: the
        vapour pressure must reach saturation at −100 °C, which at 20 °C is 0.00006 %.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    Inverts the saturation curve; see `dew_point_of_vapour_pressure_c`.
    """
    e_pa = vapour_pressure_pa(t_c, rh_pct)
    if e_pa < _E_MIN_PA:
        least_pct = 100.0 * _E_MIN_PA / saturation_vapour_pressure_pa(t_c)
        raise _outside("relative humidity (for a dew point)", rh_pct, least_pct, 100.0, "%")
    # The inverse is exact to 1e-7 K only; a dew point above the air's temperature would be absurd.
    return min(dew_point_of_vapour_pressure_c(e_pa), t_c)


def vpd_pa(t_c: float, rh_pct: float) -> float:
    """Vapour pressure deficit of the air itself: saturation minus vapour pressure [Pa].

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
    FAO Irrigation and Drainage Paper 56 (1998) ch. 3, on the saturation curve of this module.
    """
    if not 0.0 <= rh_pct <= 100.0:
        raise _outside("relative humidity", rh_pct, 0.0, 100.0, "%")
    return (1.0 - rh_pct * 0.01) * saturation_vapour_pressure_pa(t_c)


def leaf_vpd_pa(t_c: float, rh_pct: float, leaf_c: float) -> float:
    """Vapour pressure deficit from the inside of a leaf to the air [Pa].

    Parameters
    ----------
    t_c : float
        Air temperature [°C], −100 to 200.
    rh_pct : float
        Relative humidity of the air [%], 0 to 100.
    leaf_c : float
        Leaf temperature [°C], −100 to 200.

    Returns
    -------
    float
        Saturation pressure at leaf temperature minus vapour pressure of the air [Pa];
        negative where the leaf is below the dew point and water condenses on it.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    The air spaces in a leaf are taken as saturated: the usual assumption of gas exchange,
    e.g. Jones, Plants and Microclimate, 3rd ed. 2014, ch. 6 (from memory).
    """
    return saturation_vapour_pressure_pa(leaf_c) - vapour_pressure_pa(t_c, rh_pct)


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
    """Humidity ratio [kg/kg] of air with vapour pressure `e_pa` [Pa], from 0 to below pressure.

    `pressure_pa` is the total [Pa], 20 000 to 120 000; ValueError outside. ASHRAE
    Fundamentals 2017 ch. 1 eq. 20.
    """
    _check_pressure(pressure_pa)
    # 10 kg/kg bounds how near to pure steam "air" may come, as for every ratio taken in.
    if not 0.0 <= e_pa <= pressure_pa * (10.0 / (10.0 + MASS_RATIO)):
        raise ValueError(
            "vapour pressure must be from 0 Pa to below the total pressure "
            f"of {pressure_pa:g} Pa, got {e_pa!r}"
        )
    return MASS_RATIO * e_pa / (pressure_pa - e_pa)


def vapour_pressure_of_humidity_ratio_pa(w: float, pressure_pa: float) -> float:
    """Vapour pressure [Pa] of air with humidity ratio `w` [kg/kg], 0 to 10.

    `pressure_pa` is the total [Pa], 20 000 to 120 000; ValueError outside. ASHRAE
    Fundamentals 2017 ch. 1 eq. 20, solved for the vapour pressure.
    """
    _check_ratio(w)
    _check_pressure(pressure_pa)
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


def humidity_ratio_of_wet_bulb(t_c: float, wet_bulb_c: float, pressure_pa: float) -> float:
    """Humidity ratio [kg/kg] from dry bulb and thermodynamic wet bulb.

    Parameters
    ----------
    t_c : float
        Dry-bulb temperature [°C], −100 to 200.
    wet_bulb_c : float
        Wet-bulb temperature [°C], at most `t_c` and below boiling; an iced bulb below 0 °C.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Returns
    -------
    float
        Humidity ratio [kg/kg]; negative where no air could have so low a wet bulb.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    ASHRAE Fundamentals 2017 ch. 1 eq. 33 (water) and 35 (ice).
    """
    if not T_MIN_C <= t_c <= T_MAX_C:
        raise _outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    if not T_MIN_C <= wet_bulb_c <= t_c:
        raise _outside("wet bulb", wet_bulb_c, T_MIN_C, t_c, "°C (not above the dry bulb)")
    saturated = humidity_ratio(wet_bulb_c, 100.0, pressure_pa)
    if wet_bulb_c >= 0.0:
        return ((2501.0 - 2.326 * wet_bulb_c) * saturated - 1.006 * (t_c - wet_bulb_c)) / (
            2501.0 + 1.86 * t_c - 4.186 * wet_bulb_c
        )
    return ((2830.0 - 0.24 * wet_bulb_c) * saturated - 1.006 * (t_c - wet_bulb_c)) / (
        2830.0 + 1.86 * t_c - 2.1 * wet_bulb_c
    )


def wet_bulb_c(t_c: float, rh_pct: float, pressure_pa: float) -> float:
    """Thermodynamic wet-bulb temperature [°C].

    Parameters
    ----------
    t_c : float
        Dry-bulb temperature [°C], −100 to 200; below boiling at the pressure.
    rh_pct : float
        Relative humidity [%], 0 to 100.
    pressure_pa : float
        Pressure of the moist air [Pa], 20 000 to 120 000.

    Returns
    -------
    float
        Wet bulb [°C], within 1e-6 K of the equations' root. Where both a wet and an iced bulb
        are possible (a band of some tenths of a kelvin below 0 °C), the wet one.

    Raises
    ------
    ValueError
        If an argument is outside its range, or NaN.

    Notes
    -----
    Solves ASHRAE Fundamentals 2017 ch. 1 eq. 33 (water) or 35 (ice) by false position
    (Illinois), which keeps the root bracketed.
    """
    w = humidity_ratio(t_c, rh_pct, pressure_pa)
    if t_c >= 0.0 and humidity_ratio_of_wet_bulb(t_c, 0.0, pressure_pa) <= w:
        low, high = 0.0, t_c
    else:
        # Just below 0 °C the bulb is iced; the curve jumps there.
        low, high = max(T_MIN_C, t_c - 100.0), min(t_c, -1e-12)
    f_low = humidity_ratio_of_wet_bulb(t_c, low, pressure_pa) - w
    f_high = humidity_ratio_of_wet_bulb(t_c, high, pressure_pa) - w
    if f_high <= 0.0:
        return high
    if f_low >= 0.0:
        return low
    side = 0
    guess = high
    for _ in range(200):
        previous = guess
        guess = (low * f_high - high * f_low) / (f_high - f_low)
        if abs(guess - previous) < 1e-9 or high - low < 1e-9:
            break
        f_guess = humidity_ratio_of_wet_bulb(t_c, guess, pressure_pa) - w
        if f_guess > 0.0:
            high, f_high = guess, f_guess
            if side == 1:
                f_low *= 0.5
            side = 1
        else:
            low, f_low = guess, f_guess
            if side == -1:
                f_high *= 0.5
            side = -1
    return guess


def enthalpy_j_per_kg(t_c: float, w: float) -> float:
    """Enthalpy of moist air per kg of dry air, from dry air and liquid water at 0 °C [J/kg].

    `t_c` is the temperature [°C], −100 to 200, `w` the humidity ratio [kg/kg], 0 to 10;
    ValueError outside. ASHRAE Fundamentals 2017 ch. 1 eq. 30.
    """
    if not T_MIN_C <= t_c <= T_MAX_C:
        raise _outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    _check_ratio(w)
    return 1006.0 * t_c + w * (2_501_000.0 + 1860.0 * t_c)


def specific_volume_m3_per_kg(t_c: float, w: float, pressure_pa: float) -> float:
    """Volume of moist air per kg of dry air [m³/kg].

    `t_c` is the temperature [°C], −100 to 200, `w` the humidity ratio [kg/kg], 0 to 10,
    `pressure_pa` 20 000 to 120 000; ValueError outside. ASHRAE Fundamentals 2017 ch. 1 eq. 26.
    """
    if not T_MIN_C <= t_c <= T_MAX_C:
        raise _outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    _check_ratio(w)
    _check_pressure(pressure_pa)
    return R_DRY_AIR * (t_c + 273.15) * (1.0 + 1.607858 * w) / pressure_pa


def density_kg_per_m3(t_c: float, w: float, pressure_pa: float) -> float:
    """Density of moist air, vapour included [kg/m³].

    Arguments and their ranges as for `specific_volume_m3_per_kg`. ASHRAE Fundamentals 2017
    ch. 1 eq. 11.
    """
    return (1.0 + w) / specific_volume_m3_per_kg(t_c, w, pressure_pa)


def absolute_humidity_kg_per_m3(t_c: float, rh_pct: float) -> float:
    """Mass of vapour per volume of moist air [kg/m³].

    `t_c` is the temperature [°C], −100 to 200, `rh_pct` the relative humidity [%], 0 to 100;
    ValueError outside. Perfect gas with the vapour's gas constant, as ASHRAE Fundamentals
    2017 ch. 1 (eq. 9 with eq. 2's constant).
    """
    return vapour_pressure_pa(t_c, rh_pct) / (R_VAPOUR * (t_c + 273.15))


def pressure_at_elevation_pa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere [Pa] at an elevation [m], −5000 to 11 000.

    ValueError outside. ASHRAE Fundamentals 2017 ch. 1 eq. 3.
    """
    if not ELEVATION_MIN_M <= elevation_m <= ELEVATION_MAX_M:
        raise _outside("elevation", elevation_m, ELEVATION_MIN_M, ELEVATION_MAX_M, "m")
    return float(STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * elevation_m) ** 5.2559)
