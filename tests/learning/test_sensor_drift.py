"""A lone sensor's drift shows in what it reads beside the intake's, which no tent could do."""

from __future__ import annotations

from typing import Any

import pytest
from learning_records import usually_learned

from controller.learning.drift import SensorDrift, sensor_drift
from controller.learning.learned import Learned, Parameter, learned_from_json


def night(k: float = 0.0, pct: float = 0.0, half: float = 0.5, why: str | None = None) -> Learned:
    """A night that finds the sensors to differ so."""
    learned = usually_learned()
    return learned._replace(
        parameters={
            **learned.parameters,
            "difference_k": Parameter(k, k - half / 5.0, k + half / 5.0, 0.0, why),
            "difference_pct": Parameter(pct, pct - half, pct + half, 0.0, why),
        }
    )


def test_two_nights_that_agree_are_a_drift_of_the_lesser_size() -> None:
    found = sensor_drift(night(pct=1.0), [night(pct=-3.5), night(pct=-5.0), night(pct=-6.0)])
    assert found is not None
    assert (found.by_pct, found.by_k) == (-6.0, 0.0)
    found = sensor_drift(night(), [night(k=0.9), night(k=0.7)])
    assert found is not None
    assert (found.by_pct, found.by_k) == (0.0, 0.7)


@pytest.mark.parametrize(
    "nights",
    [
        [],
        [{"pct": 8.0}],
        [{"pct": 8.0}, {}],
        [{"pct": 8.0}, {"pct": -8.0}],
        [{"pct": 2.9}, {"pct": 2.9}],
        [{"pct": 5.0, "half": 6.0}, {"pct": 5.0, "half": 6.0}],
        [{"pct": 8.0, "why": "too few days"}, {"pct": 8.0}],
    ],
    ids=["none", "one", "gone", "to and fro", "small", "within the doubt", "not told"],
)
def test_what_one_night_says_or_the_doubt_covers_is_none(nights: list[dict[str, Any]]) -> None:
    assert sensor_drift(night(), [night(**found) for found in nights]) is None


def test_it_survives_json() -> None:
    learned = usually_learned()._replace(drift=SensorDrift(0.0, -4.0, 0.2, 1.0))
    again = learned_from_json(learned.as_json())
    assert again is not None
    assert again.drift == learned.drift
