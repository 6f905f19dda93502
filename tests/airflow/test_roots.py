"""The root finder against scipy's."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from controller.airflow.roots import falling_root


@given(st.floats(-5.0, 5.0), st.floats(0.01, 100.0), st.floats(0.1, 7.0))
def test_agrees_with_brent(root: float, steep: float, power: float) -> None:
    def falling(x: float) -> float:
        off = root - x
        return steep * math.copysign(abs(off) ** power, off) + (root - x)

    found = falling_root(falling, -6.0, 6.0)
    assert found == pytest.approx(brentq(falling, -6.0, 6.0, xtol=1e-14), abs=1e-9)


def test_a_root_outside_is_answered_with_the_nearer_end() -> None:
    assert falling_root(lambda x: -1.0 - x, 0.0, 1.0) == 0.0
    assert falling_root(lambda x: 5.0 - x, 0.0, 1.0) == 1.0


def test_a_step_is_found_to_the_last_bit() -> None:
    found = falling_root(lambda x: 1.0 if x < 0.3 else -1.0, 0.0, 1.0)
    assert found == pytest.approx(0.3, abs=1e-15)


@given(st.floats(-1.0, 1.0), st.floats(1e-9, 1e-2))
def test_tolerance_is_kept(root: float, tolerance: float) -> None:
    found = falling_root(lambda x: math.exp(-x) - math.exp(-root), -2.0, 2.0, tolerance)
    assert abs(found - root) <= tolerance * (1.0 + 1e-9)
