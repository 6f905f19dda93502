"""Thermodynamic wet bulb: the temperature to which evaporating water cools the air."""

from __future__ import annotations

from controller.air.mixture import humidity_ratio
from controller.air.ranges import T_MAX_C, T_MIN_C, outside


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
        raise outside("temperature", t_c, T_MIN_C, T_MAX_C, "°C")
    if not T_MIN_C <= wet_bulb_c <= t_c:
        raise outside("wet bulb", wet_bulb_c, T_MIN_C, t_c, "°C (not above the dry bulb)")
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
