"""The tent model against steady states and time constants worked out by hand.

The equations of a single heat capacity and a well-mixed volume, in SI: dT = P/(UA + ρ cp Q),
τ = C/(UA + ρ cp Q), exponential approach; W = W_in + E/(ρ Q). Any text on heat transfer has them.
"""

from __future__ import annotations

from math import exp, log

import pytest
from tent_builders import pepper_tent

from controller import air
from controller.air.constants import LATENT_J_PER_KG
from controller.plants import LeafState
from controller.tent_physics import TentPhysics
from simulators.tent import Tent

UA, RHO_CP, FLOW, LAMP, C = 30.0, 1206.0, 0.05, 240.0, 20_000.0
LOSS = UA + RHO_CP * FLOW


def bare_tent(**changes: float) -> TentPhysics:
    values = {
        "volume_m3": 2.88,
        "wall_w_per_k": UA,
        "air_capacity_j_k": C,
        "heat_capacity_j_m3_k": RHO_CP,
        "density_kg_m3": 1.2,
        "lamp_heat_w": LAMP,
    }
    return TentPhysics(**(values | changes))  # type: ignore[arg-type]


def settle(
    physics: TentPhysics, start_c: float, flow: float, seconds: int, dt: float = 60.0
) -> Tent:
    tent = Tent(physics, start_c, 0.008)
    for _ in range(round(seconds / dt)):
        tent.advance(flow, True, dt, 22.0, 22.0, 0.008)
    return tent


def test_a_dry_tent_settles_at_lamp_power_over_losses() -> None:
    assert settle(bare_tent(), 22.0, FLOW, 86_400).air_c - 22.0 == pytest.approx(2.6578, abs=5e-5)


def test_with_the_fan_off_and_the_lamp_on_it_rises_to_the_analytic_limit() -> None:
    tent = settle(bare_tent(), 22.0, 0.0, 86_400)
    assert tent.air_c - 22.0 == pytest.approx(LAMP / UA, abs=1e-9)
    assert settle(bare_tent(), 22.0, 0.0, 600).air_c == pytest.approx(26.7474, abs=5e-5)


@pytest.mark.parametrize("dt_s", [1.0, 7.5, 60.0, 600.0])
def test_the_approach_is_exponential_whatever_the_step(dt_s: float) -> None:
    end_c = 22.0 + LAMP / LOSS
    tau_s = C / LOSS
    assert tau_s == pytest.approx(221.48, abs=0.02)
    for seconds, by_hand_c in ((600, 25.0136),):
        air_c = settle(bare_tent(), 30.0, FLOW, seconds, dt_s).air_c
        assert air_c == pytest.approx(end_c + (30.0 - end_c) * exp(-seconds / tau_s), abs=1e-9)
        assert air_c == pytest.approx(by_hand_c, abs=1e-4)
    assert settle(bare_tent(), 30.0, FLOW, 60, min(dt_s, 60.0)).air_c == pytest.approx(
        28.7323, abs=1e-4
    )


def test_an_on_off_rule_cycles_as_worked_out() -> None:
    """On at 28 °C, off at 26 °C: the two exponentials give both lengths."""
    off_s = C / UA * log((30.0 - 26.0) / (30.0 - 28.0))
    cold_c = 22.0 + LAMP / LOSS
    on_s = C / LOSS * log((28.0 - cold_c) / (26.0 - cold_c))
    assert (off_s, on_s) == (pytest.approx(462.10, abs=0.05), pytest.approx(202.06, abs=0.05))
    tent, running, switched, lengths = Tent(bare_tent(), 26.0, 0.008), False, 0, []
    for second in range(4 * 3600):
        tent.advance(FLOW if running else 0.0, True, 1.0, 22.0, 22.0, 0.008)
        if tent.air_c >= 28.0 if not running else tent.air_c <= 26.0:
            lengths.append((running, second + 1 - switched))
            running, switched = not running, second + 1
    assert (
        lengths[2:6]
        == [
            (False, pytest.approx(off_s, abs=2.0)),
            (True, pytest.approx(on_s, abs=2.0)),
        ]
        * 2
    )


def test_a_steady_source_of_moisture_raises_the_humidity_ratio_by_e_over_rho_q() -> None:
    kg_s = 5e-5
    physics = bare_tent(lamp_heat_w=0.0, air_capacity_j_k=1e12)
    intake = air.humidity_ratio(25.0, 50.0, air.STANDARD_PRESSURE_PA)
    assert intake == pytest.approx(0.0098810, abs=1e-6)
    plants = physics._replace(
        leaf_area_m2=1.0,
        # Whatever the deficit, so much water.
        leaf=lambda lit, air_c, vpd: LeafState(air_c, kg_s, vpd),
    )
    tent = Tent(plants, 25.0, intake)
    for _ in range(600):
        tent.advance(FLOW, True, 60.0, 25.0, 25.0, intake)
    assert tent.humidity_ratio - intake == pytest.approx(0.0008333, rel=2e-3)
    heated = plants._replace(air_capacity_j_k=C, lamp_heat_w=LAMP)
    tent = Tent(heated, 25.0, intake)
    for _ in range(600):
        tent.advance(FLOW, True, 60.0, 25.0, 25.0, intake)
    assert tent.air_c - 25.0 == pytest.approx(1.3012, abs=2e-3)
    assert (LAMP - LATENT_J_PER_KG * kg_s) / LOSS == pytest.approx(1.3012, abs=1e-4)


def test_leaves_of_fixed_conductance_settle_where_they_give_what_the_air_carries_off() -> None:
    """Isothermal, 25 °C, g = 0.2 mol/(m² s), A = 2 m²; by hand with FAO-56's e_s: 1843.1 Pa.

    By hand: g A M (e_s − e)/p = Q (e − e_in)/(R_v T). The model counts dry air as constant, which
    costs a fifth of a percent here.
    """
    dry_kg_m3 = (101_325.0 - 1843.0) / (287.042 * 298.15)
    physics = TentPhysics(
        volume_m3=2.88,
        wall_w_per_k=UA,
        air_capacity_j_k=1e12,
        density_kg_m3=dry_kg_m3,
        leaf_area_m2=2.0,
        leaf=lambda lit, air_c, vpd: LeafState(air_c, 0.2 * vpd / 101_325.0 * 0.018015, vpd),
    )
    intake = air.humidity_ratio(25.0, 50.0, 101_325.0)
    tent = Tent(physics, 25.0, intake)
    for _ in range(600):
        tent.advance(FLOW, True, 60.0, 25.0, 25.0, intake)
    assert tent.vapour_pa == pytest.approx(1843.14, rel=2.5e-3)
    assert tent.humidity_pct == pytest.approx(58.18, abs=0.15)
    water = physics.transpiration_kg_s(True, 25.0, tent.saturation_pa - tent.vapour_pa) * 3600
    assert water == pytest.approx(0.3391, rel=4e-3)


def test_a_dark_tent_is_not_cooled_much_below_its_room_by_its_plants() -> None:
    """Constant g with leaves as warm as the air would: pores close in the dark."""
    intake = air.humidity_ratio(22.0, 50.0, 101_325.0)
    tent = Tent(pepper_tent(), 22.0, intake)
    for _ in range(24 * 60):
        tent.advance(0.0, False, 60.0, 22.0, 22.0, intake)
    assert -0.6 < tent.air_c - 22.0 < 0.0
