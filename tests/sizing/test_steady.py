"""Where the air settles: the balances close on independent air properties."""

from __future__ import annotations

import math

import psychrolib
import pytest
from examples import examples
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import fsolve

from controller.plants import (
    TRAITS,
    co2_uptake_umol_per_m2_s,
    leaf_conductance,
    transpiration_kg_per_m2_s,
)
from controller.sizing.steady import Conditions, settle

psychrolib.SetUnitSystem(psychrolib.SI)

BASE = Conditions(
    heat_w=150.0,
    flow_m3_s=0.02,
    wall_ua_w_per_k=20.0,
    intake_c=21.0,
    intake_humidity_pct=50.0,
    intake_co2_ppm=420.0,
    leaf_area_m2=1.5,
    leaf_ppfd=250.0,
    traits=TRAITS["pepper"],
    pressure_pa=101_325.0,
)

conditions = st.builds(
    Conditions,
    heat_w=st.floats(0.0, 600.0),
    flow_m3_s=st.floats(1e-4, 0.3),
    wall_ua_w_per_k=st.floats(5.0, 60.0),
    intake_c=st.floats(5.0, 40.0),
    intake_humidity_pct=st.floats(5.0, 95.0),
    intake_co2_ppm=st.floats(300.0, 1500.0),
    leaf_area_m2=st.floats(0.0, 6.0),
    leaf_ppfd=st.floats(0.0, 900.0),
    traits=st.sampled_from(list(TRAITS.values())),
    pressure_pa=st.floats(75_000.0, 105_000.0),
    boundary_conductance=st.floats(0.3, 3.0),
)


def residuals(at: Conditions, temperature_c: float, ratio: float, ppm: float) -> list[float]:
    """Heat [W], moisture [mg/s] and CO2 [µmol/s] left over, on psychrolib's air properties."""
    vapour_pa = psychrolib.GetVapPresFromHumRatio(ratio, at.pressure_pa)
    humidity = 100.0 * vapour_pa / psychrolib.GetSatVapPres(temperature_c)
    dry_kg_s = at.flow_m3_s / psychrolib.GetMoistAirVolume(temperature_c, ratio, at.pressure_pa)
    intake_ratio = psychrolib.GetHumRatioFromRelHum(
        at.intake_c, at.intake_humidity_pct / 100.0, at.pressure_pa
    )
    vapour = at.leaf_area_m2 * transpiration_kg_per_m2_s(
        at.traits,
        at.leaf_ppfd,
        temperature_c,
        min(100.0, humidity),
        at.pressure_pa,
        at.boundary_conductance,
    )
    rise = temperature_c - at.intake_c
    heat = (
        at.heat_w
        - 2.45e6 * vapour
        - dry_kg_s * (1006.0 + 1860.0 * intake_ratio) * rise
        - at.wall_ua_w_per_k * rise
    )
    moles = at.flow_m3_s * at.pressure_pa / (8.314462618 * (temperature_c + 273.15))
    uptake = at.leaf_area_m2 * co2_uptake_umol_per_m2_s(at.traits, at.leaf_ppfd, ppm, temperature_c)
    return [
        heat,
        (vapour - dry_kg_s * (ratio - intake_ratio)) * 1e6,
        moles * (at.intake_co2_ppm - ppm) - uptake,
    ]


@given(conditions)
@examples(25)
def test_all_balances_close(at: Conditions) -> None:
    settled = settle(at)
    # Condensing gives heat back, and a tent past 70 °C is only called "70 °C": other balances.
    assume(not settled.condensing and settled.temperature_c < 69.9)
    heat, moisture, co2 = residuals(
        at, settled.temperature_c, settled.humidity_ratio, settled.co2_ppm
    )
    assert abs(heat) < 1e-2
    assert abs(moisture) < 1e-2
    assert abs(co2) < 1e-2


def test_agrees_with_a_general_solver() -> None:
    # scipy's fsolve on the three residuals, started from the intake air.
    settled = settle(BASE)
    found = fsolve(lambda x: residuals(BASE, x[0], x[1], x[2]), [22.0, 0.009, 410.0], xtol=1e-12)
    assert settled.temperature_c == pytest.approx(found[0], abs=1e-5)
    assert settled.humidity_ratio == pytest.approx(found[1], rel=1e-5)
    assert settled.co2_ppm == pytest.approx(found[2], abs=1e-3)


def test_without_plants_the_rise_is_that_of_the_dry_balance() -> None:
    # ΔT = P / (ṁ cp + UA), by hand.
    settled = settle(BASE._replace(leaf_area_m2=0.0))
    intake = psychrolib.GetHumRatioFromRelHum(21.0, 0.5, 101_325.0)
    volume = psychrolib.GetMoistAirVolume(settled.temperature_c, intake, 101_325.0)
    expected = 150.0 / (0.02 / volume * (1006.0 + 1860.0 * intake) + 20.0)
    assert settled.temperature_c - 21.0 == pytest.approx(expected, rel=1e-6)
    assert settled.transpiration_kg_s == 0.0
    assert settled.co2_ppm == pytest.approx(420.0, abs=1e-3)


