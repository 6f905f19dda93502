"""Fan curves: the fan laws exactly, interpolation against scipy, data sheets checked."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from controller.airflow import FanCurve, at_speed_and_density
from controller.airflow.operating import electrical_power_w

SHEET = [(0.0, 300.0), (0.01, 290.0), (0.02, 265.0), (0.035, 190.0), (0.05, 60.0), (0.055, 0.0)]


@st.composite
def sheets(draw: st.DrawFn) -> list[tuple[float, float]]:
    count = draw(st.integers(2, 8))
    widths = draw(st.lists(st.floats(0.001, 0.05), min_size=count - 1, max_size=count - 1))
    falls = draw(st.lists(st.floats(0.0, 100.0), min_size=count - 1, max_size=count - 1))
    assume(falls[-1] > 0.1)
    flows = [0.0, *np.cumsum(widths).tolist()]
    end = draw(st.floats(0.0, 50.0))
    pressures = [end + sum(falls[i:]) for i in range(count)]
    return list(zip(flows, pressures, strict=True))


def test_fan_laws_worked_example() -> None:
    # AMCA 201 laws by hand: 200 m³/h, 150 Pa, 40 W at 70 % speed; then air of 0.95 for 1.2 kg/m³.
    assert at_speed_and_density(200.0, 150.0, 40.0, 0.7) == pytest.approx((140.0, 73.5, 13.72))
    thin = at_speed_and_density(200.0, 150.0, 40.0, 1.0, 0.95 / 1.2)
    assert thin == pytest.approx((200.0, 118.75, 31.6666667))


@given(sheets(), st.floats(0.05, 1.0), st.floats(0.8, 1.3), st.floats(0.0, 0.2))
def test_curve_obeys_the_fan_laws(
    points: list[tuple[float, float]], speed: float, density: float, flow: float
) -> None:
    curve = FanCurve.from_points(points)
    scaled = curve.pressure_pa(flow * speed, speed, density)
    expected = curve.pressure_pa(flow) * speed**2 * density / curve.density_kg_per_m3
    assert scaled == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_two_points_make_the_parabola() -> None:
    curve = FanCurve.from_two_points(0.08, 300.0)
    assert curve.pressure_pa(0.04) == pytest.approx(300.0 * 0.75)
    assert curve.pressure_pa(0.0) == 300.0
    assert curve.pressure_pa(0.08) == 0.0
    assert curve.pressure_pa(0.1) == 0.0


def test_interpolation_agrees_with_scipy_between_the_ends() -> None:
    # scipy.interpolate.PchipInterpolator uses the same slopes inside; the end pieces differ, since
    # ours leave the curve along the last two points.
    curve = FanCurve.from_points(SHEET)
    flows, pressures = zip(*SHEET, strict=True)
    reference = PchipInterpolator(flows, pressures)
    for flow in np.linspace(flows[1], flows[-2], 101):
        assert curve.pressure_pa(float(flow)) == pytest.approx(float(reference(flow)), rel=1e-12)


@given(sheets())
def test_curve_goes_through_its_points(points: list[tuple[float, float]]) -> None:
    curve = FanCurve.from_points(reversed(points))
    for flow, pressure in points:
        assert curve.pressure_pa(flow) == pytest.approx(pressure, abs=1e-9)


@given(sheets(), st.floats(0.0, 1.2), st.floats(0.0, 0.2))
def test_pressure_never_rises_with_flow(
    points: list[tuple[float, float]], share: float, step: float
) -> None:
    curve = FanCurve.from_points(points)
    flow = share * curve.free_flow_m3_s
    before, after = curve.pressure_pa(flow), curve.pressure_pa(flow + step)
    assert 0.0 <= after <= before + 1e-9
    assert before <= curve.max_pressure_pa


@given(sheets())
def test_free_flow_is_where_the_pressure_ends(points: list[tuple[float, float]]) -> None:
    curve = FanCurve.from_points(points)
    assert curve.pressure_pa(curve.free_flow_m3_s) == pytest.approx(0.0, abs=1e-6)
    assert curve.pressure_pa(curve.free_flow_m3_s * 0.99) > 0.0


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([(0.0, 300.0)], "2 to 200 points"),
        ([(0.0, 300.0), (0.0, 200.0)], "two points"),
        ([(0.0, 200.0), (0.02, 250.0), (0.05, 0.0)], "must not rise"),
        ([(0.0, 200.0), (0.02, 100.0), (0.05, 100.0)], "must fall"),
        ([(0.0, math.nan), (0.05, 0.0)], "0 or more"),
        ([(-0.01, 300.0), (0.05, 0.0)], "0 or more"),
        ([(0.0, math.inf), (0.05, 0.0)], "0 or more"),
    ],
)
def test_data_sheet_that_cannot_be_is_refused(points: list[tuple[float, float]], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        FanCurve.from_points(points)


@pytest.mark.parametrize(
    ("flow", "pressure", "said"),
    [(0.0, 300.0, "free flow"), (0.1, -1.0, "static pressure"), (math.nan, 300.0, "free flow")],
)
def test_two_points_that_cannot_be_are_refused(flow: float, pressure: float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        FanCurve.from_two_points(flow, pressure)


def test_power_follows_the_cube_and_the_density() -> None:
    curve = FanCurve.from_two_points(0.08, 300.0)
    full = electrical_power_w(curve, 1.0, curve.density_kg_per_m3, 40.0)
    assert full == 40.0
    half = electrical_power_w(curve, 0.5, curve.density_kg_per_m3 / 2.0, 40.0)
    assert half == pytest.approx(40.0 / 8.0 / 2.0)


def test_unknown_power_is_the_greatest_air_power_over_the_efficiency() -> None:
    # Of p = P(1 − (Q/F)²) the largest Q p is 2 F P/(3√3), by hand.
    curve = FanCurve.from_two_points(0.08, 300.0)
    by_hand = 2.0 * 0.08 * 300.0 / (3.0 * math.sqrt(3.0))
    assert electrical_power_w(curve, 1.0, efficiency=0.25) == pytest.approx(
        by_hand / 0.25, rel=1e-3
    )
