"""A planned tent as a whole: needs, verdict, speeds, doubt and where the air settles."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller import air
from controller.airflow import Ducting
from controller.sizing.assess import Sizing, Verdict
from controller.sizing.energy import energy_of_a_year, fan_hours_a_day
from controller.sizing.plan import Plan

FAN = Ducting(
    free_flow_m3_s=187.0 / 3600.0,
    max_pressure_pa=300.0,
    fan_power_w=25.0,
    duct_diameter_m=0.1,
    duct_length_m=2.0,
    bends=2,
    has_filter=True,
    filter_drop_pa=60.0,
    filter_flow_m3_s=187.0 / 3600.0,
    openings_m2=0.0157,
    arrangement="both_outside",
)
PLAN = Plan(
    width_m=0.8,
    depth_m=0.8,
    height_m=1.6,
    lamp_power_w=150.0,
    lit_hours=16.0,
    rig=FAN,
    crop_kind="pepper",
    leaf_area_m2=1.5,
    light_ppfd=450.0,
    intake_c=20.0,
    intake_humidity_pct=50.0,
    intake_co2_ppm=420.0,
    day_c=(20.0, 24.0),
)


def test_heat_need_is_the_handbooks_balance() -> None:
    # q = ρ cp Q ΔT + UA ΔT by hand: 150 W, 4 K, UA 22.15 W/K (5.76 m² of two films). The fan is
    # outside, so its motor counts for nothing.
    capacity = 1.1884 * 1006.0  # dry air at 24 °C and 101 325 Pa; vapour changes it by 0.2 %
    by_hand = (150.0 - 22.15 * 4.0) / (capacity * 4.0)
    assert Sizing(PLAN).needs().heat == pytest.approx(by_hand, rel=0.01)


def test_thin_air_needs_more_of_it() -> None:
    # Heat carried by a cubic metre at 1000 m is 0.887 of that at sea level (tests/reference).
    low, high = (
        Sizing(replace(PLAN, elevation_m=elevation)).needs().heat for elevation in (0.0, 1000.0)
    )
    assert low / high == pytest.approx(0.887, rel=0.005)


def test_largest_need_is_required_and_named() -> None:
    needs = Sizing(PLAN).needs()
    assert needs.required == max(needs.by_name().values())
    assert needs.by_name()[needs.ruled_by] == needs.required


def test_intake_as_warm_as_the_band_is_beyond_any_fan() -> None:
    sizing = Sizing(replace(PLAN, intake_c=24.0))
    assert sizing.verdict is Verdict.NO_FLOW_HELPS
    assert math.isinf(sizing.required_m3_s.best)
    assert sizing.day_speed is None
    assert sizing.margin is None
    assert sizing.settles_at is not None  # it still says what happens


def test_warmest_intake_is_where_the_need_equals_what_is_delivered() -> None:
    sizing = Sizing(PLAN)
    limit_c = sizing.warmest_intake_c
    assert limit_c is not None
    at_limit = Sizing(replace(PLAN, intake_c=limit_c))
    assert sizing.delivered is not None
    assert at_limit.needs().heat == pytest.approx(sizing.delivered.flow_m3_s, rel=0.01)


def test_verdicts_follow_the_fan() -> None:
    def verdict(free_m3_h: float) -> Verdict:
        rig = replace(FAN, free_flow_m3_s=free_m3_h / 3600.0)
        return Sizing(replace(PLAN, rig=rig)).verdict

    assert verdict(300.0) is Verdict.STRONG_ENOUGH
    assert verdict(20.0) is Verdict.TOO_WEAK
    assert Sizing(replace(PLAN, rig=Ducting())).verdict is Verdict.NO_FAN_NAMED
    between = {verdict(flow) for flow in range(40, 80)}
    assert Verdict.BARELY_ENOUGH in between


def test_speed_that_suffices_is_the_lowest_setting_that_does() -> None:
    sizing = Sizing(PLAN)
    speed, required = sizing.day_speed, sizing.required_m3_s.best
    assert speed is not None
    assert sizing.point(speed).flow_m3_s >= required
    assert speed == PLAN.min_speed or sizing.point(speed - 0.05).flow_m3_s < required


def test_a_fan_never_runs_slower_than_it_can_turn() -> None:
    sizing = Sizing(replace(PLAN, min_speed=0.6))
    assert sizing.day_speed == pytest.approx(0.6)
    assert min(row.point.speed for row in sizing.speed_rows) == pytest.approx(0.6)


def test_a_relay_knows_full_speed_only_and_rests_in_shares() -> None:
    sizing = Sizing(replace(PLAN, is_relay=True, min_speed=1.0))
    assert sizing.day_speed == 1.0
    assert [row.point.speed for row in sizing.speed_rows] == [1.0]
    assert sizing.delivered is not None
    share = sizing.required_m3_s.best / sizing.delivered.flow_m3_s
    assert sizing.day_share == pytest.approx(share)


@pytest.mark.parametrize(
    "unknown",
    [
        {"intake_c": None},
        {"intake_humidity_pct": None},
        {"leaf_area_m2": None},
        {"leaf_area_m2": None, "plant_count": 4, "stage": "fruiting"},
        {"light_ppfd": None},
    ],
)
def test_what_is_not_said_widens_the_doubt_and_is_listed(unknown: dict[str, object]) -> None:
    vague = replace(PLAN, **unknown)  # type: ignore[arg-type]

    def widths(plan: Plan) -> list[float]:
        return [span.high - span.low for span in Sizing(plan).need_spans_m3_s.values()]

    pairs = list(zip(widths(PLAN), widths(vague), strict=True))
    # A hair less where vapour makes the air carry more heat.
    assert all(vague_width >= 0.99 * width for width, vague_width in pairs)
    assert any(vague_width > width for width, vague_width in pairs)
    assert len(vague.assumptions()) == len(PLAN.assumptions()) + 1


def test_low_and_high_needs_enclose_the_best() -> None:
    vague = replace(PLAN, intake_c=None, leaf_area_m2=None, light_ppfd=None)
    sizing = Sizing(vague)
    for name, best in sizing.needs().by_name().items():
        span = sizing.need_spans_m3_s[name]
        assert span.low < span.high or name == "air_change"
        assert span.low <= best == span.best <= span.high


def test_settling_range_encloses_the_best() -> None:
    sizing = Sizing(replace(PLAN, intake_c=None, leaf_area_m2=None))
    settled, within = sizing.settles_at, sizing.settles_within
    assert settled is not None
    assert within is not None
    assert within.temperature_c.best == pytest.approx(settled.temperature_c, abs=1e-6)
    assert within.temperature_c.low < settled.temperature_c < within.temperature_c.high
    assert within.humidity_pct.low < settled.humidity_pct < within.humidity_pct.high


def test_bare_tent_at_its_required_flow_settles_at_the_top_of_the_band() -> None:
    # The need for heat and the steady state are two ways to the same balance.
    sizing = Sizing(replace(PLAN, leaf_area_m2=0.0))
    settled = sizing.settled(1.0, flow_m3_s=sizing.needs().heat)
    assert settled.temperature_c == pytest.approx(24.0, abs=0.02)


def test_tent_at_its_moisture_need_settles_no_moister_than_its_band() -> None:
    plan = replace(PLAN, intake_humidity_pct=60.0, leaf_area_m2=2.5)
    sizing = Sizing(plan)
    flow = sizing.needs().moisture
    settled = sizing.settled(1.0, flow_m3_s=flow)
    allowed = air.humidity_ratio(24.0, 70.0, 101_325.0)
    assert settled.humidity_ratio <= allowed * 1.02


def test_tent_at_its_co2_need_stays_at_the_lowest_wished() -> None:
    sizing = Sizing(PLAN)
    settled = sizing.settled(1.0, flow_m3_s=sizing.needs().co2)
    assert settled.co2_ppm == pytest.approx(350.0, abs=2.0)


def test_motor_heat_counts_only_where_the_fan_hangs_in_the_tent() -> None:
    inside = replace(PLAN, rig=replace(FAN, arrangement="both_inside"))
    assert inside.fan_heat_in_tent_w(1.0, "best") == pytest.approx(2.5)
    assert inside.fan_heat_in_tent_w(0.5, "best") == pytest.approx(2.5 / 8.0)
    assert PLAN.fan_heat_in_tent_w(1.0, "best") == 0.0


def test_energy_of_a_year_by_hand() -> None:
    # 240 W × 16 h + 30 W × 24 h = 4.56 kWh a day (tests/reference).
    plan = replace(PLAN, lamp_power_w=240.0, night_speed=1.0)
    energy = energy_of_a_year(plan, 30.0)
    assert (energy.fan_kwh + energy.lamp_kwh) / 365.0 == pytest.approx(4.56)
    assert energy.fan_kwh == pytest.approx(energy.fan_all_day_kwh)


def test_energy_follows_fan_hours_speed_and_purge() -> None:
    # 16 h of light, 15 min of pre-run and of run-on: 16.5 h; half speed an eighth of the power;
    # 5 min in 2 h at full speed is a twenty-fourth of the time.
    assert fan_hours_a_day(PLAN) == pytest.approx(16.5)
    half = energy_of_a_year(replace(PLAN, day_speed=0.5), 24.0)
    assert half.fan_kwh == pytest.approx(24.0 * 16.5 / 8.0 * 0.365)
    purged = energy_of_a_year(replace(PLAN, purge=(7200.0, 300.0, 1.0)), 24.0)
    assert purged.fan_kwh == pytest.approx(24.0 * (16.5 + 7.5 / 24.0) * 0.365)
    assert fan_hours_a_day(replace(PLAN, lit_hours=0.0)) == 0.0
    assert fan_hours_a_day(replace(PLAN, lit_hours=24.0)) == 24.0


@given(
    st.floats(0.3, 3.0),
    st.floats(0.5, 2.5),
    st.floats(0.0, 1500.0),
    st.floats(-40.0, 60.0),
    st.floats(0.0, 100.0),
    st.floats(-500.0, 6000.0),
    st.floats(0.005, 0.3),
    st.booleans(),
)
@examples(16)
def test_no_tent_gives_nan(
    side: float,
    height: float,
    lamp: float,
    intake: float,
    humidity: float,
    elevation: float,
    free: float,
    relay: bool,
) -> None:
    plan = Plan(
        side,
        side,
        height,
        lamp,
        elevation_m=elevation,
        intake_c=intake,
        intake_humidity_pct=humidity,
        is_relay=relay,
        rig=Ducting(free_flow_m3_s=free, has_filter=True),
    )
    sizing = Sizing(plan)
    assert not any(math.isnan(need) for need in sizing.needs().by_name().values())
    assert sizing.delivered is not None
    assert 0.0 < sizing.delivered.flow_m3_s <= free
    settled = sizing.settles_at
    assert settled is not None
    assert all(map(math.isfinite, (settled.temperature_c, settled.humidity_pct, settled.co2_ppm)))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"width_m": 0.0}, "width"),
        ({"height_m": math.nan}, "height"),
        ({"lit_hours": 25.0}, "hours of light"),
        ({"minutes_per_change": 0.5}, "1 to 5 minutes"),
    ],
)
def test_a_plan_that_makes_no_sense_is_refused_by_what_is_wrong(
    change: dict[str, float], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        replace(PLAN, **change)  # type: ignore[arg-type]


def test_planning_needs_nothing_but_the_standard_library() -> None:
    # The daemon and the simulators load it on a small machine.
    code = (
        "import sys, controller.airflow, controller.sizing, controller.sizing.page; "
        "print(*sorted({'pydantic', 'pint', 'numpy', 'yaml'} & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == ""


def test_a_failed_fan_leaves_the_walls_and_the_leaks() -> None:
    # By hand: 150 W over UA 22.15 W/K and half an air change an hour of 1.024 m³.
    leak_w_per_k = 1.17 * 1013.0 * 1.024 * 0.5 / 3600.0
    expected = 20.0 + 150.0 / (22.15 + leak_w_per_k)
    assert Sizing(PLAN).fan_failed_c == pytest.approx(expected, abs=0.05)


def test_a_duct_still_to_be_bought_is_made_for_the_flow_needed() -> None:
    # 775 m³/h or so through the smallest duct sold would take thousands of pascals.
    big = replace(PLAN, width_m=3.0, depth_m=3.0, height_m=2.0, lamp_power_w=1500.0, rig=Ducting())
    sizing = Sizing.from_plan(big)
    flow, area = sizing.required_m3_s.best, math.pi * sizing.plan.rig.inside_diameter_m**2 / 4.0
    assert flow / area <= 7.0
    pressure = sizing.needed_pressure_pa
    assert pressure is not None
    assert pressure.high < 200.0
    assert Sizing.from_plan(PLAN) == Sizing(PLAN)


def test_a_flow_that_would_race_through_the_duct_asks_for_a_wider_one() -> None:
    sizing = Sizing(replace(PLAN, lamp_power_w=1500.0))  # 100 mm duct, 60 Pa of filter at 187 m³/h
    wider, present = sizing.wider_run, sizing.needed_pressure_pa
    assert wider is not None
    assert present is not None
    assert sizing.required_m3_s.best / (math.pi * wider.inside_diameter_m**2 / 4.0) <= 7.0
    assert wider.pressure_pa.high < present.low
    assert Sizing(PLAN).wider_run is None


def test_an_on_off_fan_settles_between_rest_and_full_speed() -> None:
    sizing = Sizing(replace(PLAN, is_relay=True, min_speed=1.0))
    running = sizing.running_by_day
    assert running is not None
    full, rest = sizing.settles_at, sizing.settled(0.0)
    assert full.temperature_c < running.temperature_c < rest.temperature_c
    assert Sizing(PLAN).running_by_day is None


def test_energy_is_as_doubtful_as_the_power_it_rests_on() -> None:
    assert Sizing(PLAN).fan_kwh_within is not None
    assert Sizing(PLAN).fan_kwh_within.is_known  # type: ignore[union-attr]
    vague = Sizing(replace(PLAN, rig=replace(FAN, fan_power_w=None)))
    within, energy = vague.fan_kwh_within, vague.energy
    assert within is not None
    assert energy is not None
    assert within.best == energy.fan_kwh
    # Its air power at 15 to 40 % efficiency, 25 % at best (from memory).
    assert within.low == pytest.approx(energy.fan_kwh * 0.25 / 0.40)
    assert within.high == pytest.approx(energy.fan_kwh * 0.25 / 0.15)
    assert Sizing(replace(PLAN, rig=Ducting())).fan_kwh_within is None
