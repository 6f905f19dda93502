"""The matrix exponential against scipy.linalg.expm."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from simulators.tent.matrix_exponential import exponential, power


@pytest.mark.parametrize("norm", [0.0, 1e-6, 0.4, 5.0, 60.0])
@pytest.mark.parametrize("size", [1, 3, 13])
def test_it_agrees_with_scipy(size: int, norm: float) -> None:
    rng = np.random.default_rng(size)
    a = rng.normal(size=(size, size))
    a -= np.eye(size) * (1.0 + np.abs(a).sum())  # decaying, as a tent does
    a *= norm / np.abs(a).sum(axis=1).max()
    assert np.allclose(exponential(a.tolist()), expm(a), rtol=1e-10, atol=1e-14)


def test_a_power_is_that_of_numpy() -> None:
    a = np.random.default_rng(3).normal(size=(5, 5))
    for times in (1, 2, 7):
        assert np.allclose(power(a.tolist(), times), np.linalg.matrix_power(a, times), rtol=1e-12)


def test_three_short_steps_are_one_long_step() -> None:
    a = np.random.default_rng(4).normal(size=(6, 6))
    long = exponential((3.0 * a).tolist())
    assert np.allclose(power(exponential(a.tolist()), 3), long, rtol=1e-12)
