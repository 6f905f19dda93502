"""The room between weather and tent: lags and steady states by hand."""

from __future__ import annotations

from array import array
from math import exp

import pytest

from controller import air
from simulators.room import KINDS, STEP_S, Room
from simulators.weather import Weather

HOUR = 3600.0
PRESSURE = air.STANDARD_PRESSURE_PA


def steady_weather(temperature_c: float, humidity_pct: float, step_c: float = 0.0) -> Weather:
    """Constant weather that changes by `step_c` within a minute at time 0."""
    vapour = air.vapour_pressure_pa(temperature_c, humidity_pct)
    times = array("d", [-400 * 24 * HOUR, 0.0, 60.0, 400 * 24 * HOUR])
    temperatures = array("d", [temperature_c] * 2 + [temperature_c + step_c] * 2)
    return Weather("steady", times, temperatures, array("d", [vapour] * 4), array("l", range(4)))


@pytest.mark.parametrize("kind", KINDS)
def test_a_room_follows_a_step_of_the_weather_with_its_own_lag(kind) -> None:  # type: ignore[no-untyped-def]
    physics = KINDS[kind]
    room = Room(kind, steady_weather(25.0, 50.0, 5.0), 0.0, PRESSURE)
    before_c = room.air_c
    steps = round(physics.lag_s / STEP_S)
    for _ in range(steps):
        room.step()
    gained = room.air_c - before_c
    full = physics.outdoor_share * 5.0
    # Ground and house change a little meanwhile.
    assert gained == pytest.approx(full * (1.0 - exp(-1.0)), abs=0.06)


def test_rooms_differ_as_rooms_do() -> None:
    def swing(kind) -> float:  # type: ignore[no-untyped-def]
        cold = Room(kind, steady_weather(5.0, 70.0), 0.0, PRESSURE).air_c
        return Room(kind, steady_weather(32.0, 50.0), 0.0, PRESSURE).air_c - cold

    assert swing("cellar") < swing("closet") < swing("attic")
    assert Room("room", steady_weather(-10.0, 70.0), 0.0, PRESSURE).air_c == pytest.approx(18.0)
    assert Room("attic", steady_weather(-10.0, 70.0), 0.0, PRESSURE).air_c < 0.0


def test_a_tent_warms_its_room_by_its_watts() -> None:
    physics = KINDS["closet"]
    warm, cool = (Room("closet", steady_weather(25.0, 50.0), 0.0, PRESSURE) for _ in range(2))
    for _ in range(20 * round(physics.lag_s / STEP_S)):
        warm.step(tent_w=200.0, tent_kg_s=2e-5)
        cool.step()
    assert warm.air_c - cool.air_c == pytest.approx(200.0 * physics.k_per_w, rel=1e-6)
    assert warm.ratio - cool.ratio == pytest.approx(2e-5 / physics.air_kg_s, rel=1e-6)


def test_cool_walls_keep_a_room_from_saturation() -> None:
    room = Room("cellar", steady_weather(28.0, 85.0), 0.0, PRESSURE)
    for _ in range(1000):
        room.step()
    assert air.humidity_pct_from_ratio(room.air_c, room.ratio, PRESSURE) == pytest.approx(95.0)
