"""What a plan warns of, and what it need not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.airflow import Ducting
from controller.sizing.assess import Sizing
from controller.sizing.cautions import cautions
from controller.sizing.plan import Plan

PLAN = Plan(
    0.8, 0.8, 1.6, 150.0, lit_hours=16.0, crop_kind="pepper", leaf_area_m2=1.5, intake_c=20.0,
    rig=Ducting(free_flow_m3_s=0.05, max_pressure_pa=300.0, fan_power_w=25.0),
)  # fmt: skip


def said(units: str = "si", **changes: object) -> str:
    return " ".join(cautions(Sizing(replace(PLAN, **changes)), units))  # type: ignore[arg-type]


def test_a_failed_fan_is_reported_at_its_worst() -> None:
    # By hand, still air along a shiny lining: 150 W over 5.76 m² · 2.326 W/m²K and half an air
    # change an hour of 1.024 m³ (0.17 W/K): 11.1 K over the intake air.
    worst = Sizing(PLAN).fan_failed_within_c.high
    assert worst == pytest.approx(20.0 + 150.0 / (5.76 * 2.326 + 0.17), abs=0.1)
    assert f"perhaps {worst:.0f} °C" in said()
    assert f"perhaps {1.8 * worst + 32.0:.0f} °F" in said("us")


def test_the_worst_case_decides_on_the_thermostat() -> None:
    best = Sizing(replace(PLAN, lamp_power_w=250.0)).fan_failed_c
    assert best < 35.0
    assert "thermostat of its own" in said(lamp_power_w=250.0)


def test_heat_that_kindles_is_no_matter_of_plants() -> None:
    """From 60 °C on `check` and `rehearse` speak of fire; a plan called 100 °C "warm"."""
    small = {"width_m": 0.83, "depth_m": 0.71, "height_m": 0.6}
    assert "plants die there, and cables" in said(lamp_power_w=2400.0, **small)
    best, worst = (
        Sizing(replace(PLAN, lamp_power_w=w)).fan_failed_within_c for w in (400.0, 600.0)
    )
    assert best.high < 60.0 < worst.high and worst.best < 60.0
    assert "at its worst plants die, and cables" in said(lamp_power_w=600.0)
    assert "less than 140.0 °F: a fire hazard" in said("us", lamp_power_w=600.0)
    assert "fire hazard" not in said(lamp_power_w=400.0)


def test_a_small_lamp_in_a_hot_room_wants_no_thermostat() -> None:
    """18 W lift the tent by 2 K: whoever cuts them off leaves it as hot as its room."""
    hot = {"lamp_power_w": 18.0, "intake_c": 34.0}
    assert Sizing(replace(PLAN, lamp_power_w=18.0, intake_c=34.0)).fan_failed_within_c.high > 35.0
    assert "thermostat of its own" not in said(**hot)


def test_a_lamp_that_heats_its_room_is_reported_and_a_small_one_is_not() -> None:
    # Engineering judgement, no source: 0.5 to 1.6 K for each 100 W, and no digit more.
    assert "0.8 to 2 K warmer" in said()
    assert "1 to 4 °F warmer" in said("us")
    assert "6 to 19 K warmer" in said(lamp_power_w=1200.0)
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
def test_light_no_crop_grows_in_is_reported(ppfd: float, expected: str) -> None:
    text = said(light_ppfd=ppfd)
    assert (expected in text) if expected else ("mol/m² a day" not in text)


def test_a_tent_without_a_lamp_hears_nothing_of_lamps() -> None:
    text = said(lamp_power_w=0.0)
    assert "Should the fan fail" not in text
    assert "mol/m²" not in text


def test_a_room_that_was_only_assumed_is_reported_of_summer() -> None:
    assert "On summer days" in said(intake_c=None)
    assert "On summer days" not in said(intake_c=20.0)


def test_a_tent_too_cold_even_without_air_is_not_reported_to_run_slower() -> None:
    # By hand: 150 W over 5.76 m² of two films lift it by 6.7 K, to 8.7 °C.
    cold = said(intake_c=2.0)
    assert "less air alone cannot help, with none it gets to about 9 °C" in cold
    assert "By night the tent is as cold as its air, 2.0 °C" in cold
    assert "end up in the room" not in cold
    cool = said(intake_c=18.0, leaf_area_m2=0.1)
    assert "a lower speed keeps it warmer" in cool
    assert "By night the tent is as cold" not in cool


def test_an_on_off_fan_is_reported_of_shorter_runs_not_of_slower_ones() -> None:
    text = said(is_relay=True, min_speed=1.0, intake_c=12.0, intake_humidity_pct=20.0)
    assert "shorter runs keep it moister" in text
    assert "lower speed" not in text


def few(**changes: object) -> str:
    return " ".join(cautions(Sizing(replace(PLAN, **changes)), "si", most=3))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"intake_co2_ppm": 3000.0, "lamp_power_w": 900.0, "intake_c": 5.0},
        {"lamp_power_w": 0.0, "leaf_area_m2": 0.0},
    ],
)
def test_the_mains_are_among_the_first_three_whatever_else_there_is(
    changes: dict[str, object],
) -> None:
    assert few(**changes).startswith("Mains wiring is a licensed electrician's work")
    assert len(cautions(Sizing(replace(PLAN, **changes)), "si", most=3)) == 3  # type: ignore[arg-type]


def test_the_first_three_are_those_of_this_tent() -> None:
    assert "CO2 can harm people" in few(intake_co2_ppm=3000.0)
    assert "thermostat of its own" in few(lamp_power_w=600.0)
    assert "A heater among leaves" in few(intake_c=2.0)
    # What holds for every tent gives way, but for what can hurt people.
    assert "never into a wall, roof space" not in few()
    assert "carbon monoxide" in few()
    assert "never into a wall, roof space" in said()


def test_all_cautions_begin_with_the_few() -> None:
    sizing = Sizing(replace(PLAN, intake_c=None, lamp_power_w=600.0))
    assert cautions(sizing, "si")[:3] == cautions(sizing, "si", most=3)


def test_openings_that_are_only_assumed_are_called_so() -> None:
    rig = replace(PLAN.rig, duct_diameter_m=0.1, free_flow_m3_s=0.1)
    assert "Intake openings of 160 cm², as assumed, cost" in said(rig=rig)
    assert "Intake openings of 24 in², as assumed, cost" in said("us", rig=rig)
    assert "The intake openings cost" in said(rig=replace(rig, openings_m2=0.012))


def test_a_cellar_may_hold_carbon_dioxide() -> None:
    assert "carbon dioxide collects over the floor" in said(room_kind="cellar")
    assert "carbon dioxide collects" not in said(room_kind="room")
