"""The note in words says what the figures say, in every kind of outcome."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from controller import display
from controller.airflow import Ducting
from controller.airflow.span import Span
from controller.sizing import amounts as show
from controller.sizing import settled_words
from controller.sizing import verdict as words
from controller.sizing.arrangements import place_all
from controller.sizing.assess import Sizing
from controller.sizing.cautions import cautions
from controller.sizing.doubt import is_wide
from controller.sizing.page import night_in_a_line, year_in_a_line
from controller.sizing.placing import recommendation
from controller.sizing.plan import Plan

RIG = Ducting(
    free_flow_m3_s=187.0 / 3600.0,
    max_pressure_pa=300.0,
    fan_power_w=25.0,
    duct_diameter_m=0.1,
    duct_length_m=2.0,
    bends=1,
    has_filter=True,
    filter_drop_pa=60.0,
    filter_flow_m3_s=187.0 / 3600.0,
    openings_m2=0.03,
)
PLAN = Plan(
    0.8, 0.8, 1.6, 150.0, lit_hours=16.0, rig=RIG, crop_kind="pepper", leaf_area_m2=1.5,
    light_ppfd=450.0, intake_c=20.0, intake_humidity_pct=50.0, intake_co2_ppm=420.0,
)  # fmt: skip


def said(plan: Plan) -> str:
    return words.verdict(Sizing(plan), "si")


def with_fan(free_m3_h: float, **changes: object) -> Plan:
    return replace(PLAN, rig=replace(RIG, free_flow_m3_s=free_m3_h / 3600.0), **changes)  # type: ignore[arg-type]


def test_a_strong_fan_is_called_so_with_the_speed_that_is_enough() -> None:
    text = said(PLAN)
    assert re.match(r"The fan is strong enough: it delivers \d+ m³/h \(\d+ to \d+\) through", text)
    assert re.search(r"A speed of \d+ % is enough by day", text)
    assert "while the intake air is below" in text


def test_a_fan_that_only_just_does_is_called_just_strong_enough() -> None:
    required = Sizing(PLAN).required_m3_s.best
    flows = (f for f in range(20, 200) if Sizing(with_fan(f)).point(1.0).flow_m3_s >= required)
    text = said(with_fan(float(next(flows))))
    assert "just strong enough, with" in text


def test_a_weak_fan_tells_small_plants_from_evaporating_ones() -> None:
    plan = with_fan(40.0, intake_c=22.0)
    sizing = Sizing(plan)
    text = said(plan)
    assert "too weak" in text
    assert sizing.dry_temperature_c > plan.day_c[1]
    assert sizing.settles_at.temperature_c < sizing.dry_temperature_c
    assert display.temperature(sizing.dry_temperature_c) in text
    assert display.temperature(sizing.settles_at.temperature_c) in text


def test_a_fan_short_of_the_rule_alone() -> None:
    text = said(with_fan(30.0, lamp_power_w=30.0, leaf_area_m2=0.2))
    assert text.startswith("The fan falls short of the rule of thumb but meets the physics")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"intake_c": 25.0}, "is no cooler than the top of the day band"),
        (
            {"intake_humidity_pct": 100.0},
            "as much water as the tent may, or more: its limit is 70 %",
        ),
        ({"lowest_co2_ppm": 500.0}, "has 420 ppm of CO2 and no less than 500 ppm is wished"),
    ],
)
def test_what_no_fan_can_do_says_why(change: dict[str, float], why: str) -> None:
    text = said(replace(PLAN, **change))  # type: ignore[arg-type]
    assert text.startswith("No fan can do this: ")
    assert why in text


@pytest.mark.parametrize("intake_c", [25.0, None])
def test_intake_air_that_nobody_measured_is_told_as_assumed(intake_c: float | None) -> None:
    text = said(replace(PLAN, intake_c=intake_c, room_kind="attic", day_c=(18.0, 22.0)))
    assert text.startswith("No fan can do this: ")
    is_told = "temperature is only assumed" in text and "give it with --intake-temp" in text
    assert is_told is (intake_c is None)


def test_a_lamp_that_is_never_lit_is_said_before_anything_of_the_day() -> None:
    text = said(replace(PLAN, lit_hours=0.0))
    assert text.startswith("The lamp is never lit by this config; what is said of the day is for ")


def test_a_filter_far_too_small_is_replaced_not_overpowered() -> None:
    """A filter of 20 m³/h takes kilopascals at ten times as much: no inline fan makes them."""
    small = replace(RIG, free_flow_m3_s=None, filter_drop_pa=123.0, filter_flow_m3_s=20.0 / 3600.0)
    text = said(replace(PLAN, rig=small, lamp_power_w=300.0))
    pressure = re.search(r"fan that moves [\d ]+ m³/h against (\d+) Pa", text)
    assert pressure is not None and float(pressure[1]) < 1000.0
    assert re.search(r"with a duct and filter of \d+ mm", text)


def test_what_may_not_leak_through_at_all_is_not_said_to_do_so_anyway() -> None:
    """In a cold room that may be as moist as the night's band allows, perhaps no flow is enough."""
    plan = replace(PLAN, intake_c=None, intake_humidity_pct=None, room_kind="cellar")
    plan = replace(plan, leaf_area_m2=0.3, night_humidity_pct=(45.0, 80.0), night_c=(12.0, 20.0))
    sizing = Sizing(plan)
    text = night_in_a_line(sizing, "si")
    assert "to no limit" in text and "which most likely leaks through anyway" in text


