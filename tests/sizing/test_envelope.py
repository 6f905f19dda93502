"""Heat through the fabric, by hand."""

from __future__ import annotations

import math

import pytest

from controller.envelope import (
    STIRRED_FILM_M2_K_PER_W,
    WALL_U_RANGE,
    wall_area_m2,
    wall_ua_w_per_k,
)


def test_walls_and_roof_of_a_small_tent() -> None:
    # 80 × 80 × 160 cm: four walls 5.12 m² and roof 0.64 m²; UA 13 to 22 W/K (tests/reference)
    # in still air. Stirred: 5.76 / (0.13 + 0.09) by hand.
    assert wall_area_m2(0.8, 0.8, 1.6) == pytest.approx(5.76)
    low, high = (wall_ua_w_per_k(0.8, 0.8, 1.6, u) for u in WALL_U_RANGE)
    assert low == pytest.approx(13.4, abs=0.1)
    assert wall_ua_w_per_k(0.8, 0.8, 1.6) == pytest.approx(22.15, abs=0.1)
    assert high == pytest.approx(26.2, abs=0.1)


def test_best_guess_lies_inside_what_is_plausible() -> None:
    low, high = WALL_U_RANGE
    assert low < wall_ua_w_per_k(1.0, 1.0, 1.0) / 5.0 < high


def test_film_of_stirred_air_is_that_of_the_standard() -> None:
    # ISO 6946: h_c = 4 + 4 v at v = 0.5 m/s, h_r = 0.9 · 5.7 W/m²K (from memory).
    assert pytest.approx(1.0 / (4.0 + 4.0 * 0.5 + 0.9 * 5.7), rel=0.01) == STIRRED_FILM_M2_K_PER_W


def test_transmittance_is_that_of_two_films() -> None:
    # ISO 6946: 0.13 m²K/W on each side of a thin wall.
    assert wall_ua_w_per_k(1.0, 1.0, 1.0) == pytest.approx(5.0 / 0.26)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_nonsense_is_named(bad: float) -> None:
    with pytest.raises(ValueError, match="depth"):
        wall_area_m2(1.0, bad, 1.0)
    with pytest.raises(ValueError, match="transmittance"):
        wall_ua_w_per_k(1.0, 1.0, 1.0, bad)
