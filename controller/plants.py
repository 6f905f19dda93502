"""What leaves do to the air: transpiration and CO2 uptake by light, dryness and concentration.

Pure, standard library only. Leaf areas are one-sided; light is photosynthetic photon flux density
(PPFD). Leaves are taken to be as warm as the air unless a leaf temperature is given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from controller import air

WATER_KG_PER_MOL = 0.018015
"""Molar mass of water [kg/mol]."""

NIGHT_CONDUCTANCE = 0.015
"""Stomatal conductance in the dark [mol m⁻² s⁻¹]: gives the 120–200 g a day and m² of ground that
canopies lose at night (Sci. Hort. 2005) at a leaf area index of 3 and a VPD of half a kPa."""

BOUNDARY_CONDUCTANCE = 1.0
"""Conductance of the leaf's boundary layer in stirred air [mol m⁻² s⁻¹] (from memory: 0.5–2)."""

CONDUCTANCE_HALF_LIGHT = 150.0
"""PPFD that opens the stomata half way [µmol m⁻² s⁻¹] (from memory)."""

CONDUCTANCE_HALF_VPD_PA = 2000.0
"""VPD that halves the stomatal conductance [Pa] (from memory; 1–3 kPa in most crops)."""

UPTAKE_HALF_LIGHT = 350.0
"""PPFD at which photosynthesis reaches half its ceiling [µmol m⁻² s⁻¹] (from memory)."""

DARK_RESPIRATION = 1.0
"""CO2 given off by leaves at 25 °C [µmol m⁻² s⁻¹], doubling with 10 K (from memory: 0.5–1.5)."""

CO2_COMPENSATION_PPM = 42.75
"""CO2 compensation point without respiration at 25 °C [µmol/mol] (Bernacchi et al. 2001, Plant
Cell Environ. 24:253)."""

INTERNAL_TO_AMBIENT_CO2 = 0.7
"""CO2 inside the leaf over that outside [-] in C3 leaves (from memory: 0.65–0.8)."""

REFERENCE_CO2_PPM = 400.0
"""Concentration the crops' uptake ceilings hold at [ppm]."""

LAMP_EFFICACY = 2.4
"""Photons of a horticultural LED per joule [µmol/J]; 1.6–3.0 is sold (common practice)."""

LIGHT_REACHING_CANOPY = 0.85
"""Share of the lamp's photons that meets the floor area of a lined tent (common practice)."""

EXTINCTION = 0.7
"""Extinction of light by leaves [-] in Beer's law, as Monsi & Saeki (1953) used it."""


class CropTraits(NamedTuple):
    """What a crop's leaves can do.

    Attributes
    ----------
    conductance_max : float
        Stomatal conductance in full light and moist air [mol m⁻² s⁻¹].
    uptake_max : float
        Ceiling of photosynthesis in full light at 400 ppm [µmol m⁻² s⁻¹].
    leaf_area_m2 : Mapping of str to float
        One-sided leaf area of one plant by stage [m²] of plants kept small for a tent.
    """

    conductance_max: float
    uptake_max: float
    leaf_area_m2: Mapping[str, float]


def _traits(conductance: float, uptake: float, *areas: float) -> CropTraits:
    stages = ("seedling", "vegetative", "flowering", "fruiting")
    return CropTraits(conductance, uptake, MappingProxyType(dict(zip(stages, areas, strict=True))))


TRAITS: Mapping[str, CropTraits] = MappingProxyType(
    {
        "lettuce": _traits(0.46, 17.0, 0.01, 0.10, 0.20, 0.20),
        "basil": _traits(0.45, 17.0, 0.005, 0.06, 0.10, 0.10),
        "herbs": _traits(0.40, 15.0, 0.005, 0.05, 0.08, 0.08),
        "pepper": _traits(0.42, 22.0, 0.01, 0.10, 0.25, 0.35),
        "tomato": _traits(0.45, 24.0, 0.015, 0.25, 0.80, 1.20),
        "other": _traits(0.45, 18.0, 0.01, 0.10, 0.25, 0.35),
    }
)
"""Traits by the config's `crop.kind`.

Lettuce is set so that 200–250 µmol m⁻² s⁻¹ gives the 1.38–1.89 mmol of water and 4.7–8.6 µmol of
CO2 m⁻² s⁻¹ measured indoors (PMC10322904, table 1); tomato so that leaves take up 10–20 µmol in
good light (from memory) and a plant loses 1.1–1.9 L a day. The others are put between them and
the leaf areas are engineering judgement, no source: half to twice is possible.
"""


def crop_traits(kind: str) -> CropTraits:
    """Traits of a crop by name; ValueError names the crops there are."""
    try:
        return TRAITS[kind]
    except KeyError:
        raise ValueError(f"crop must be one of {', '.join(TRAITS)}, got {kind!r}") from None


def leaf_area_of_plants_m2(kind: str, plants: int, stage: str) -> float:
    """Leaf area of a number of plants at a stage [m²]; a guess from a table, half to twice."""
    areas = crop_traits(kind).leaf_area_m2
    if stage not in areas:
        raise ValueError(f"stage must be one of {', '.join(areas)}, got {stage!r}")
    if plants < 0:
        raise ValueError(f"number of plants must be 0 or more, got {plants!r}")
    return plants * areas[stage]


def lamp_ppfd(
    lamp_power_w: float,
    floor_m2: float,
    efficacy: float = LAMP_EFFICACY,
    reaching: float = LIGHT_REACHING_CANOPY,
) -> float:
    """Mean PPFD on the floor area of a tent [µmol m⁻² s⁻¹] from the lamp's power.

    Parameters
    ----------
    lamp_power_w : float
        Electrical power [W], ≥ 0.
    floor_m2 : float
        Floor area [m²], > 0.
    efficacy : float
        Photons per joule of electricity [µmol/J].
    reaching : float
        Share of them that reaches the canopy [-].
    """
    _at_least_zero("lamp power", lamp_power_w, "W")
    if not 0.0 < floor_m2 < math.inf:
        raise ValueError(f"floor area must be above 0 m², got {floor_m2!r}")
    return lamp_power_w * efficacy * reaching / floor_m2