@pytest.mark.parametrize("known", [True, False])
def test_what_the_config_does_not_say_is_not_how_the_user_has_it(known: bool) -> None:
    rig = RIG if known else Ducting(free_flow_m3_s=0.05, max_pressure_pa=300.0, fan_power_w=25.0)
    sizing = Sizing(replace(PLAN, rig=rig))
    both_inside = next(p for p in place_all(sizing) if p.arrangement == "both_inside")
    text = recommendation(sizing, both_inside, (), "si")
    assert ("as you have it" in text) is known


def test_no_fan_names_the_flow_and_the_pressure_to_look_for() -> None:
    sizing = Sizing(replace(PLAN, rig=replace(RIG, free_flow_m3_s=None, max_pressure_pa=None)))
    text = words.verdict(sizing, "si")
    assert show.with_range(sizing.required_m3_s, display.flow) in text
    # A quarter in reserve; the data sheet's pressure is that of standard air.
    flow = 1.25 * sizing.required_m3_s.best
    assert f"Look for a fan that moves {display.flow(flow)} against" in text
    dense = 1.2 / sizing.density_kg_per_m3
    against = sizing.pressure_span_pa(sizing.plan.rig, flow).times(dense)
    assert show.with_range(against, display.pressure) in text


def test_a_schedule_that_is_too_slow_is_reported() -> None:
    text = said(replace(PLAN, day_speed=0.2, intake_c=21.0))
    assert re.search(r"By day it takes \d+ %, more than the 20 % it is scheduled for", text)


def test_a_relay_is_reported_minutes_an_hour() -> None:
    text = said(replace(PLAN, is_relay=True, min_speed=1.0))
    assert re.search(r"By day \d+ min in the hour, in short runs, are enough, by night \d+\.", text)


def test_a_narrow_range_is_not_explained_and_a_wide_one_is() -> None:
    bright = replace(PLAN, lamp_power_w=10.0)  # ruled by the leaves, whose figures are given
    assert not is_wide(Sizing(bright).required_m3_s)
    assert "the range is" not in said(bright)
    assert "because nobody knows how much heat the fabric lets through" in said(PLAN)
    wide = said(replace(PLAN, intake_c=None))
    assert "that wide because the intake temperature is only assumed (18.0 to 23.0 °C)" in wide
    assert "give it with --intake-temperature" in wide
    endless = said(replace(PLAN, intake_c=None, room_kind="closet"))
    assert "open upwards because the intake temperature" in endless


def test_each_flow_is_said_once_with_one_range() -> None:
    for plan in (PLAN, replace(PLAN, intake_c=None), with_fan(20.0, intake_c=None)):
        sizing = Sizing(plan)
        needs = re.findall(r"needs ([^,]*),", said(plan))
        assert needs == [show.with_range(sizing.required_m3_s, display.flow)]
        delivers = re.findall(r"delivers ([^,]*) through", said(plan))
        assert sizing.delivered_m3_s is not None
        assert delivers == [show.with_range(sizing.delivered_m3_s, display.flow)]


@pytest.mark.parametrize("speed", [0.3, 1.0])
def test_cautions_name_the_dry_and_the_cold(speed: float) -> None:
    plan = replace(PLAN, intake_c=12.0, intake_humidity_pct=20.0, day_speed=speed)
    text = " ".join(cautions(Sizing(plan), "si"))
    assert "drier than its band" in text
    assert "cooler than its band" in text


