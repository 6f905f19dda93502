"""What leaves do to the air: transpiration and CO2 uptake by light, dryness and concentration.

Pure, standard library only. Leaf areas are one-sided; light is photosynthetic photon flux density
(PPFD). How warm leaves are follows from their energy balance: see `leaf_balance`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from controller import air
from controller.air.constants import LATENT_J_PER_KG, WATER_KG_PER_MOL, ZERO_CELSIUS_K

NIGHT_CONDUCTANCE = 0.015
"""Stomatal conductance in the dark [mol m⁻² s⁻¹]: gives the 120–200 g a day and m² of ground that
canopies lose at night (Sci. Hort. 2005) at a leaf area index of 3 and a VPD of half a kPa."""

BOUNDARY_CONDUCTANCE = 1.0
"""Conductance of a leaf's boundary layers to vapour, both sides together [mol m⁻² s⁻¹].

By 1.4 · 0.147 √(u/d) mol m⁻² s⁻¹ a side, the 1.4 for turbulence (Campbell & Norman 1998,
Environmental Biophysics, table 7.6, from memory): leaves of d = 5 cm in air that moves at 0.3 m/s.
Sides are taken as equal; leaves with stomata below alone have up to half of it."""

BOUNDARY_CONDUCTANCE_RANGE = (0.5, 2.0)
"""The same in nearly still air (0.1 m/s) and before a fan (1 m/s) [mol m⁻² s⁻¹]."""

HEAT_OVER_VAPOUR = 0.93
"""A leaf's boundary conductance to heat over that to vapour [-]: laminar flow, Monteith &
Unsworth, Principles of Environmental Physics, 4th ed., ch. 10 (from memory)."""

AIR_J_PER_MOL_K = 29.3
"""Heat capacity of air [J mol⁻¹ K⁻¹] (Campbell & Norman 1998, from memory)."""

LEAF_EMISSIVITY = 0.95
"""Emissivity of a leaf for thermal radiation [-] (from memory: 0.94–0.99)."""

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan–Boltzmann constant [W m⁻² K⁻⁴] (CODATA)."""

