"""Where fan and duct meet, against closed forms, `fluids` and scipy's root finder."""

from __future__ import annotations

import math

import fluids
import pytest
from fluids.fittings import bend_rounded, entrance_sharp, exit_normal
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from controller.airflow import Duct, FanCurve, Filter, System, operating_point
from controller.airflow.fittings import static_exit_k

PARABOLA = FanCurve.from_two_points(0.08, 300.0)


class Square:
    """A system of pressure drop k Q²."""

    def __init__(self, k: float) -> None:
        self.k = k

    def pressure_drop_pa(self, flow_m3_s: float, density_kg_per_m3: float = 1.2) -> float:
        return self.k * flow_m3_s**2


def test_parabola_meets_square_system() -> None:
    # By hand: 300 (1 − (Q/0.08)²) = 40 000 Q² at Q = √(300/(40 000 + 300/0.08²)).
    point = operating_point(PARABOLA, Square(40_000.0))
    assert point.flow_m3_s == pytest.approx(0.0587643, abs=5e-8)
    assert point.pressure_pa == pytest.approx(138.129, abs=5e-4)


def test_run_of_flexible_duct_with_bends_and_filter() -> None:
    # tests/reference/README.md, reckoned with fluids 1.3.1: 3 m of 125 mm flexible duct (0.9 mm),
    # entry 0.5, exit 1, two bends of r/D 1 (0.403 each), filter 1200 Q: 0.061629 m³/s, 121.960 Pa.
    # All of the exit is charged there, as to a fan whose outlet is far wider than the duct.
    bend = bend_rounded(Di=0.125, angle=90, fd=0.0244, bend_diameters=1.0, method="Rennels")
    system = System(
        Duct(0.125, 3.0), Filter(1200.0), entry_k=0.5 + 2.0 * bend, exit_k=static_exit_k(0.0)
    )
    point = operating_point(PARABOLA, system, density=1.204)
    assert point.flow_m3_s == pytest.approx(0.061629, rel=1e-3)
    assert point.pressure_pa == pytest.approx(121.960, rel=2e-3)


def test_a_fan_blowing_into_a_stub_of_its_own_bore_delivers_its_free_flow() -> None:
    """Its static curve was measured in just that way: nothing behind the outlet but free air.

    AMCA 210 / ASHRAE Handbook Systems and Equipment, Fans (from memory): fan static pressure is
    fan total pressure less the velocity pressure at the outlet.
    """
    point = operating_point(PARABOLA, System(Duct(0.1, 0.0)))
    assert point.flow_m3_s == pytest.approx(PARABOLA.free_flow_m3_s, rel=1e-9)


@pytest.mark.parametrize("fan_bore", [0.1, 0.125, 0.2])
def test_fan_total_pressure_covers_all_total_losses_from_room_to_room(fan_bore: float) -> None:
    # Still air to still air, so that the fan's total pressure is the sum of all losses in total
    # pressure, the free exit's whole velocity pressure among them (ASHRAE Handbook Fundamentals,
    # Duct Design); of those losses `fluids` knows each.
    bore, length, flow, rho, mu = 0.125, 3.0, 0.05, 1.2, 1.825e-5
    velocity = flow / (math.pi * bore**2 / 4.0)
    reynolds = fluids.Reynolds(V=velocity, D=bore, rho=rho, mu=mu)
    fd = fluids.friction_factor(Re=reynolds, eD=0.9e-3 / bore, Method="Colebrook")
    k = fluids.K_from_f(fd=fd, L=length, D=bore) + entrance_sharp() + exit_normal()
    total_pa = fluids.dP_from_K(K=k, rho=rho, V=velocity)
    at_outlet_pa = 0.5 * rho * (flow / (math.pi * fan_bore**2 / 4.0)) ** 2
    system = System(Duct(bore, length), entry_k=0.57, exit_k=static_exit_k(bore / fan_bore))
    assert system.pressure_drop_pa(flow, rho) == pytest.approx(total_pa - at_outlet_pa, rel=0.01)


@pytest.mark.parametrize("diameter", [0.1, 0.125, 0.2])
@pytest.mark.parametrize("bends", [0, 1, 4])
def test_system_agrees_with_fluids_part_by_part(diameter: float, bends: int) -> None:
    flow, rho, mu, rough, length = 0.04, 1.19, 1.825e-5, 0.9e-3, 4.0
    velocity = flow / (math.pi * diameter**2 / 4.0)
    reynolds = fluids.Reynolds(V=velocity, D=diameter, rho=rho, mu=mu)
    fd = fluids.friction_factor(Re=reynolds, eD=rough / diameter, Method="Colebrook")
    k = fluids.K_from_f(fd=fd, L=length, D=diameter) + 0.57
    k += bends * bend_rounded(Di=diameter, angle=90, fd=fd, bend_diameters=1.0, method="Rennels")
    expected = fluids.dP_from_K(K=k, rho=rho, V=velocity)
    system = System(Duct(diameter, length, bends, rough), entry_k=0.57)
    assert system.pressure_drop_pa(flow, rho) == pytest.approx(expected, rel=0.01)


