"""Constants of air and water that more than one formula needs."""

DRY_AIR_J_PER_KG_K = 1006.0
"""Specific heat of dry air [J/(kg K)] (ASHRAE Handbook Fundamentals, Psychrometrics)."""

VAPOUR_J_PER_KG_K = 1860.0
"""Specific heat of water vapour [J/(kg K)] (the same)."""

LATENT_J_PER_KG = 2.45e6
"""Heat taken up by a kilogram of water that evaporates at 20 °C [J/kg] (FAO-56, eq. 8)."""

GAS_J_PER_MOL_K = 8.314462618
"""Molar gas constant [J/(mol K)] (CODATA)."""

WATER_KG_PER_MOL = 0.018015
"""Molar mass of water [kg/mol]."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvins (by definition)."""

OUTDOOR_CO2_PPM = 420.0
"""Carbon dioxide of air outdoors [ppm]; the mean of 2023 was 421 at Mauna Loa (NOAA Global
Monitoring Laboratory, from memory)."""