PHOTONS_PER_JOULE = 4.6
"""Photons in a joule of white light [µmol/J] (McCree 1972, Agric. Meteorol. 10:443, has 4.57 for
the sun; from memory: 4.5–5.1 for white and red lamps)."""

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
        "lettuce": _traits(0.54, 17.0, 0.01, 0.10, 0.20, 0.20),
        "basil": _traits(0.45, 17.0, 0.005, 0.06, 0.10, 0.10),
        "herbs": _traits(0.40, 15.0, 0.005, 0.05, 0.08, 0.08),
        "pepper": _traits(0.42, 22.0, 0.01, 0.10, 0.25, 0.35),
        "tomato": _traits(0.45, 24.0, 0.015, 0.25, 0.80, 1.20),
        "other": _traits(0.45, 18.0, 0.01, 0.10, 0.25, 0.35),
    }
)
"""Traits by the config's `crop.kind`.

Lettuce is set so that 200–250 µmol m⁻² s⁻¹ gives the 1.38–1.89 mmol of water and 4.7–8.6 µmol of
CO2 m⁻² s⁻¹ measured indoors (PMC10322904, table 1) from leaves in balance with 23 °C and 65 %;
tomato so that leaves take up 10–20 µmol in good light (from memory) and a plant loses 1.1–1.9 L a
day. The others are judged by those two and the leaf areas are engineering judgement, no source:
half to twice is possible.
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


def absorbed_w_per_m2(ppfd: float) -> float:
    """Radiation of the lamp that a square metre of leaf in a canopy absorbs [W/m²].

    `EXTINCTION` of what falls on the level, so that all leaves together absorb no more than falls
    in. Only light: light-emitting diodes give off hardly any near infrared, and what heat their
    bodies radiate is counted with what they give to the air.

    Parameters
    ----------
    ppfd : float
        Light on the level, mean over the leaves [µmol m⁻² s⁻¹], ≥ 0; see `mean_leaf_ppfd`.
    """
    _at_least_zero("PPFD", ppfd, "µmol m⁻² s⁻¹")
    return EXTINCTION * ppfd / PHOTONS_PER_JOULE


def leaf_conductance(
    traits: CropTraits, ppfd: float, vpd_pa: float, boundary: float = BOUNDARY_CONDUCTANCE
) -> float:
    """Conductance of leaf and boundary layer to water vapour [mol m⁻² s⁻¹].

    Rises with light from a small night value towards the crop's greatest, falls with dryness.

    Parameters
    ----------
    traits : CropTraits
        The crop.
    ppfd : float
        Light on the leaf [µmol m⁻² s⁻¹], ≥ 0.
    vpd_pa : float
        Vapour pressure deficit of the leaf [Pa]; below 0 counts as 0.
    boundary : float
        Conductance of its boundary layers [mol m⁻² s⁻¹], > 0.

    Notes
    -----
    The deficit is that from inside the leaf to the air, not that of the air: stomata answer to what
    they lose, and the measured responses were taken against it.

    References
    ----------
    Form: hyperbola in light and 1/(1 + D/D₀) in dryness, as in Leuning (1995), Plant Cell
    Environ. 18:339, and Lohammar et al. (1980). In series with the boundary layer.
    """
    moist = 1.0 / (1.0 + max(0.0, vpd_pa) / CONDUCTANCE_HALF_VPD_PA)
    stomata = NIGHT_CONDUCTANCE + _opened_by_light(traits, ppfd) * moist
    return stomata * boundary / (stomata + boundary)


def _opened_by_light(traits: CropTraits, ppfd: float) -> float:
    """Stomatal conductance that light adds in moist air [mol m⁻² s⁻¹]."""
    _at_least_zero("PPFD", ppfd, "µmol m⁻² s⁻¹")
    return (traits.conductance_max - NIGHT_CONDUCTANCE) * ppfd / (ppfd + CONDUCTANCE_HALF_LIGHT)


class LeafState(NamedTuple):
    """A leaf in balance with light and air.

    Attributes
    ----------
    leaf_c : float
        Its temperature [°C].
    transpiration_kg_per_m2_s : float
        Water it gives off [kg m⁻² s⁻¹], ≥ 0.
    leaf_vpd_pa : float
        Vapour pressure deficit from inside it to the air [Pa], ≥ 0.
    """

    leaf_c: float
    transpiration_kg_per_m2_s: float
    leaf_vpd_pa: float


def leaf_balance(
    traits: CropTraits,
    ppfd: float,
    temperature_c: float,
    vpd_pa: float,
    pressure_pa: float = air.STANDARD_PRESSURE_PA,
    boundary: float = BOUNDARY_CONDUCTANCE,
) -> LeafState:
    """Leaf temperature at which absorbed light leaves as vapour, warm air and thermal radiation.

    Everything around the leaf is taken to be as warm as the air. The three losses grow with the
    leaf's temperature, so there is one balance; it is found to 1e-6 K.

    Parameters
    ----------
    traits : CropTraits
        The crop.
    ppfd : float
        Light on the average leaf [µmol m⁻² s⁻¹], ≥ 0.
    temperature_c : float
        The air [°C], −60 to 150.
    vpd_pa : float
        Vapour pressure deficit of the air [Pa]; below 0 counts as 0.
    pressure_pa : float
        Atmospheric pressure [Pa].
    boundary : float
        Conductance of the leaf's boundary layers to vapour, both sides together [mol m⁻² s⁻¹], > 0.

    References
    ----------
    Monteith & Unsworth, Principles of Environmental Physics, ch. 13, and Stanghellini (1987),
    Transpiration of greenhouse crops, Wageningen: a big leaf with stomata and boundary layer in
    series. Penman–Monteith is this balance with the saturation curve taken as straight.
    """
    if not 0.0 < boundary < math.inf:
        raise ValueError(f"boundary conductance must be above 0, got {boundary!r}")
    absorbed = absorbed_w_per_m2(ppfd)
    opened = _opened_by_light(traits, ppfd)
    by_air = AIR_J_PER_MOL_K * HEAT_OVER_VAPOUR * boundary
    radiating = 2.0 * LEAF_EMISSIVITY * STEFAN_BOLTZMANN
    latent = LATENT_J_PER_KG * WATER_KG_PER_MOL / pressure_pa
    kelvin = temperature_c + ZERO_CELSIUS_K
    vapour_pa = air.saturation_vapour_pressure_pa(temperature_c) - max(0.0, vpd_pa)
    leaf_c, low_c, high_c = temperature_c, -math.inf, math.inf
    for _ in range(100):
        saturated_pa = air.saturation_vapour_pressure_pa(leaf_c)
        deficit_pa = max(0.0, saturated_pa - vapour_pa)
        moist = 1.0 / (1.0 + deficit_pa / CONDUCTANCE_HALF_VPD_PA)
        stomata = NIGHT_CONDUCTANCE + opened * moist
        share = boundary / (stomata + boundary)
        lost = latent * stomata * share * deficit_pa
        over = leaf_c - temperature_c
        surplus = absorbed - by_air * over - radiating * ((kelvin + over) ** 4 - kelvin**4) - lost
        if surplus > 0.0:
            low_c = leaf_c
        else:
            high_c = leaf_c
        # Newton, with the slope of the saturation curve by Magnus: near enough to close in fast.
        per_k_pa = saturated_pa * 4217.5 / (leaf_c + 240.97) ** 2
        closing = opened * moist * moist * share * deficit_pa / CONDUCTANCE_HALF_VPD_PA
        slope = (
            by_air
            + 4.0 * radiating * (kelvin + over) ** 3
            + latent * share * (stomata - closing) * per_k_pa
        )
        step = surplus / slope
        if abs(step) < 1e-7:
            break
        following = leaf_c + step
        if not low_c < following < high_c:
            following = 0.5 * (low_c + high_c)
        leaf_c = following
    return LeafState(leaf_c, lost / latent / pressure_pa * WATER_KG_PER_MOL, deficit_pa)


def transpiration_kg_per_m2_s(
    traits: CropTraits,
    ppfd: float,
    temperature_c: float,
    humidity_pct: float,
    pressure_pa: float = air.STANDARD_PRESSURE_PA,
    boundary: float = BOUNDARY_CONDUCTANCE,
) -> float:
    """Water given off by a square metre of leaf [kg m⁻² s⁻¹], never negative.

    Parameters
    ----------
    humidity_pct : float
        Relative humidity of the air [%].
    traits, ppfd, temperature_c, pressure_pa, boundary
        As for `leaf_balance`, whose transpiration this is.
    """
    vpd_pa = air.vpd_pa(temperature_c, humidity_pct)
    return leaf_balance(
        traits, ppfd, temperature_c, vpd_pa, pressure_pa, boundary
    ).transpiration_kg_per_m2_s


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
