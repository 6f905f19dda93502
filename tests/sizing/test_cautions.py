"""What a plan warns of, and what it need not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller import display
from controller.airflow import Rig
from controller.sizing import Plan, Sizing
from controller.sizing.cautions import cautions

PLAN = Plan(
    0.8, 0.8, 1.6, 150.0, lit_hours=16.0, crop_kind="pepper", leaf_area_m2=1.5, intake_c=20.0,
    rig=Rig(free_flow_m3_s=0.05, max_pressure_pa=300.0, fan_power_w=25.0),
)  # fmt: skip


def said(units: str = "si", **changes: object) -> str:
    return " ".join(cautions(Sizing(replace(PLAN, **changes)), units))  # type: ignore[arg-type]


def test_a_failed_fan_is_told_at_its_worst() -> None:
    # By hand, still air along a shiny lining: 150 W over 5.76 m² · 2.326 W/m²K and half an air
    # change an hour of 1.024 m³ (0.17 W/K): 11.1 K over the intake air.
    worst = Sizing(PLAN).fan_failed_within_c.high
    assert worst == pytest.approx(20.0 + 150.0 / (5.76 * 2.326 + 0.17), abs=0.1)
    assert f"perhaps {display.temperature(worst)}" in said()
    assert f"perhaps {display.temperature(worst, 'us')}" in said("us")


def test_the_worst_case_decides_on_the_thermostat() -> None:
    best = Sizing(replace(PLAN, lamp_power_w=250.0)).fan_failed_c
    assert best < 35.0
    assert "thermostat of its own" in said(lamp_power_w=250.0)


def test_a_lamp_that_heats_its_room_is_told_and_a_small_one_is_not() -> None:
    # Engineering judgement, no source: 0.5 to 1.6 K for each 100 W.
    assert "0.8 to 2.4 K warmer" in said()
    assert "gets" not in said(lamp_power_w=20.0).replace("gets to", "")


@pytest.mark.parametrize(
    ("ppfd", "expected"),
    [
        (5.0, "5 µmol/m²s for 16 h, 0.29 mol/m² a day, is too dark"),
        (200.0, ""),  # 11.5 mol/m² (tests/reference)
        (500.0, ""),
        (2000.0, "more than these crops can use"),
    ],
)
def test_light_no_crop_grows_in_is_told(ppfd: float, expected: str) -> None:
    text = said(light_ppfd=ppfd)
    assert (expected in text) if expected else ("mol/m² a day" not in text)


def test_a_tent_without_a_lamp_hears_nothing_of_lamps() -> None:
    text = said(lamp_power_w=0.0)
    assert "Should the fan fail" not in text
    assert "mol/m²" not in text


def test_a_room_that_was_only_assumed_is_told_of_summer() -> None:
    assert "On summer days" in said(intake_c=None)
    assert "On summer days" not in said(intake_c=20.0)
