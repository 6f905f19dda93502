"""The four needs against the handbook's factors and the trade's rule by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import air
from controller.sizing.needs import (
    Needs,
    air_change_flow_m3_s,
    co2_flow_m3_s,
    heat_capacity_j_per_m3_k,
    heat_flow_m3_s,
    moisture_flow_m3_s,
    molar_density_mol_per_m3,
)

CFM = 0.3048**3 / 60.0
BTU_PER_H = 0.29307107
STANDARD_AIR_J_PER_M3_K = 1206.0


def test_trade_rule_on_a_small_space() -> None:
    # Common practice, no source: 2.25 × 2.25 × 5.25 ft holds 26.6 ft³ and needs 8.9 cfm for a
    # change in three minutes, before allowances.
    volume = 2.25 * 2.25 * 5.25 * 0.3048**3
    assert volume / 0.3048**3 == pytest.approx(26.6, abs=0.05)
    assert air_change_flow_m3_s(volume) / CFM == pytest.approx(8.9, abs=0.05)


def test_trade_rule_with_its_allowances() -> None:
    # Common practice, no source: +20 % a bend, +25 % for a filter, +10 % for 1000 W.
    bare = air_change_flow_m3_s(1.0)
    assert air_change_flow_m3_s(1.0, bends=2) == pytest.approx(bare * 1.40)
    assert air_change_flow_m3_s(1.0, carbon_filter=True) == pytest.approx(bare * 1.25)
    assert air_change_flow_m3_s(1.0, lamp_power_w=500.0) == pytest.approx(bare * 1.05)
    everything = air_change_flow_m3_s(1.0, 3.0, 2, True, 150.0)
    assert everything == pytest.approx(bare * (1.0 + 0.40 + 0.25 + 0.015))


@pytest.mark.parametrize("minutes", [0.9, 5.1, math.nan])
def test_time_of_an_air_change_is_one_to_five_minutes(minutes: float) -> None:
    with pytest.raises(ValueError, match="1 to 5 minutes"):
        air_change_flow_m3_s(1.0, minutes)


def test_sensible_heat_in_metric_and_american_units() -> None:
    # ASHRAE: q = 1.08 Btu/h for each cfm and °F. 240 W at 3 K: 238.8 m³/h, 140.4 cfm, by hand.
    flow = heat_flow_m3_s(240.0, 3.0, STANDARD_AIR_J_PER_M3_K)
    assert flow * 3600.0 == pytest.approx(238.8, abs=0.05)
    by_factor = 240.0 / BTU_PER_H / (1.08 * 3.0 * 1.8)
    assert by_factor == pytest.approx(140.4, abs=0.05)
    assert flow / CFM == pytest.approx(by_factor, rel=0.005)


@pytest.mark.parametrize(("elevation_m", "share"), [(0.0, 1.0), (1000.0, 0.887), (2000.0, 0.785)])
def test_factor_1_08_of_the_handbook_and_its_fall_with_elevation(
    elevation_m: float, share: float
) -> None:
    # ASHRAE's 1.08 Btu/(h cfm °F) is for standard air, 70 °F dry at sea level; tests/reference
    # gives its share at 1000 and 2000 m.
    pressure = air.pressure_at_elevation_pa(elevation_m)
    capacity = heat_capacity_j_per_m3_k(21.11, 0.0, pressure)
    factor = capacity * CFM / 1.8 / BTU_PER_H
    assert factor == pytest.approx(1.08 * share, rel=0.005)


def test_factor_4840_of_the_handbook_for_latent_heat() -> None:
    # ASHRAE: q = 4840 Btu/h for each cfm and ΔW, standard air (0.075 lb/ft³, 1076 Btu/lb).
    latent_btu_per_lb, cfm, rise = 1076.0, 100.0, 0.004
    vapour_lb_per_h = 4840.0 * cfm * rise / latent_btu_per_lb
    vapour_kg_s = vapour_lb_per_h * 0.45359237 / 3600.0
    flow = moisture_flow_m3_s(vapour_kg_s, 0.012, 0.008, 1.0 / (0.075 * 16.018463))
    assert flow / CFM == pytest.approx(cfm, rel=0.005)


@pytest.mark.parametrize(("heat", "rise"), [(240.0, 2.6578), (240.0 - 0.05e-3 * 2.45e6, 1.3012)])
def test_heat_flow_of_a_tent_by_hand(heat: float, rise: float) -> None:
    # By hand: 240 W, and the same less what 0.05 g/s of water take up, / (1206·0.05 + 30) W/K.
    assert heat_flow_m3_s(heat, rise, 1206.0, 30.0) == pytest.approx(0.05, abs=5e-6)


@given(st.floats(1.0, 2000.0), st.floats(0.1, 20.0), st.floats(0.0, 50.0))
def test_air_and_walls_carry_off_the_heat_at_the_rise(heat: float, rise: float, ua: float) -> None:
    flow = heat_flow_m3_s(heat, rise, 1206.0, ua)
    carried = (1206.0 * flow + ua) * rise
    assert carried == pytest.approx(heat, rel=1e-9) if flow > 0.0 else carried >= heat - 1e-9


def test_moisture_balance_by_hand() -> None:
    # 0.05 g/s into 0.06 kg/s of dry air raises W by 0.0008333 (tests/reference).
    flow = moisture_flow_m3_s(0.05e-3, 0.0098810 + 0.0008333, 0.0098810, 1.0 / 1.2)
    assert flow == pytest.approx(0.05, rel=1e-4)


def test_co2_balance_by_hand() -> None:
    # 10 µmol/s and 70 ppm to spare in air of 101 325 Pa at 20 °C, 41.57 mol/m³:
    # 10 / (70 · 41.57) m³/s.
    assert molar_density_mol_per_m3(20.0, 101_325.0) == pytest.approx(41.57, abs=0.005)
    assert co2_flow_m3_s(10.0, 420.0, 350.0, 20.0) == pytest.approx(10.0 / (70.0 * 41.57), rel=1e-4)


def test_what_no_flow_can_do_is_infinite() -> None:
    assert heat_flow_m3_s(100.0, 0.0, 1206.0) == math.inf
    assert heat_flow_m3_s(100.0, -2.0, 1206.0, 20.0) == math.inf
    assert moisture_flow_m3_s(1e-5, 0.010, 0.010, 0.85) == math.inf
    assert co2_flow_m3_s(1.0, 350.0, 350.0, 20.0) == math.inf


def test_what_needs_no_flow_is_nothing() -> None:
    assert heat_flow_m3_s(50.0, 5.0, 1206.0, 20.0) == 0.0
    assert heat_flow_m3_s(0.0, 0.0, 1206.0) == 0.0
    assert moisture_flow_m3_s(0.0, 0.010, 0.012, 0.85) == 0.0
    assert co2_flow_m3_s(-1.0, 420.0, 350.0, 20.0) == 0.0


@given(st.floats(0.0, 5000.0), st.floats(-10.0, 30.0), st.floats(0.0, 100.0), st.floats(0.0, 10.0))
def test_more_heat_never_needs_less_flow(heat: float, rise: float, ua: float, more: float) -> None:
    before = heat_flow_m3_s(heat, rise, 1206.0, ua)
    after = heat_flow_m3_s(heat + more, rise, 1206.0, ua)
    assert 0.0 <= before <= after


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_nonsense_is_named(bad: float) -> None:
    with pytest.raises(ValueError, match="heat must"):
        heat_flow_m3_s(bad, 3.0, 1206.0)
    with pytest.raises(ValueError, match="vapour must"):
        moisture_flow_m3_s(bad, 0.01, 0.005, 0.85)
    with pytest.raises(ValueError, match="volume must"):
        air_change_flow_m3_s(bad)


def test_nan_as_rise_is_named() -> None:
    with pytest.raises(ValueError, match="rise must be a number"):
        heat_flow_m3_s(100.0, math.nan, 1206.0)


def test_the_largest_need_rules() -> None:
    needs = Needs(0.010, 0.020, 0.015, 0.005)
    assert (needs.required, needs.ruled_by, needs.physical) == (0.020, "heat", 0.020)
    assert Needs(0.03, 0.02, 0.01, 0.0).ruled_by == "air_change"
    assert Needs(0.03, 0.02, math.inf, 0.0).ruled_by == "moisture"
