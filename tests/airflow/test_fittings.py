"""Bends, corners, ends and openings against `fluids`."""

from __future__ import annotations

import math

import pytest
from fluids.fittings import bend_rounded, entrance_sharp, exit_normal
from hypothesis import given
from hypothesis import strategies as st

from controller.airflow.fittings import (
    EXIT_K,
    SHARP_ENTRY_K,
    bend_k,
    openings_drop_pa,
    static_exit_k,
)


@given(st.floats(0.5, 10.0), st.floats(0.01, 0.08), st.floats(5.0, 180.0))
def test_bends_agree_with_fluids(ratio: float, factor: float, angle: float) -> None:
    # fluids.fittings.bend_rounded, method Rennels.
    expected = bend_rounded(Di=0.1, angle=angle, fd=factor, bend_diameters=ratio, method="Rennels")
    assert bend_k(ratio, factor, angle) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("ratio", "k"), [(0.75, 0.587), (1.0, 0.402), (1.5, 0.282), (2.0, 0.252)])
def test_bends_lose_what_the_table_says(ratio: float, k: float) -> None:
    # tests/reference/README.md (fluids 1.3.1, 100 mm at 50 L/s, roughness 0.09 mm).
    assert bend_k(ratio, 0.02436318) == pytest.approx(k, rel=0.01)


def test_worked_example_of_fluids_own_documentation() -> None:
    # bend_rounded(Di=4.020, rc=4.0*5, angle=30, Re=1E5) = 0.11519 (docstring of fluids 1.3.1,
    # which takes the smooth friction factor of Clamond at that Reynolds number).
    from controller.airflow.friction import colebrook_friction_factor

    factor = colebrook_friction_factor(1e5, 0.0)
    assert bend_k(20.0 / 4.02, factor, 30.0) == pytest.approx(0.11519070808, rel=0.01)


def test_ends_agree_with_fluids() -> None:
    assert pytest.approx(entrance_sharp(method="Rennels"), rel=1e-6) == SHARP_ENTRY_K
    assert pytest.approx(exit_normal()) == EXIT_K


def test_exit_costs_static_pressure_only_as_far_as_the_duct_ends_narrower_than_the_fan() -> None:
    # By hand: velocity pressures go with the inverse fourth power of the diameters.
    assert static_exit_k(1.0) == 0.0
    assert static_exit_k(0.8) == pytest.approx(1.0 - 0.4096)
    assert static_exit_k(0.0) == EXIT_K
    with pytest.raises(ValueError, match="duct over fan"):
        static_exit_k(math.nan)


@given(st.floats(0.5, 5.0), st.floats(0.01, 0.06))
def test_a_wider_bend_of_a_quarter_turn_separates_less(ratio: float, factor: float) -> None:
    straight = factor * math.pi / 2.0  # own friction grows with the length, the rest falls

    def turning(r: float) -> float:
        return bend_k(r, factor) - straight * r

    assert turning(ratio * 1.2) < turning(ratio)


@given(st.floats(0.0, 0.3), st.floats(0.001, 0.1))
def test_openings_follow_the_orifice_equation(flow: float, area: float) -> None:
    # Q = Cd A √(2Δp/ρ), solved back.
    drop = openings_drop_pa(flow, area, 1.2, 0.61)
    assert 0.61 * area * math.sqrt(2.0 * drop / 1.2) == pytest.approx(flow, rel=1e-9, abs=1e-15)


def test_openings_in_parallel_share_one_pressure() -> None:
    both = openings_drop_pa(0.05, 0.02, 1.2)
    assert openings_drop_pa(0.025, 0.01, 1.2) == pytest.approx(both)


@pytest.mark.parametrize("ratio", [0.4, 51.0, math.nan])
def test_bend_names_its_range(ratio: float) -> None:
    with pytest.raises(ValueError, match=r"0\.5 to 50"):
        bend_k(ratio, 0.02)


def test_other_nonsense_is_named() -> None:
    with pytest.raises(ValueError, match="angle"):
        bend_k(1.0, 0.02, 181.0)
    with pytest.raises(ValueError, match="friction factor"):
        bend_k(1.0, 0.0)
    with pytest.raises(ValueError, match="area"):
        openings_drop_pa(0.1, 0.0, 1.2)
    with pytest.raises(ValueError, match="discharge"):
        openings_drop_pa(0.1, 0.1, 1.2, 1.1)
