"""Intervals from past errors, against NumPy's quantiles and against the rate they promise."""

from __future__ import annotations

import random

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller.tomorrow.blend import FIRST_SHARE, Comparison, learned_share
from controller.tomorrow.intervals import LEAST_HINDCASTS, correction, half_width, left_out_errors

ERRORS = st.lists(st.floats(-50.0, 50.0), min_size=LEAST_HINDCASTS, max_size=40)


@examples(30)
@given(ERRORS)
def test_it_is_the_conformal_quantile(errors: list[float]) -> None:
    """NumPy's quantile by the rank 0.9 (n + 1): Hyndman & Fan's definition 6, `weibull` there."""
    by_numpy = np.quantile(np.abs(errors), 0.9, method="weibull")
    assert half_width(errors) == pytest.approx(float(by_numpy))


def test_few_past_forecasts_tell_no_interval() -> None:
    assert half_width([1.0] * (LEAST_HINDCASTS - 1)) is None


@pytest.mark.parametrize("count", [9, 14, 17, 20])
def test_it_holds_nine_in_ten_of_what_comes(count: int) -> None:
    """Of 4000 days of independent errors with a long tail; between two ranks a little more (Lei et
    al. 2018, theorem 2.2, Hutson 1999, from memory)."""
    dice = random.Random(7)
    held = 0
    for _ in range(4000):
        half = half_width([dice.expovariate(1.0) for _ in range(count)])
        assert half is not None
        held += dice.expovariate(1.0) <= half
    assert 0.885 < held / 4000 < 0.925


def test_what_is_always_missed_is_added_the_more_the_more_often() -> None:
    assert correction([]) == 0.0
    assert 0.0 < correction([1.0]) < correction([1.0] * 5) < correction([1.0] * 20) < 1.0
    assert correction([0.5, 0.5, 9.0]) < 0.5


def test_an_error_is_what_is_left_when_the_others_correct_it() -> None:
    assert left_out_errors([]) == []
    assert left_out_errors([2.0]) == [2.0]
    assert left_out_errors([2.0] * 21) == pytest.approx([2.0 - 2.0 * 20 / 24] * 21)


def test_the_learned_room_counts_as_it_deserves() -> None:
    assert learned_share([]) == FIRST_SHARE
    right = [Comparison(16.0 * 12, 16.0 * 12, 12)] * 10
    wrong = [Comparison(0.0, 16.0 * 12, 12)] * 10
    assert learned_share(right) > 0.95
    assert learned_share(wrong) < 0.05
    doubted = [Comparison(16.0 * 12, 32.0 * 12, 12)] * 10
    assert learned_share(doubted) == pytest.approx(0.5, abs=0.02)
