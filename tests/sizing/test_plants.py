"""Leaves: transpiration and uptake within what was measured, and their directions."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plants import (
    TRAITS,
    co2_uptake_umol_per_m2_s,
    crop_traits,
    lamp_ppfd,
    leaf_area_of_plants_m2,
    leaf_conductance,
    mean_leaf_ppfd,
    transpiration_kg_per_m2_s,
)

crops = st.sampled_from(sorted(TRAITS))


@pytest.mark.parametrize("ppfd", [200.0, 225.0, 250.0])
def test_lettuce_transpires_as_measured_indoors(ppfd: float) -> None:
    # PMC10322904, table 1: 1.38–1.89 mmol m⁻² s⁻¹, which is 89–123 g m⁻² h⁻¹.
    grams_per_h = transpiration_kg_per_m2_s(TRAITS["lettuce"], ppfd, 23.0, 65.0) * 3.6e6
    assert 89.0 <= grams_per_h <= 123.0


@pytest.mark.parametrize("ppfd", [200.0, 225.0, 250.0])
def test_lettuce_takes_up_co2_as_measured_indoors(ppfd: float) -> None:
    # PMC10322904, table 1: 4.7–8.6 µmol m⁻² s⁻¹.
    assert 4.7 <= co2_uptake_umol_per_m2_s(TRAITS["lettuce"], ppfd, 400.0) <= 8.6


def test_tomato_leaf_takes_up_co2_as_usual_in_good_light() -> None:
    # From memory: 10–20 µmol m⁻² s⁻¹.
    for ppfd in (500.0, 800.0):
        assert 10.0 <= co2_uptake_umol_per_m2_s(TRAITS["tomato"], ppfd, 400.0) <= 20.0


def test_tomato_plant_loses_what_is_quoted_a_day() -> None:
    # Quoted: 1.1–1.9 L a plant and day.
    leaves = leaf_area_of_plants_m2("tomato", 1, "fruiting")
    lit = transpiration_kg_per_m2_s(TRAITS["tomato"], 200.0, 24.0, 65.0) * 14 * 3600.0
    dark = transpiration_kg_per_m2_s(TRAITS["tomato"], 0.0, 19.0, 75.0) * 10 * 3600.0
    assert 1.1 <= leaves * (lit + dark) <= 1.9


def test_a_canopy_at_night_loses_as_measured() -> None:
    # Sci. Hort. 2005, abstract: 120–200 g a day and m² of ground. Leaf area index 3, 10 h of night
    # at half a kilopascal.
    night = transpiration_kg_per_m2_s(TRAITS["tomato"], 0.0, 20.0, 78.0)
    assert 0.120 <= 3.0 * night * 10 * 3600.0 <= 0.200


@given(crops, st.floats(0.0, 2000.0), st.floats(0.1, 500.0), st.floats(0.0, 4000.0))
def test_more_light_opens_leaves_and_dryness_closes_them(
    crop: str, ppfd: float, more: float, vpd: float
) -> None:
    traits = TRAITS[crop]
    base = leaf_conductance(traits, ppfd, vpd)
    assert leaf_conductance(traits, ppfd + more, vpd) > base > 0.0
    assert leaf_conductance(traits, ppfd, vpd + 100.0) <= base
    assert base < traits.conductance_max


@given(crops, st.floats(0.0, 2000.0), st.floats(-10.0, 45.0), st.floats(0.0, 99.0))
def test_transpiration_falls_as_the_air_gets_moister(
    crop: str, ppfd: float, temperature: float, humidity: float
) -> None:
    dry = transpiration_kg_per_m2_s(TRAITS[crop], ppfd, temperature, humidity)
    moist = transpiration_kg_per_m2_s(TRAITS[crop], ppfd, temperature, humidity + 1.0)
    assert 0.0 <= moist < dry


@given(crops, st.floats(0.0, 2000.0), st.floats(0.0, 2000.0), st.floats(1.0, 500.0))
def test_uptake_rises_with_light_and_concentration(
    crop: str, ppfd: float, ppm: float, more: float
) -> None:
    traits = TRAITS[crop]
    base = co2_uptake_umol_per_m2_s(traits, ppfd, ppm)
    assert math.isfinite(base)
    assert co2_uptake_umol_per_m2_s(traits, ppfd, ppm + more) >= base
    if ppm > 62.0:  # above the compensation point, light helps
        assert co2_uptake_umol_per_m2_s(traits, ppfd + more, ppm) >= base


def test_leaves_give_off_co2_in_the_dark_and_take_none_from_empty_air() -> None:
    for traits in TRAITS.values():
        assert co2_uptake_umol_per_m2_s(traits, 0.0, 400.0) < 0.0
        assert co2_uptake_umol_per_m2_s(traits, 800.0, 20.0) < 0.0


@given(st.floats(0.0, 2000.0), st.floats(0.0, 20.0))
def test_shaded_leaves_get_less_light_but_no_more_than_fell_in(ppfd: float, leaves: float) -> None:
    mean = mean_leaf_ppfd(ppfd, leaves, 1.0)
    assert 0.0 <= mean <= ppfd * (1.0 + 1e-12)
    # Monsi & Saeki: what the leaves intercept is k L mean ≤ what fell in.
    assert 0.7 * leaves * mean <= ppfd * (1.0 + 1e-9) + 1e-300  # the least floats are coarse


def test_light_of_a_lamp_by_hand() -> None:
    # 150 W at 2.4 µmol/J, 85 % of it on 0.64 m².
    assert lamp_ppfd(150.0, 0.64) == pytest.approx(150.0 * 2.4 * 0.85 / 0.64)


def test_nonsense_is_named() -> None:
    with pytest.raises(ValueError, match="lettuce"):
        crop_traits("moss")
    with pytest.raises(ValueError, match="seedling"):
        leaf_area_of_plants_m2("basil", 3, "asleep")
    with pytest.raises(ValueError, match="0 or more"):
        leaf_area_of_plants_m2("basil", -3, "seedling")
    with pytest.raises(ValueError, match="floor area"):
        mean_leaf_ppfd(100.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="PPFD"):
        leaf_conductance(TRAITS["basil"], math.nan, 500.0)
