"""The units a config takes, as value × factor + offset in SI, by pint's names.

Exact by definition: NIST SP 811 (2008) appendix B.8 for inch, foot, gallon and the conventional
columns of water. The library pint knows them all, but importing it takes half a second and some
35 MB, which no command should spend on reading a config: tests hold this table against it.
"""

from __future__ import annotations

_INCH_M = 0.0254
_FOOT_M = 0.3048
# Conventional: 1000 kg/m³ and 9.80665 m/s².
_PA_PER_M_OF_WATER = 9806.65

FACTORS: dict[tuple[str, str], tuple[float, float]] = {
    ("millimeter", "meter"): (1e-3, 0.0),
    ("centimeter", "meter"): (1e-2, 0.0),
    ("meter", "meter"): (1.0, 0.0),
    ("inch", "meter"): (_INCH_M, 0.0),
    ("foot", "meter"): (_FOOT_M, 0.0),
    ("cm**2", "meter**2"): (1e-4, 0.0),
    ("m**2", "meter**2"): (1.0, 0.0),
    ("inch**2", "meter**2"): (_INCH_M**2, 0.0),
    ("foot**2", "meter**2"): (_FOOT_M**2, 0.0),
    ("m**3", "meter**3"): (1.0, 0.0),
    ("liter", "meter**3"): (1e-3, 0.0),
    ("foot**3", "meter**3"): (_FOOT_M**3, 0.0),
    ("gallon", "meter**3"): (231.0 * _INCH_M**3, 0.0),
    ("millisecond", "second"): (1e-3, 0.0),
    ("second", "second"): (1.0, 0.0),
    ("minute", "second"): (60.0, 0.0),
    ("hour", "second"): (3600.0, 0.0),
    ("day", "second"): (86_400.0, 0.0),
    ("week", "second"): (604_800.0, 0.0),
    ("month", "second"): (365.25 * 86_400.0 / 12.0, 0.0),
    ("year", "second"): (365.25 * 86_400.0, 0.0),
    ("degC", "degC"): (1.0, 0.0),
    ("degF", "degC"): (1.0 / 1.8, -32.0 / 1.8),
    ("kelvin", "degC"): (1.0, -273.15),
    ("delta_degC", "delta_degC"): (1.0, 0.0),
    ("delta_degF", "delta_degC"): (1.0 / 1.8, 0.0),
    ("kelvin", "delta_degC"): (1.0, 0.0),
    ("percent", "percent"): (1.0, 0.0),
    ("percent", "dimensionless"): (1e-2, 0.0),
    ("ppm", "ppm"): (1.0, 0.0),
    ("Pa", "Pa"): (1.0, 0.0),
    ("hPa", "Pa"): (100.0, 0.0),
    ("kPa", "Pa"): (1000.0, 0.0),
    ("mbar", "Pa"): (100.0, 0.0),
    ("mmH2O", "Pa"): (_PA_PER_M_OF_WATER / 1000.0, 0.0),
    ("inH2O", "Pa"): (_PA_PER_M_OF_WATER * _INCH_M, 0.0),
    ("m**3/second", "m**3/second"): (1.0, 0.0),
    ("m**3/minute", "m**3/second"): (1.0 / 60.0, 0.0),
    ("m**3/hour", "m**3/second"): (1.0 / 3600.0, 0.0),
    ("liter/second", "m**3/second"): (1e-3, 0.0),
    ("liter/minute", "m**3/second"): (1e-3 / 60.0, 0.0),
    ("foot**3/minute", "m**3/second"): (_FOOT_M**3 / 60.0, 0.0),
    ("watt", "watt"): (1.0, 0.0),
    ("kilowatt", "watt"): (1000.0, 0.0),
    ("watt/delta_degC", "watt/delta_degC"): (1.0, 0.0),
    ("watt/delta_degF", "watt/delta_degC"): (1.8, 0.0),
    ("watt/percent", "watt/percent"): (1.0, 0.0),
    ("watt/kPa", "watt/Pa"): (1e-3, 0.0),
    ("watt/hPa", "watt/Pa"): (1e-2, 0.0),
    ("watt/Pa", "watt/Pa"): (1.0, 0.0),
    ("hertz", "hertz"): (1.0, 0.0),
    ("kilohertz", "hertz"): (1000.0, 0.0),
}
