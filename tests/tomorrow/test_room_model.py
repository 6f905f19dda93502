"""The room's model: its answer to a step, and what it learns of rooms whose figures are known."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
import scipy.signal

from controller.tomorrow.room import (
    RATIO_PRIOR,
    as_today,
    delayed,
    fit_room,
    foreseen,
    temperature_prior,
)

DAYS = 14


def outdoors(hours: int, seed: int) -> list[float]:
    """Weather that warms by day and changes over days."""
    dice = random.Random(seed)
    slow, course = 0.0, []
    for hour in range(hours):
        slow = 0.97 * slow + dice.gauss(0.0, 0.8)
        course.append(15.0 + slow + 5.0 * math.cos((hour - 15.0) / 24.0 * math.tau))
    return course


def test_the_delay_is_that_of_a_first_order_system() -> None:
    """Against SciPy's `cont2discrete`, zero-order hold, at steps of half an hour."""
    inputs = [0.0] * 24 + outdoors(100, 1)
    constant_h = 7.0
    matrices = [np.array([[value]]) for value in (-1.0 / constant_h, 1.0 / constant_h, 1.0, 0.0)]
    system = scipy.signal.cont2discrete(matrices, 0.5)
    a, b = float(system[0][0, 0]), float(system[1][0, 0])
    state, middles = 0.0, []
    for value in inputs:
        state = a * state + b * value
        middles.append(state)
        state = a * state + b * value
    assert delayed(inputs, constant_h) == pytest.approx(middles, abs=1e-9)


def test_what_is_not_known_yet_is_as_the_first_day() -> None:
    course = delayed([None] * 5 + [10.0] * 30, 3.0)
    assert course == pytest.approx([10.0] * 35)


@pytest.mark.parametrize(("share", "constant_h"), [(0.8, 5.0), (0.4, 18.0), (0.9, 2.0)])
def test_a_room_of_the_models_own_structure_is_found(share: float, constant_h: float) -> None:
    hours = DAYS * 24
    outside = outdoors(hours, 2)
    dice = random.Random(3)
    room = [8.0 + share * value + dice.gauss(0.0, 0.1) for value in delayed(outside, constant_h)]
    model = fit_room(room, [0.0] * hours, outside, 0, temperature_prior(100.0))
    assert model.share == pytest.approx(share, abs=0.06)
    assert model.time_constant_h == pytest.approx(constant_h, rel=0.4)
    assert model.course[24:] == pytest.approx(room[24:], abs=0.6)


def test_a_change_outdoors_comes_through_in_its_time() -> None:
    outside = outdoors(DAYS * 24, 2)
    room = [8.0 + 0.8 * value for value in delayed(outside, 5.0)]
    model = fit_room(room, [0.0] * len(room), outside, 0, temperature_prior(100.0))
    assert model.response(0.0) == 0.0
    assert model.response(model.time_constant_h) == pytest.approx(
        (model.share or 0.0) * (1.0 - math.exp(-1.0))
    )
    alone = fit_room(room, [0.0] * len(room), None, 0, temperature_prior(100.0))
    assert alone.share is None
    assert alone.response(100.0) == 0.0


def test_the_last_miss_dies_away_over_eight_hours() -> None:
    hours = DAYS * 24
    room: list[float | None] = [20.0] * (hours - 1)
    room.append(23.0)
    model = fit_room(room, [0.0] * (hours + 30), None, 0, RATIO_PRIOR)
    ahead = foreseen(model, room)
    misses = [value - model.course[hours + i] for i, value in enumerate(ahead)]
    assert len(misses) == 30
    assert misses[8] == pytest.approx(misses[0] / math.e)
    assert misses[0] > 0.5


def test_as_today_repeats_the_day_and_bridges_what_is_missing() -> None:
    day: list[float | None] = [float(hour) for hour in range(24)]
    assert as_today([99.0, *day], 30) == [*day, *day[:6]]
    assert as_today([*day[:5], None, None, *day[7:]], 24) == pytest.approx(day)
    assert as_today([None] * 13 + day[13:], 24) is None
    assert as_today(day[:20], 24) is None


def test_a_room_of_which_nothing_is_known_is_refused() -> None:
    with pytest.raises(ValueError, match="no hour of the room is known"):
        fit_room([None, None], [0.0, 0.0], None, 0, RATIO_PRIOR)
