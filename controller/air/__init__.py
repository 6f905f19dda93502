"""The physics of moist air: pure functions, one formula each, standard library only.

One implementation for the control tick, the simulators, planning and review. Temperatures are
in °C, pressures in Pa; "per kg" means per kg of dry air, as the handbook counts. An argument
out of range, or NaN, raises ValueError naming the range; no function returns NaN. Every argument
and every result is one float.

References
----------
ASHRAE Handbook—Fundamentals (SI), 2017, chapter 1 "Psychrometrics": the equation numbers in
the docstrings are that chapter's. Its saturation curves are those of Hyland & Wexler, 1983.
"""

from controller.air.mixture import (
    MASS_RATIO,
    R_DRY_AIR,
    R_VAPOUR,
    STANDARD_PRESSURE_PA,
    absolute_humidity_kg_per_m3,
    density_kg_per_m3,
    enthalpy_j_per_kg,
    humidity_pct_from_ratio,
    humidity_ratio,
    humidity_ratio_of_vapour_pressure,
    pressure_at_elevation_pa,
    specific_volume_m3_per_kg,
    vapour_pressure_of_humidity_ratio_pa,
)
from controller.air.ranges import AirRangeError, ImpossibleAirError
from controller.air.saturation import (
    dew_point_c,
    dew_point_of_vapour_pressure_c,
    leaf_vpd_pa,
    saturation_over_water_pa,
    saturation_vapour_pressure_pa,
    vapour_pressure_pa,
    vpd_pa,
)
from controller.air.state import AirState, state_from
from controller.air.wet_bulb import humidity_ratio_of_wet_bulb, wet_bulb_c

__all__ = [
    "MASS_RATIO",
    "R_DRY_AIR",
    "R_VAPOUR",
    "STANDARD_PRESSURE_PA",
    "AirRangeError",
    "AirState",
    "ImpossibleAirError",
    "absolute_humidity_kg_per_m3",
    "density_kg_per_m3",
    "dew_point_c",
    "dew_point_of_vapour_pressure_c",
    "enthalpy_j_per_kg",
    "humidity_pct_from_ratio",
    "humidity_ratio",
    "humidity_ratio_of_vapour_pressure",
    "humidity_ratio_of_wet_bulb",
    "leaf_vpd_pa",
    "pressure_at_elevation_pa",
    "saturation_over_water_pa",
    "saturation_vapour_pressure_pa",
    "specific_volume_m3_per_kg",
    "state_from",
    "vapour_pressure_of_humidity_ratio_pa",
    "vapour_pressure_pa",
    "vpd_pa",
    "wet_bulb_c",
]