def test_a_failed_fan_over_a_strong_lamp_calls_for_a_thermostat() -> None:
    hot = " ".join(cautions(Sizing(replace(PLAN, lamp_power_w=600.0)), "si"))
    mild = " ".join(cautions(Sizing(replace(PLAN, lamp_power_w=50.0)), "si"))
    assert "Have a thermostat of its own cut the lamp" in hot
    assert "thermostat" not in mild


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (Span(10.0, 20.0, 30.0), "10 to 30 Pa"),
        (Span(0.0, 20.0, 30.0), "0 to 30 Pa"),
        (Span(20.0, 20.0, 20.0), "20 Pa"),
        (Span(20.0, 20.0, float("inf")), "20 Pa to no limit"),
        (Span(float("inf"), float("inf"), float("inf")), "no flow helps"),
    ],
)
def test_a_span_in_words(value: Span, shown: str) -> None:
    assert show.span(value, display.pressure) == shown


def test_a_span_of_mixed_units_keeps_both() -> None:
    length = Span(0.5, 1.5, 4.0)
    assert show.span(length, lambda m: display.length(m, "us")) == "19.7 in to 13 ft 1 in"


def test_a_figure_never_parts_from_its_unit_at_the_end_of_a_line() -> None:
    lines = show.item(" ".join(["it delivers 187 m³/h at 20.5 °C and 60 % on 2 kg"] * 20), 79)
    assert max(map(len, lines)) <= 79
    assert not any(re.search(r"[0-9]$", line) for line in lines)


def test_a_fan_that_is_hopelessly_weak_hears_so_and_not_of_its_duct() -> None:
    text = said(with_fan(20.0))
    assert "Even with nothing attached it moves 20 m³/h: no other duct helps." in text
    assert "shorten" not in text
    assert "Look for a fan that moves" in text


@pytest.mark.parametrize("free_m3_h", [187.0, None])
def test_a_flow_that_would_race_through_the_duct_asks_for_a_wide_one(
    free_m3_h: float | None,
) -> None:
    rig = replace(RIG, free_flow_m3_s=free_m3_h and free_m3_h / 3600.0)
    text = said(replace(PLAN, lamp_power_w=1500.0, rig=rig))
    assert re.search(r"ook for a fan that moves .* with a duct and filter of \d+ mm", text)


@pytest.mark.parametrize(
    ("temperature_c", "units", "shown"),
    [(23.0, "si", "23.0 °C"), (70.0, "si", ">70.0 °C"), (70.0, "us", ">158.0 °F")],
)
def test_what_is_beyond_reckoning_is_not_shown_as_a_figure(
    temperature_c: float, units: display.Units, shown: str
) -> None:
    assert show.settled(temperature_c, units) == shown


def test_plants_that_cool_more_than_a_lamp_heats_are_doubted() -> None:
    hot = Sizing(replace(PLAN, intake_c=35.0, intake_humidity_pct=30.0))
    assert hot.settles_at.temperature_c < 35.0
    assert "plants that wilt cool nothing" in settled_words.evaporation(hot, "si")
    usual = settled_words.evaporation(Sizing(PLAN), "si")
    assert usual
    assert "wilt" not in usual


@pytest.mark.parametrize("is_relay", [False, True])
def test_a_tent_that_is_always_lit_has_no_night(is_relay: bool) -> None:
    lit = replace(PLAN, lit_hours=24.0, is_relay=is_relay, room_kind="cellar", intake_c=None)
    assert "night" not in said(lit)
    assert "night" not in year_in_a_line(Sizing(lit))
    assert "night" not in " ".join(cautions(Sizing(lit), "si"))
    assert "night" in said(replace(lit, lit_hours=23.0))


def test_a_night_that_may_be_too_moist_for_any_flow_is_no_plenty() -> None:
    cellar = replace(PLAN, room_kind="cellar", intake_c=None, intake_humidity_pct=None)
    assert math.isinf(Sizing(cellar).night_m3_s.high)
    assert "unless the room is about as moist as the tent may be, 80 %" in said(cellar)
    assert "unless" not in said(PLAN)


def test_a_year_at_low_speed_is_not_told_closer_than_a_motors_own_watt() -> None:
    frugal = replace(with_fan(400.0), lamp_power_w=20.0, price_per_kwh=0.3)
    assert "under 10 kWh by the fan laws alone" in year_in_a_line(Sizing(frugal))


def test_a_flow_that_was_worked_out_has_three_digits() -> None:
    flows = [show.computed_flow(m3_h / 3600.0, "si") for m3_h in (1338.6, 12_345.0, 631.4, 9.97)]
    assert flows == ["1340 m³/h", "12300 m³/h", "631 m³/h", "10.0 m³/h"]


def test_a_fan_for_a_bare_hole_is_asked_for_hardly_any_pressure() -> None:
    bare = replace(PLAN, lamp_power_w=20.0, rig=Ducting())
    assert "against hardly any pressure" in words.verdict(Sizing.from_plan(bare), "si")
