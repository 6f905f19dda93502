"""The four ways to place fan and filter: what follows from each, and which is recommended."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.airflow import ARRANGEMENTS, Ducting
from controller.sizing.arrangements import (
    Hardware,
    Placement,
    Priority,
    place_all,
    recommend,
)
from controller.sizing.assess import Sizing
from controller.sizing.plan import Plan

RIG = Ducting(
    free_flow_m3_s=0.052,
    max_pressure_pa=300.0,
    fan_power_w=30.0,
    duct_diameter_m=0.1,
    duct_length_m=2.0,
    bends=2,
    has_filter=True,
    filter_drop_pa=60.0,
    filter_flow_m3_s=0.052,
    openings_m2=0.0157,
)
SIZING = Sizing(Plan(0.8, 0.8, 1.6, 150.0, rig=RIG, intake_c=20.0))
HARDWARE = Hardware(0.18, 0.25, 2.0, 0.16, 0.30, 4.0)
PLACED: dict[str, Placement] = {p.arrangement: p for p in place_all(SIZING, HARDWARE)}


def test_all_four_ways_are_computed() -> None:
    assert tuple(PLACED) == ARRANGEMENTS


def test_poles_carry_what_hangs_inside_and_the_floor_what_stands_outside() -> None:
    loads = {name: placed.pole_load_kg for name, placed in PLACED.items()}
    assert loads == {
        "both_inside": 6.0,
        "fan_inside_filter_outside": 2.0,
        "filter_inside_fan_outside": 4.0,
        "both_outside": 0.0,
    }
    assert PLACED["both_inside"].floor_space_m2 == 0.0
    assert PLACED["both_outside"].floor_space_m2 == pytest.approx(0.18 * 0.25 + 0.16 * 0.30)


def test_headroom_lost_is_the_thickest_thing_and_its_straps() -> None:
    # 18 cm of fan and 5 cm of straps; the lamp, 15 cm under the roof on its own, must go 5 cm
    # below that: 13 cm lower. All by hand.
    placed = PLACED["both_inside"]
    assert placed.headroom_lost_m == pytest.approx(0.23)
    assert placed.lamp_lowered_m == pytest.approx(0.13)
    assert placed.lamp_at_most_m == pytest.approx(1.6 - 0.15 - 0.13)
    assert PLACED["filter_inside_fan_outside"].headroom_lost_m == pytest.approx(0.21)
    assert PLACED["both_outside"].headroom_lost_m == 0.0
    assert PLACED["both_outside"].lamp_lowered_m == 0.0


def test_motor_heat_is_all_outside_with_the_fan_outside_and_never_lost() -> None:
    for placed in PLACED.values():
        assert placed.point is not None
        assert placed.motor_heat_in_tent_w is not None
        assert placed.motor_heat_outside_w is not None
        total = placed.motor_heat_in_tent_w + placed.motor_heat_outside_w
        assert total == pytest.approx(placed.point.power_w)
        assert (placed.motor_heat_in_tent_w > 0.0) is placed.fan_inside


def test_smell_path_is_pressed_only_where_the_fan_blows_unfiltered_air() -> None:
    assert PLACED["both_inside"].smell_path == "suction"
    assert PLACED["filter_inside_fan_outside"].leaks_smell == 0
    assert PLACED["fan_inside_filter_outside"].smell_path == "pressure"
    assert PLACED["fan_inside_filter_outside"].leaks_smell == 2
    assert PLACED["both_outside"].leaks_smell == 1


def test_more_duct_and_bends_deliver_less() -> None:
    flows = {name: placed.point.flow_m3_s for name, placed in PLACED.items() if placed.point}
    assert flows["both_inside"] > flows["filter_inside_fan_outside"] > flows["both_outside"]
    assert PLACED["both_outside"].duct_m == pytest.approx(2.5)
    assert PLACED["both_outside"].bends == 3.0


def test_duct_given_for_one_way_is_shortened_for_another() -> None:
    outside = Sizing(replace(SIZING.plan, rig=replace(RIG, arrangement="both_outside")))
    placed = {p.arrangement: p for p in place_all(outside, HARDWARE)}
    assert placed["both_outside"].duct_m == pytest.approx(2.0)
    assert placed["both_inside"].duct_m == pytest.approx(1.5)
    assert placed["both_inside"].bends == 1.0


@pytest.mark.parametrize(
    ("priorities", "expected"),
    [
        (("smell",), "both_inside"),
        (("headroom",), "both_outside"),
        (("lamp_height",), "both_outside"),
        (("floor_space",), "both_inside"),
        (("smell", "headroom"), "filter_inside_fan_outside"),
        (("floor_space", "headroom"), "both_inside"),
    ],
)
def test_recommendation_serves_what_matters(priorities: tuple[str, ...], expected: str) -> None:
    chosen = recommend(tuple(PLACED.values()), priorities, 0.01)  # type: ignore[arg-type]
    assert chosen.arrangement == expected


def test_a_way_that_delivers_what_is_needed_goes_first() -> None:
    flows = sorted(placed.point.flow_m3_s for placed in PLACED.values() if placed.point)
    needed = (flows[0] + flows[1]) / 2.0  # all but the weakest, both outside, suffice
    chosen = recommend(tuple(PLACED.values()), ("headroom",), needed)
    assert chosen.arrangement != "both_outside"


@given(st.permutations(get_args(Priority)), st.integers(1, 4))
def test_first_priority_is_never_beaten(order: list[str], count: int) -> None:
    chosen = recommend(tuple(PLACED.values()), tuple(order[:count]), 0.0)  # type: ignore[arg-type]
    cost = {
        "smell": lambda p: p.leaks_smell,
        "headroom": lambda p: p.headroom_lost_m,
        "lamp_height": lambda p: p.lamp_lowered_m,
        "floor_space": lambda p: p.floor_space_m2,
    }[order[0]]
    assert cost(chosen) == min(map(cost, PLACED.values()))


def test_without_a_fan_the_geometry_is_still_reported() -> None:
    placed = place_all(Sizing(replace(SIZING.plan, rig=Ducting(has_filter=True))))
    assert all(p.point is None and p.motor_heat_in_tent_w is None for p in placed)
    assert placed[0].pole_load_kg > 0.0


def test_typical_hardware_grows_with_the_duct() -> None:
    masses = [
        Hardware.typical(diameter_m, True).filter_mass_kg
        for diameter_m in (0.08, 0.1, 0.125, 0.2, 0.4)
    ]
    assert masses == sorted(masses)
    assert Hardware.typical(0.1, False).filter_mass_kg == 0.0
