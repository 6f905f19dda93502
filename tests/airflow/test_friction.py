"""Friction in duct against `fluids`, a handbook's worked example and its friction chart."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.airflow.friction import (
    colebrook_friction_factor,
    friction_factor,
    friction_pa_per_m,
)

REFERENCE = Path(__file__).parents[1] / "reference" / "duct_reference.csv"


def reference_rows() -> list[dict[str, str]]:
    with REFERENCE.open(newline="") as file:
        return list(csv.DictReader(file))


def test_friction_agrees_with_the_tabled_values_of_fluids() -> None:
    # fluids 1.3.1, Colebrook, 1.204 kg/m³, 1.825e-5 Pa s: tests/reference/README.md.
    rows = reference_rows()
    assert len(rows) >= 80
    for row in rows:
        drop = friction_pa_per_m(
            float(row["flow_m3_h"]) / 3600.0,
            float(row["diameter_mm"]) / 1000.0,
            float(row["roughness_mm"]) / 1000.0,
            1.204,
        )
        assert drop == pytest.approx(float(row["dp_Pa_per_m_colebrook"]), rel=1e-6), row


@given(st.floats(4e3, 1e7), st.floats(0.0, 0.05))
def test_friction_factor_agrees_with_the_exact_solution_of_fluids(re: float, rough: float) -> None:
    # fluids.friction.Colebrook solves the equation exactly, by the Lambert function.
    exact = fluids.friction.Colebrook(Re=re, eD=rough)
    assert colebrook_friction_factor(re, rough) == pytest.approx(exact, rel=1e-9)


@given(st.floats(4e3, 1e8), st.floats(0.0, 0.1))
def test_friction_factor_solves_colebrook_to_machine_precision(re: float, rough: float) -> None:
    factor = colebrook_friction_factor(re, rough)
    left = 1.0 / math.sqrt(factor)
    right = -2.0 * math.log10(rough / 3.7 + 2.51 / (re * math.sqrt(factor)))
    assert left == pytest.approx(right, rel=1e-13)


def test_worked_example_of_the_handbook_method() -> None:
    # A worked example citing ASHRAE's method: Dh 254.5 mm, Re 120 727, roughness 0.09 mm give
    # f 0.0191 and 2.3 Pa/m as printed; Colebrook exactly has 0.01919, so 1 % is allowed.
    diameter_m = 0.2545
    assert friction_factor(120_727.0, 0.09e-3 / diameter_m) == pytest.approx(0.0191, rel=0.01)
    velocity_m_s = 120_727.0 * 1.825e-5 / (1.204 * diameter_m)
    flow_m3_s = velocity_m_s * math.pi * diameter_m**2 / 4.0
    assert friction_pa_per_m(flow_m3_s, diameter_m, 0.09e-3) == pytest.approx(2.3, abs=0.1)


def test_point_of_a_friction_chart() -> None:
    # Handbook friction chart: 20 in, 4000 cfm, about 0.23 in of water in 100 ft. Read off a chart
    # whose roughness is not Colebrook's, so 15 % is allowed.
    drop = friction_pa_per_m(4000.0 * 0.3048**3 / 60.0, 20 * 0.0254, 0.09e-3)
    in_water_per_100_ft = drop * 30.48 / 249.089
    assert in_water_per_100_ft == pytest.approx(0.23, rel=0.15)


def test_laminar_flow_follows_hagen_poiseuille() -> None:
    # Exact solution: Δp/L = 128 µ Q / (π D⁴); roughness plays no part.
    flow, diameter = 5e-5, 0.1
    exact = 128.0 * 1.825e-5 * flow / (math.pi * diameter**4)
    assert friction_pa_per_m(flow, diameter, 0.9e-3) == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize("reynolds", [2000.0, 4000.0])
@pytest.mark.parametrize("rough", [0.0, 0.009, 0.05])
def test_friction_is_continuous_where_the_flow_changes_its_kind(
    reynolds: float, rough: float
) -> None:
    below = friction_factor(reynolds * (1.0 - 1e-9), rough)
    above = friction_factor(reynolds * (1.0 + 1e-9), rough)
    assert below == pytest.approx(above, rel=1e-6)


@given(st.floats(1e-6, 0.5), st.floats(1.0001, 3.0), st.floats(0.03, 0.5), st.floats(0.0, 0.1))
def test_friction_rises_with_flow_through_every_kind_of_flow(
    flow: float, more: float, diameter: float, relative: float
) -> None:
    roughness = relative * diameter
    assert friction_pa_per_m(flow * more, diameter, roughness) > friction_pa_per_m(
        flow, diameter, roughness
    )


@given(st.floats(0.001, 0.5), st.floats(0.05, 0.3))
def test_rougher_and_narrower_duct_costs_more(flow: float, diameter: float) -> None:
    smooth = friction_pa_per_m(flow, diameter, 0.09e-3)
    assert friction_pa_per_m(flow, diameter, 0.9e-3) >= smooth
    assert friction_pa_per_m(flow, diameter * 0.9, 0.09e-3) > smooth


@pytest.mark.parametrize(
    ("flow", "diameter", "roughness", "density", "named"),
    [
        (-1.0, 0.1, 0.0, 1.2, "flow"),
        (math.nan, 0.1, 0.0, 1.2, "flow"),
        (math.inf, 0.1, 0.0, 1.2, "flow"),
        (0.05, 0.0, 0.0, 1.2, "diameter"),
        (0.05, math.nan, 0.0, 1.2, "diameter"),
        (0.05, 0.1, 0.05, 1.2, "roughness"),
        (0.05, 0.1, 0.0, 0.0, "density"),
    ],
)
def test_friction_names_what_is_out_of_range(
    flow: float, diameter: float, roughness: float, density: float, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        friction_pa_per_m(flow, diameter, roughness, density)


def test_no_flow_costs_nothing() -> None:
    assert friction_pa_per_m(0.0, 0.1, 0.9e-3) == 0.0
