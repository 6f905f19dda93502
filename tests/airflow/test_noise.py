"""The fan sound law: 50 lg of the speed ratio."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.airflow.noise import sound_level_change_db


@pytest.mark.parametrize(
    ("ratio", "change_db"), [(1.0, 0.0), (0.5, -15.05), (0.4, -19.90), (2.0, 15.05), (0.1, -50.0)]
)
def test_levels_follow_the_fan_law(ratio: float, change_db: float) -> None:
    """Half the speed, 15 dB: the worked value that handbooks give (from memory)."""
    assert sound_level_change_db(ratio) == pytest.approx(change_db, abs=0.01)


@given(st.floats(0.01, 10.0), st.floats(0.01, 10.0))
def test_changes_add_up(first: float, second: float) -> None:
    both = sound_level_change_db(first * second)
    assert both == pytest.approx(sound_level_change_db(first) + sound_level_change_db(second))


@pytest.mark.parametrize("ratio", [0.0, -1.0, float("nan")])
def test_a_fan_at_rest_has_no_level(ratio: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        sound_level_change_db(ratio)