@given(
    st.floats(0.005, 0.3),
    st.floats(20.0, 800.0),
    st.floats(0.05, 0.3),
    st.floats(0.0, 20.0),
    st.floats(0.0, 300.0),
    st.floats(0.05, 1.0),
    st.floats(0.7, 1.3),
)
def test_point_lies_on_both_curves_and_agrees_with_scipy(
    free: float,
    pressure: float,
    diameter: float,
    length: float,
    drop: float,
    speed: float,
    density: float,
) -> None:
    curve = FanCurve.from_two_points(free, pressure)
    system = System(
        Duct(diameter, length, bends=2.0),
        Filter.at_rated_flow(drop, free),
        entry_k=0.57,
        openings_m2=0.02,
    )
    point = operating_point(curve, system, speed, density)
    assert 0.0 < point.flow_m3_s <= free * speed
    fan = curve.pressure_pa(point.flow_m3_s, speed, density)
    assert point.pressure_pa == pytest.approx(fan, rel=1e-6, abs=1e-9)
    root = brentq(
        lambda q: curve.pressure_pa(q, speed, density) - system.pressure_drop_pa(q, density),
        0.0,
        free * speed,
        xtol=1e-14,
    )
    assert point.flow_m3_s == pytest.approx(root, rel=1e-9)


@given(st.floats(0.05, 1.0), st.floats(0.05, 1.0))
def test_more_speed_never_gives_less_air_pressure_or_power(one: float, other: float) -> None:
    system = System(Duct(0.1, 2.0, 2.0), Filter.at_rated_flow(60.0, 0.05), openings_m2=0.01)
    slow, fast = (operating_point(PARABOLA, system, s) for s in sorted((one, other)))
    assert slow.flow_m3_s <= fast.flow_m3_s
    assert slow.pressure_pa <= fast.pressure_pa
    assert slow.power_w <= fast.power_w


@given(st.floats(0.0, 10.0), st.floats(0.1, 10.0))
def test_a_longer_duct_never_passes_more(length: float, more: float) -> None:
    def flow(metres: float) -> float:
        return operating_point(PARABOLA, System(Duct(0.1, metres))).flow_m3_s

    assert flow(length + more) < flow(length)


def test_limits_are_free_flow_and_standstill() -> None:
    wide = System(Duct(10.0, 0.0))
    assert operating_point(PARABOLA, wide).flow_m3_s == pytest.approx(0.08, rel=1e-6)
    plugged = System(openings_m2=1e-9)
    assert operating_point(PARABOLA, plugged).flow_m3_s < 1e-6
    still = operating_point(PARABOLA, wide, speed=0.0)
    assert (still.flow_m3_s, still.pressure_pa, still.power_w) == (0.0, 0.0, 0.0)


def test_square_system_obeys_the_fan_laws_at_every_speed() -> None:
    # A system of pure square law: the flow is in proportion to the speed.
    full = operating_point(PARABOLA, Square(40_000.0))
    for speed in (0.2, 0.5, 0.9):
        point = operating_point(PARABOLA, Square(40_000.0), speed)
        assert point.flow_m3_s == pytest.approx(full.flow_m3_s * speed, rel=1e-12)
        assert point.pressure_pa == pytest.approx(full.pressure_pa * speed**2, rel=1e-12)


@pytest.mark.parametrize("speed", [-0.1, 1.1, math.nan])
def test_speed_out_of_range_is_named(speed: float) -> None:
    with pytest.raises(ValueError, match="speed must be 0 to 1"):
        operating_point(PARABOLA, Square(1.0), speed)


def test_carbon_bed_follows_ergun() -> None:
    # Ergun with fluids 1.3.1 (4 mm pellets, void 0.4, bed 40 mm): 5.81, 15.55, 29.24 Pa at 0.1,
    # 0.2, 0.3 m/s. One figure at 0.3 m/s and the assumed linear share foretell the other two.
    bed = Filter.at_rated_flow(29.24, 0.3)
    assert bed.pressure_drop_pa(0.3) == pytest.approx(29.24)
    assert bed.pressure_drop_pa(0.2) == pytest.approx(15.55, rel=0.05)
    assert bed.pressure_drop_pa(0.1) == pytest.approx(5.81, rel=0.05)
    again = fluids.dP_packed_bed(
        dp=4e-3, voidage=0.4, vs=0.2, rho=1.204, mu=1.825e-5, L=0.04, Method="Ergun"
    )
    assert bed.pressure_drop_pa(0.2) == pytest.approx(again, rel=0.05)


def test_parts_add_up_to_the_whole() -> None:
    system = System(Duct(0.1, 2.0, 2.0), Filter(500.0, 9000.0), entry_k=0.57, openings_m2=0.01)
    parts = system.parts_pa(0.04, 1.1)
    assert set(parts) == {"duct", "ends", "filter", "openings"}
    assert all(pa > 0.0 for pa in parts.values())
    assert math.fsum(parts.values()) == pytest.approx(system.pressure_drop_pa(0.04, 1.1))


def test_nonsense_in_a_system_is_named() -> None:
    with pytest.raises(ValueError, match="diameter"):
        Duct(0.0, 1.0)
    with pytest.raises(ValueError, match="length"):
        Duct(0.1, math.nan)
    with pytest.raises(ValueError, match="multiplier"):
        Duct(0.1, 1.0, friction_multiplier=0.5)
    with pytest.raises(ValueError, match="filter"):
        Filter(-1.0)
    with pytest.raises(ValueError, match="linear share"):
        Filter.at_rated_flow(60.0, 0.05, 1.5)
    with pytest.raises(ValueError, match="flow"):
        System().pressure_drop_pa(math.nan)
