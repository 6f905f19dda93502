"""The leaf's energy balance against textbooks, a general solver and what any leaf must do."""

from __future__ import annotations

import math

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import Stefan_Boltzmann
from scipy.optimize import brentq

from controller import air, plants
from controller.plants import TRAITS, leaf_balance

psychrolib.SetUnitSystem(psychrolib.SI)

LATENT_J_PER_KG = 2.45e6  # FAO-56, eq. 8
PEPPER = TRAITS["pepper"]

crops = st.sampled_from(sorted(TRAITS))
light = st.floats(0.0, 1500.0)
warmth = st.floats(2.0, 45.0)
humidity = st.floats(1.0, 100.0)
stirring = st.floats(0.2, 5.0)


def saturated_pa(t_c: float) -> float:
    return float(psychrolib.GetSatVapPres(t_c))


def penman_monteith(
    slope: float, net_w_m2: float, aerodynamic_w_m2_pa: float, deficit: float, gamma: float
) -> float:
    """λE [W/m²] = (s Rn + h D) / (s + γ*): pressures in the unit of s and γ*, h = ρ cp/r_H."""
    return (slope * net_w_m2 + aerodynamic_w_m2_pa * deficit) / (slope + gamma)


def test_the_combination_equation_is_that_of_fao_56() -> None:
    # FAO-56, example 18 (Uccle, 6 July), from memory: 16.9 °C, Δ 0.122 and γ 0.0666 kPa/K, Rn
    # 13.28 MJ/m² a day, deficit 0.589 kPa, 2.078 m/s: 3.9 mm a day. Its crop: r_a = 208/u, r_s 70.
    wind, day_s = 2.078, 86_400.0
    r_air, r_leaf = 208.0 / wind, 70.0
    density = 100_100.0 / (1.01 * 289.9 * 287.0)  # FAO-56, eq. 3-5 and 3-6
    latent_w_m2 = penman_monteith(
        0.122,
        13.28e6 / day_s,
        density * 1013.0 / r_air,
        0.589,
        0.0666 * (1.0 + r_leaf / r_air),
    )
    assert latent_w_m2 * day_s / LATENT_J_PER_KG == pytest.approx(3.9, abs=0.06)


@given(crops, light, warmth, humidity, stirring)
def test_the_balance_is_that_equation_once_its_slopes_are_those_of_the_chords(
    crop: str, ppfd: float, t_c: float, pct: float, boundary: float
) -> None:
    # Penman–Monteith takes saturation curve and radiation as straight between leaf and air. With
    # the slopes of the chords it is exact.
    vpd = air.vpd_pa(t_c, pct)
    leaf = leaf_balance(TRAITS[crop], ppfd, t_c, vpd, boundary=boundary)
    over = leaf.leaf_c - t_c
    if abs(over) < 1e-3:
        return
    slope = (leaf.leaf_vpd_pa - vpd) / over
    kelvin, leaf_k = t_c + 273.15, leaf.leaf_c + 273.15
    radiative = 2.0 * 0.95 * Stefan_Boltzmann * (leaf_k**4 - kelvin**4) / over
    heat = 29.3 * 0.93 * boundary + radiative
    stomata = plants.leaf_conductance(TRAITS[crop], ppfd, leaf.leaf_vpd_pa, boundary)
    per_pa = LATENT_J_PER_KG * 0.018015 * stomata / 101_325.0
    expected = penman_monteith(slope, plants.absorbed_w_per_m2(ppfd), heat, vpd, heat / per_pa)
    latent = LATENT_J_PER_KG * leaf.transpiration_kg_per_m2_s
    assert latent == pytest.approx(expected, rel=1e-5, abs=1e-4)


@given(crops, light, warmth, humidity, stirring, st.floats(75_000.0, 105_000.0))
def test_agrees_with_a_general_solver_on_psychrolibs_saturation(
    crop: str, ppfd: float, t_c: float, pct: float, boundary: float, pressure: float
) -> None:
    traits = TRAITS[crop]
    vapour = pct / 100.0 * saturated_pa(t_c)
    lit_w = 0.7 * ppfd / 4.6

    def water_mol(leaf_c: float) -> float:
        deficit = max(0.0, saturated_pa(leaf_c) - vapour)
        opened = (traits.conductance_max - 0.015) * ppfd / (ppfd + 150.0)
        stomata = 0.015 + opened / (1.0 + deficit / 2000.0)
        return deficit / pressure / (1.0 / stomata + 1.0 / boundary)

    def left_w(leaf_c: float) -> float:
        radiated = 2.0 * 0.95 * Stefan_Boltzmann
        return (
            lit_w
            - radiated * ((leaf_c + 273.15) ** 4 - (t_c + 273.15) ** 4)
            - 29.3 * 0.93 * boundary * (leaf_c - t_c)
            - LATENT_J_PER_KG * 0.018015 * water_mol(leaf_c)
        )

    root = brentq(left_w, t_c - 60.0, t_c + 100.0, xtol=1e-12)
    leaf = leaf_balance(traits, ppfd, t_c, saturated_pa(t_c) - vapour, pressure, boundary)
    assert leaf.leaf_c == pytest.approx(root, abs=2e-3)
    assert leaf.transpiration_kg_per_m2_s == pytest.approx(
        0.018015 * water_mol(root), rel=1e-3, abs=1e-9
    )


