"""The matrix exponential against scipy.linalg.expm."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from simulators.matrix_exponential import exponential


@pytest.mark.parametrize("norm", [0.0, 1e-6, 0.4, 5.0, 60.0])
@pytest.mark.parametrize("size", [1, 3, 13])
def test_it_agrees_with_scipy(size: int, norm: float) -> None:
    rng = np.random.default_rng(size)
    a = rng.normal(size=(size, size))
    a -= np.eye(size) * (1.0 + np.abs(a).sum())  # decaying, as a tent does
    a *= norm / np.abs(a).sum(axis=1).max()
    assert np.allclose(exponential(a.tolist()), expm(a), rtol=1e-10, atol=1e-14)