def mean_leaf_ppfd(ppfd: float, leaf_area_m2: float, floor_m2: float) -> float:
    """PPFD that the average leaf gets when leaves shade each other [µmol m⁻² s⁻¹].

    References
    ----------
    Monsi, M. & Saeki, T. (1953), Jpn. J. Bot. 14:22: I = I₀ exp(−k L), averaged over L.
    """
    _at_least_zero("PPFD", ppfd, "µmol m⁻² s⁻¹")
    _at_least_zero("leaf area", leaf_area_m2, "m²")
    if not 0.0 < floor_m2 < math.inf:
        raise ValueError(f"floor area must be above 0 m², got {floor_m2!r}")
    depth = EXTINCTION * leaf_area_m2 / floor_m2
    if depth < 1e-9:
        return ppfd
    return ppfd * -math.expm1(-depth) / depth


def leaf_conductance(traits: CropTraits, ppfd: float, vpd_pa: float) -> float:
    """Conductance of leaf and boundary layer to water vapour [mol m⁻² s⁻¹].

    Rises with light from a small night value towards the crop's greatest, falls with dryness.

    Parameters
    ----------
    traits : CropTraits
        The crop.
    ppfd : float
        Light on the leaf [µmol m⁻² s⁻¹], ≥ 0.
    vpd_pa : float
        Vapour pressure deficit at the leaf [Pa]; below 0 counts as 0.

    References
    ----------
    Form: hyperbola in light and 1/(1 + D/D₀) in dryness, as in Leuning (1995), Plant Cell
    Environ. 18:339, and Lohammar et al. (1980). In series with the boundary layer.
    """
    _at_least_zero("PPFD", ppfd, "µmol m⁻² s⁻¹")
    lit = ppfd / (ppfd + CONDUCTANCE_HALF_LIGHT)
    moist = 1.0 / (1.0 + max(0.0, vpd_pa) / CONDUCTANCE_HALF_VPD_PA)
    stomata = NIGHT_CONDUCTANCE + (traits.conductance_max - NIGHT_CONDUCTANCE) * lit * moist
    return stomata * BOUNDARY_CONDUCTANCE / (stomata + BOUNDARY_CONDUCTANCE)


def transpiration_kg_per_m2_s(
    traits: CropTraits,
    ppfd: float,
    temperature_c: float,
    humidity_pct: float,
    pressure_pa: float = air.STANDARD_PRESSURE_PA,
    leaf_c: float | None = None,
) -> float:
    """Water given off by a square metre of leaf [kg m⁻² s⁻¹], never negative.

    Parameters
    ----------
    traits : CropTraits
        The crop.
    ppfd : float
        Light on the leaf [µmol m⁻² s⁻¹], ≥ 0.
    temperature_c, humidity_pct : float
        The air [°C], [%].
    pressure_pa : float
        Atmospheric pressure [Pa].
    leaf_c : float or None
        Leaf temperature [°C]; default that of the air.

    References
    ----------
    Fick's law over leaf and boundary layer: E = g (e_s(T_leaf) − e)/p (Monteith & Unsworth,
    Principles of Environmental Physics).
    """
    leaf = temperature_c if leaf_c is None else leaf_c
    deficit_pa = max(0.0, air.leaf_vpd_pa(temperature_c, humidity_pct, leaf))
    conductance = leaf_conductance(traits, ppfd, deficit_pa)
    return conductance * deficit_pa / pressure_pa * WATER_KG_PER_MOL


def co2_uptake_umol_per_m2_s(
    traits: CropTraits, ppfd: float, co2_ppm: float, temperature_c: float = 25.0
) -> float:
    """CO2 a square metre of leaf takes up, net of respiration [µmol m⁻² s⁻¹]; negative in the dark.

    Parameters
    ----------
    traits : CropTraits
        The crop.
    ppfd : float
        Light on the leaf [µmol m⁻² s⁻¹], ≥ 0.
    co2_ppm : float
        CO2 in the air [ppm], ≥ 0.
    temperature_c : float
        Temperature of the leaf [°C], for respiration only.

    References
    ----------
    CO2 response of electron-transport-limited C3 photosynthesis, (cᵢ − Γ)/(cᵢ + 2Γ): Farquhar, von
    Caemmerer & Berry (1980), Planta 149:78, set to 1 at 400 ppm; rectangular hyperbola in light.
    """
    _at_least_zero("PPFD", ppfd, "µmol m⁻² s⁻¹")
    _at_least_zero("CO2", co2_ppm, "ppm")
    lit = ppfd / (ppfd + UPTAKE_HALF_LIGHT)
    response = _co2_response(co2_ppm) / _co2_response(REFERENCE_CO2_PPM)
    respiration = DARK_RESPIRATION * math.pow(2.0, (temperature_c - 25.0) / 10.0)
    return traits.uptake_max * lit * response - respiration


def _co2_response(co2_ppm: float) -> float:
    inside = INTERNAL_TO_AMBIENT_CO2 * co2_ppm
    return (inside - CO2_COMPENSATION_PPM) / (inside + 2.0 * CO2_COMPENSATION_PPM)


def _at_least_zero(name: str, value: float, unit: str) -> None:
    if not 0.0 <= value < math.inf:
        raise ValueError(f"{name} must be 0 {unit} or more, got {value!r}")
