"""The table of the leaves gives what the balance of a leaf does."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tent_builders import pepper_tent

from controller import air
from simulators.tent.step import Exchange

PHYSICS = pepper_tent()
EXCHANGES = {lit: Exchange(PHYSICS, lit) for lit in (True, False)}


@given(st.booleans(), st.floats(1.0, 45.0), st.floats(0.0, 98.0))
def test_interpolated_leaves_are_those_of_the_balance(lit: bool, air_c: float, pct: float) -> None:
    vpd_pa = air.vpd_pa(air_c, pct)
    leaf, table = PHYSICS.leaf(lit, air_c, vpd_pa), EXCHANGES[lit]
    water = PHYSICS.transpiration_kg_s(lit, air_c, vpd_pa)
    assert table.water.at(air_c, vpd_pa) == pytest.approx(
        water, rel=1e-3 if air_c >= 5.0 else 1.1e-3, abs=1e-10
    )
    assert table.leaf_c.at(air_c, vpd_pa) == pytest.approx(leaf.leaf_c, abs=2e-3)
    assert table.leaf_vpd_pa.at(air_c, vpd_pa) == pytest.approx(leaf.leaf_vpd_pa, abs=1.0)


def test_supersaturated_and_bone_dry_air_are_within_the_table() -> None:
    table = EXCHANGES[True].water
    assert table.at(25.0, -200.0) == pytest.approx(PHYSICS.transpiration_kg_s(True, 25.0, 0.0))
    assert table.at(69.0, 29_000.0) == table.at(69.0, 25_000.0) > 0.0
