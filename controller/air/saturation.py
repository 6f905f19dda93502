"""Water vapour by itself: saturation, dew point, vapour pressure and its deficit.

Called several times in every control tick: constants are written into the expressions, the
polynomials nested, and a range check is one chained comparison, which NaN fails too.
"""

from __future__ import annotations

from math import exp, log

from controller.air.ranges import T_MAX_C, T_MIN_C, outside


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
        raise outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
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


def saturation_over_water_pa(t_c: float) -> float:
    """Pressure of water vapour in equilibrium with liquid water, supercooled below 0.01 °C.

    What meteorological stations mean by dew point and relative humidity, in frost as well.

    Parameters
    ----------
    t_c : float
        Temperature [°C], −100 to 200.

    Returns
    -------
    float
        Saturation vapour pressure over water [Pa]; below −45 °C, where the formula is not vouched
        for and next to no vapour is left, by the same curve.

    Raises
    ------
    ValueError
        If the temperature is outside its range, or NaN.

    Notes
    -----
    WMO-No. 8, Guide to Instruments and Methods of Observation, 2018, vol. I annex 4.B, for pure
    vapour over supercooled water, −45 °C and above; over 0.01 °C as
    `saturation_vapour_pressure_pa`. That stations report with respect to water at all
    temperatures is in chapter 4 of the same guide. Edition and annex are from memory.
    """
    if t_c > 0.01 or not t_c >= T_MIN_C:
        return saturation_vapour_pressure_pa(t_c)
    return 611.2 * exp(17.62 * t_c / (243.12 + t_c))


_E_MIN_PA = saturation_vapour_pressure_pa(T_MIN_C)
_E_MAX_PA = saturation_vapour_pressure_pa(T_MAX_C)
# The curve over water at the triple point: the lowest vapour pressure with a liquid dew point.
_E_TRIPLE_PA = saturation_vapour_pressure_pa(0.01 + 1e-12)


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
        raise outside("vapour pressure", e_pa, _E_MIN_PA, _E_MAX_PA, "Pa")
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
        raise outside("relative humidity", rh_pct, 0.0, 100.0, "%")
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
        raise outside("relative humidity (for a dew point)", rh_pct, least_pct, 100.0, "%")
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
        raise outside("relative humidity", rh_pct, 0.0, 100.0, "%")
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
