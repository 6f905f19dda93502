"""The grey-box model against the simulated tent, which is solved in another way."""

from __future__ import annotations

from dataclasses import replace

import pytest
from learning_records import CONFIG, TRUE, USUAL, lived, off_the_config, usual
from tent_bodies import changed

from controller import air
from controller.learning import course as courses
from controller.learning.course import course, leaf_line
from controller.learning.learn import fixed_of
from controller.learning.model import simulate
from controller.learning.parameters import configured
from controller.record import ReadingRow
from controller.tent_physics import TentPhysics


def test_the_model_with_the_true_figures_follows_the_simulated_tent() -> None:
    settings, rows = usual()
    fixed = fixed_of(settings)
    lived_course = course(rows, fixed.physics)
    true = configured(off_the_config(fixed.physics))._replace(
        transpiration_lit=TRUE["leaf_area_m2"], transpiration_dark=TRUE["leaf_area_m2"]
    )
    pairs = zip(lived_course.blocks(), simulate(fixed, lived_course, true), strict=True)
    errors = [
        (found.tent_c - block.tent_c, found.tent_pct - block.tent_pct)
        for block, found in pairs
        if block.counts
    ]
    assert len(errors) > 1000
    for i, most in ((0, 0.05), (1, 0.7)):  # what the sensors' noise and constant errors leave
        mean = sum(error[i] for error in errors) / len(errors)
        spread = (sum((error[i] - mean) ** 2 for error in errors) / len(errors)) ** 0.5
        assert spread < most


# A fan that changes the air of a small tent within a second, and rests between.
STRONG = changed(
    ("width: 80 cm, depth: 80 cm, height: 160 cm", "width: 60 cm, depth: 50 cm, height: 70 cm"),
    ("power: 150 W", "power: 60 W"),
    ("free_flow: 190 m³/h", "free_flow: 1100 m³/h"),
    ("diameter: 10 cm, length: 2 m, bends: 1", "diameter: 31 cm, length: 1 m"),
    ("filter: {pressure_drop: 80 Pa, flow: 190 m³/h}, ", ""),
    ("plants: 4", "plants: 1"),
    text=CONFIG,
)


def test_a_fan_that_changes_the_air_within_a_second_is_followed_like_any_other() -> None:
    settings, rows = lived(STRONG, 1.0)
    fixed = fixed_of(settings)
    lived_course = course(rows, fixed.physics)
    pairs = zip(
        lived_course.blocks(), simulate(fixed, lived_course, configured(fixed.physics)), strict=True
    )
    errors = [found.tent_pct - block.tent_pct for block, found in pairs if block.counts]
    mean = sum(errors) / len(errors)
    assert (sum((error - mean) ** 2 for error in errors) / len(errors)) ** 0.5 < 0.7


def test_a_wall_behind_the_fabric_is_the_same_in_the_model_and_in_the_simulated_tent() -> None:
    settings, rows = lived(days=1.0, acts=lambda hours: USUAL._replace(walls_k=1.5))
    by_physics = lived(days=1.0, physics=lambda physics: physics._replace(walls_k=1.5))[1]
    gaps = [
        abs(a.tent_temperature_c - b.tent_temperature_c)
        for a, b in zip(rows, by_physics, strict=True)
        if a.tent_temperature_c is not None and b.tent_temperature_c is not None
    ]
    assert max(gaps) < 0.11  # a DHT22 tells tenths
    fixed = fixed_of(settings)
    lived_course = course(rows, fixed.physics)
    true = configured(fixed.physics)._replace(walls_k=1.5)
    pairs = zip(lived_course.blocks(), simulate(fixed, lived_course, true), strict=True)
    errors = [found.tent_c - block.tent_c for block, found in pairs if block.counts]
    mean = sum(errors) / len(errors)
    assert (sum((error - mean) ** 2 for error in errors) / len(errors)) ** 0.5 < 0.05


def test_half_as_long_steps_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    settings, rows = usual()
    fixed = fixed_of(settings)
    parameters = configured(fixed.physics)
    usually = simulate(fixed, course(rows, fixed.physics), parameters)
    monkeypatch.setattr(courses, "STEP_S", 30.0)
    finer = simulate(fixed, course(rows, fixed.physics), parameters)
    assert max(abs(a.tent_c - b.tent_c) for a, b in zip(usually, finer, strict=True)) < 0.05
    highest = [max(block.tent_c for block in run) for run in (usually, finer)]
    assert highest[0] == pytest.approx(highest[1], abs=0.01)


def test_a_record_of_seconds_gives_the_same_blocks_as_one_of_minutes() -> None:
    settings, rows = lived(days=1.0)
    physics = TentPhysics.from_settings(settings)
    finer = [
        row for minute in rows for row in (_part(minute, 30_000), _part(minute, 0)) if row.at_ms > 0
    ]
    minutes, seconds = course(rows, physics), course(finer, physics)
    for a, b in zip(minutes.blocks(), seconds.blocks(), strict=True):
        assert a.at_s == b.at_s
        assert a.tent_c == pytest.approx(b.tent_c)
        for one_step, other in zip(a.steps, b.steps, strict=True):
            assert one_step == pytest.approx(other)


def _part(row: ReadingRow, before_ms: int) -> ReadingRow:
    """Half a minute of a minute."""
    return replace(
        row,
        at_ms=row.at_ms - before_ms,
        interval_s=row.interval_s / 2.0,
        fan_on_s=row.fan_on_s / 2.0,
        lamp_on_s=row.lamp_on_s / 2.0,
    )


@pytest.mark.parametrize("lit", [True, False])
def test_the_tangent_of_transpiration_is_near_the_leaf_balance(lit: bool) -> None:
    settings, _ = usual()
    physics = TentPhysics.from_settings(settings)
    at, per_k, per_ratio = leaf_line(physics, lit, 25.0, 55.0)
    for air_c, pct in ((25.0, 55.0), (25.5, 54.0), (24.5, 57.0)):
        ratio = air.humidity_ratio(air_c, pct, physics.pressure_pa)
        exact = physics.transpiration_kg_s(lit, air_c, air.vpd_pa(air_c, pct))
        assert at + per_k * air_c + per_ratio * ratio == pytest.approx(exact, rel=0.01)


def test_a_long_pause_begins_a_new_segment_whose_first_half_day_does_not_count() -> None:
    settings, rows = usual()
    physics = TentPhysics.from_settings(settings)
    hole = [row for row in rows if not rows[3000].at_ms < row.at_ms <= rows[3060].at_ms]
    two = course(hole, physics)
    assert len(two.segments) == 2
    assert not any(block.counts for block in two.segments[1][: 12 * 11])
    short = [row for row in rows if not rows[3000].at_ms < row.at_ms <= rows[3020].at_ms]
    assert len(course(short, physics).segments) == 1