@given(crops, light, warmth, humidity, stirring)
def test_a_leaf_lies_between_wet_bulb_and_what_dry_light_would_make_of_it(
    crop: str, ppfd: float, t_c: float, pct: float, boundary: float
) -> None:
    leaf = leaf_balance(TRAITS[crop], ppfd, t_c, air.vpd_pa(t_c, pct), boundary=boundary)
    wet_bulb_c = psychrolib.GetTWetBulbFromRelHum(t_c, pct / 100.0, 101_325.0)
    dry_k = plants.absorbed_w_per_m2(ppfd) / (29.3 * 0.93 * boundary)
    # A leaf's boundary layer is not quite the thermodynamic wet bulb's: hence the half kelvin.
    assert wet_bulb_c - 0.5 <= leaf.leaf_c <= t_c + dry_k + 1e-6
    assert leaf.transpiration_kg_per_m2_s >= 0.0
    assert leaf.leaf_vpd_pa >= 0.0


def test_a_dark_leaf_in_dry_air_is_a_little_cooler_than_the_air() -> None:
    leaf = leaf_balance(PEPPER, 0.0, 24.0, 1500.0)
    assert 23.5 < leaf.leaf_c < 24.0
    assert leaf.leaf_vpd_pa < 1500.0


def test_a_lit_leaf_in_saturated_air_is_warmer_and_gives_off_water_all_the_same() -> None:
    leaf = leaf_balance(PEPPER, 300.0, 24.0, 0.0)
    assert 24.0 < leaf.leaf_c < 25.5
    assert leaf.transpiration_kg_per_m2_s > 0.0


def test_a_dark_leaf_in_saturated_air_does_nothing() -> None:
    leaf = leaf_balance(PEPPER, 0.0, 24.0, 0.0)
    assert leaf == pytest.approx((24.0, 0.0, 0.0))


def test_the_more_the_air_is_stirred_the_closer_the_leaf_is_to_it() -> None:
    gaps = [
        abs(leaf_balance(PEPPER, 300.0, 24.0, 1200.0, boundary=boundary).leaf_c - 24.0)
        for boundary in (1.0, 2.0, 10.0, 100.0, 1000.0)
    ]
    assert gaps == sorted(gaps, reverse=True)
    assert gaps[-1] < 0.01


def test_lit_leaves_under_a_lamp_lose_less_than_leaves_as_warm_as_the_air_would() -> None:
    # Under the weak light of a lamp leaves cool below the air: by a tenth to a third less.
    for ppfd, t_c, pct in ((150.0, 22.0, 60.0), (250.0, 25.0, 60.0), (400.0, 26.0, 50.0)):
        vpd = air.vpd_pa(t_c, pct)
        as_warm_as_air = plants.leaf_conductance(PEPPER, ppfd, vpd) * vpd / 101_325.0 * 0.018015
        leaf = leaf_balance(PEPPER, ppfd, t_c, vpd)
        assert leaf.leaf_c < t_c
        assert 0.6 * as_warm_as_air < leaf.transpiration_kg_per_m2_s < 0.98 * as_warm_as_air


def test_boundary_conductance_is_that_of_leaves_of_five_centimetres_in_moving_air() -> None:
    # Campbell & Norman (1998), table 7.6 (from memory): g_v = 0.147 √(u/d) a side, 1.4 times as
    # much in the turbulence of a canopy.
    def both_sides(wind_m_s: float) -> float:
        return 2.0 * 1.4 * 0.147 * math.sqrt(wind_m_s / 0.05)

    low, high = plants.BOUNDARY_CONDUCTANCE_RANGE
    assert both_sides(0.1) == pytest.approx(low, rel=0.2)
    assert both_sides(0.3) == pytest.approx(plants.BOUNDARY_CONDUCTANCE, rel=0.05)
    assert both_sides(1.0) == pytest.approx(high, rel=0.1)


@given(st.floats(0.0, 2000.0), st.floats(0.0, 20.0))
def test_all_leaves_together_absorb_no_more_light_than_falls_in(ppfd: float, index: float) -> None:
    mean = plants.mean_leaf_ppfd(ppfd, index, 1.0)
    assert index * plants.absorbed_w_per_m2(mean) <= ppfd / 4.6 * (1.0 + 1e-9) + 1e-300


@pytest.mark.parametrize("boundary", [0.0, -1.0, math.nan])
def test_a_leaf_without_air_is_refused(boundary: float) -> None:
    with pytest.raises(ValueError, match="boundary conductance"):
        leaf_balance(PEPPER, 100.0, 20.0, 500.0, boundary=boundary)
