"""Water on the fabric as followed from readings, against the simulated tent that has it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tent_bodies import changed

from controller import air
from controller.config import settings_from_text
from controller.learning.wet_fabric import film_after
from controller.tent_physics import TentPhysics
from simulators.tent import Tent

LEAFY = changed(("plants: 4", "plants: 12"))
PHYSICS = TentPhysics.from_settings(settings_from_text(LEAFY).settings)


def minutes(room_c: float, room_pct: float, flow_m3_s: float) -> list[tuple[float, float]]:
    """Water on the fabric of a tent, minute by minute, and as followed from what it reads [kg]."""
    ratio = air.humidity_ratio(room_c, room_pct, PHYSICS.pressure_pa)
    tent = Tent(PHYSICS, room_c, ratio)
    followed_kg, course = 0.0, []
    for minute in range(16 * 60):
        lit = minute < 8 * 60
        # Little air by day, then a fan that dries it.
        tent.advance(0.001 if lit else flow_m3_s, lit, 60.0, room_c, room_c, ratio)
        reading = (tent.air_c, tent.humidity_pct)
        followed_kg = film_after(followed_kg, PHYSICS, 60.0, reading, room_c)
        course.append((tent.film_kg, followed_kg))
    return course


@settings(max_examples=15)
@given(st.floats(2.0, 22.0), st.floats(20.0, 70.0), st.floats(0.005, 0.05))
def test_while_there_is_water_it_is_supposed(
    room_c: float, room_pct: float, flow_m3_s: float
) -> None:
    for minute, (film_kg, followed_kg) in enumerate(minutes(room_c, room_pct, flow_m3_s)):
        assert followed_kg > 0.0 or film_kg < 1e-5, minute


def test_it_dries_about_when_the_tent_does() -> None:
    course = minutes(6.0, 50.0, 0.03)
    assert max(film_kg for film_kg, _ in course) > 0.005
    dry, followed_dry = (
        next(i for i in range(8 * 60, len(course)) if course[i][which] <= 0.0) for which in (0, 1)
    )
    assert dry <= followed_dry <= dry + 60


def test_a_tent_that_never_condenses_is_dry_throughout() -> None:
    dry_air = (24.0, 45.0)
    assert film_after(0.0, PHYSICS, 3600.0, dry_air, 20.0) == 0.0


def test_no_more_clings_than_does() -> None:
    film_kg = film_after(0.0, PHYSICS, 1e6, (20.0, 100.0), 5.0)
    assert film_kg == pytest.approx(PHYSICS.film_limit_kg)