def test_much_air_makes_the_tent_its_room() -> None:
    settled = settle(BASE._replace(flow_m3_s=50.0))
    assert settled.temperature_c == pytest.approx(21.0, abs=0.01)
    assert settled.humidity_pct == pytest.approx(50.0, abs=0.1)
    assert settled.co2_ppm == pytest.approx(420.0, abs=0.1)


def test_evaporation_of_an_isothermal_tent_by_hand() -> None:
    # Steady e from g A (e_s − e)/p M_w = ṁ ΔW, solved here with the conductance found: a walled
    # tent held at the room's temperature by a huge UA.
    at = BASE._replace(heat_w=0.0, wall_ua_w_per_k=1e7, intake_c=25.0, leaf_area_m2=2.0)
    settled = settle(at)
    assert settled.temperature_c == pytest.approx(25.0, abs=1e-3)
    intake = psychrolib.GetHumRatioFromRelHum(25.0, 0.5, 101_325.0)
    volume = psychrolib.GetMoistAirVolume(25.0, settled.humidity_ratio, 101_325.0)
    carried = 0.02 / volume * (settled.humidity_ratio - intake)
    assert settled.transpiration_kg_s == pytest.approx(carried, rel=1e-4)


def test_a_dark_tent_is_hardly_cooler_than_its_room() -> None:
    # The trap of a constant conductance: evaporation would cool the dark tent by kelvins.
    settled = settle(BASE._replace(heat_w=0.0, leaf_ppfd=0.0, flow_m3_s=0.005))
    assert 20.0 < settled.temperature_c < 21.0
    assert settled.co2_ppm > 420.0


def test_leaves_are_in_balance_with_the_air_they_make() -> None:
    # With psychrolib's saturation pressure: what they lose is g (e_s(leaf) − e)/p.
    settled = settle(BASE)
    vapour = settled.humidity_pct / 100.0 * psychrolib.GetSatVapPres(settled.temperature_c)
    deficit = psychrolib.GetSatVapPres(settled.leaf_c) - vapour
    assert settled.leaf_vpd_pa == pytest.approx(deficit, rel=1e-4)
    assert settled.leaf_c < settled.temperature_c
    moles = settled.transpiration_kg_s / 0.018015 / BASE.leaf_area_m2
    conductance = leaf_conductance(BASE.traits, BASE.leaf_ppfd, deficit)
    assert moles == pytest.approx(conductance * deficit / BASE.pressure_pa, rel=1e-4)


def test_many_lit_leaves_in_hardly_any_air_saturate_it() -> None:
    settled = settle(BASE._replace(flow_m3_s=2e-4, leaf_area_m2=6.0, intake_humidity_pct=90.0))
    assert settled.condensing
    assert settled.humidity_pct == pytest.approx(100.0)
    assert settled.leaf_c > settled.temperature_c
    assert settled.leaf_vpd_pa > 0.0
    # What condenses gives its heat back: only the vapour that leaves with the air takes heat away.
    intake = psychrolib.GetHumRatioFromRelHum(21.0, 0.9, 101_325.0)
    volume = psychrolib.GetMoistAirVolume(settled.temperature_c, settled.humidity_ratio, 101_325.0)
    dry_kg_s = 2e-4 / volume
    carried = dry_kg_s * (settled.humidity_ratio - intake)
    assert settled.transpiration_kg_s > carried
    rise = settled.temperature_c - 21.0
    lost_w = 2.45e6 * carried + (dry_kg_s * (1006.0 + 1860.0 * intake) + 20.0) * rise
    assert lost_w == pytest.approx(150.0, rel=1e-4)


def test_warm_moist_intake_into_a_colder_tent_condenses() -> None:
    cold = BASE._replace(heat_w=-2000.0, intake_humidity_pct=90.0)
    settled = settle(cold)
    assert settled.condensing
    assert settled.humidity_pct == pytest.approx(100.0)


@given(conditions)
@examples(25)
def test_the_air_is_always_possible(at: Conditions) -> None:
    settled = settle(at)
    assert all(
        math.isfinite(value)
        for value in (settled.temperature_c, settled.humidity_pct, settled.co2_ppm)
    )
    assert 0.0 <= settled.humidity_pct <= 100.0
    assert settled.vpd_pa >= 0.0
    assert settled.co2_ppm >= 0.0
    assert settled.transpiration_kg_s >= 0.0


@given(conditions, st.floats(1.05, 5.0))
@examples(16)
def test_more_air_never_makes_a_bare_lit_tent_hotter(at: Conditions, more: float) -> None:
    bare = at._replace(leaf_area_m2=0.0)
    faster = bare._replace(flow_m3_s=bare.flow_m3_s * more)
    assert settle(faster).temperature_c <= settle(bare).temperature_c + 1e-6


@pytest.mark.parametrize("flow", [0.0, -0.1, math.nan])
def test_air_that_does_not_move_is_refused(flow: float) -> None:
    with pytest.raises(ValueError, match="flow must be above 0"):
        settle(BASE._replace(flow_m3_s=flow))
