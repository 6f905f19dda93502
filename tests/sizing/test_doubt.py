"""What a range is said to hang on does narrow it when it is known."""

from __future__ import annotations

import math
from dataclasses import replace

from examples import examples
from hypothesis import assume, given
from hypothesis import strategies as st

from controller.airflow import Ducting
from controller.sizing.assess import Sizing
from controller.sizing.doubt import delivered_flow_hangs_on, needed_flow_hangs_on
from controller.sizing.plan import Plan

RIG = Ducting(free_flow_m3_s=0.05, max_pressure_pa=250.0, duct_diameter_m=0.1)
PLAN = Plan(0.8, 0.8, 1.6, 150.0, rig=RIG, crop_kind="pepper", plant_count=4, stage="fruiting")

# Written out anew: which field of the plan holds what is assumed.
KNOWN = {
    "intake temperature": lambda plan: {"intake_c": plan.intake_temperature_c.best},
    "intake humidity": lambda plan: {"intake_humidity_pct": plan.intake_rh_pct.best},
    "intake CO2": lambda plan: {"intake_co2_ppm": plan.intake_ppm.best},
    "leaf area": lambda plan: {"leaf_area_m2": plan.leaves_m2.best},
    "light over the canopy": lambda plan: {"light_ppfd": plan.ppfd.best},
}


@given(
    size=st.floats(0.4, 3.0),
    height=st.floats(0.5, 2.4),
    lamp_w=st.floats(0.0, 1500.0),
    room=st.sampled_from(["room", "cellar", "closet", "attic"]),
    plants=st.one_of(st.none(), st.integers(0, 60)),
    top_c=st.floats(21.0, 29.0),
)
@examples(25)
def test_knowing_what_a_need_hangs_on_narrows_it(size, height, lamp_w, room, plants, top_c) -> None:  # type: ignore[no-untyped-def]
    plan = Plan(
        size, size, height, lamp_w, room_kind=room, crop_kind="basil", plant_count=plants,
        day_c=(20.0, top_c), rig=RIG,
    )  # fmt: skip
    before = Sizing(plan)
    assume(math.isfinite(before.required_m3_s.best))
    named = needed_flow_hangs_on(before)
    assert len(named) <= 2
    known = plan
    for assumption in named:
        known = replace(known, **KNOWN[assumption.what](known))
    after = Sizing(known)
    if named:
        endless = [sum(map(math.isinf, s.needs("high"))) for s in (before, after)]
        wide = [s.required_m3_s.high - s.required_m3_s.low for s in (before, after)]
        assert endless[1] < endless[0] or wide[1] < wide[0]
    assert after.required_m3_s.best == before.required_m3_s.best


def test_a_room_whose_air_is_not_given_is_what_the_need_hangs_on() -> None:
    named = needed_flow_hangs_on(Sizing(PLAN))
    assert named[0].what == "intake temperature"


def test_what_is_given_is_never_named() -> None:
    given_air = replace(PLAN, intake_c=20.0, intake_humidity_pct=50.0, intake_co2_ppm=420.0)
    names = {assumption.what for assumption in needed_flow_hangs_on(Sizing(given_air))}
    assert not names & {"intake temperature", "intake humidity", "intake CO2"}


def test_an_unknown_run_is_what_the_delivered_flow_hangs_on() -> None:
    sizing = Sizing(PLAN)
    assert delivered_flow_hangs_on(sizing)
    sheet = replace(
        RIG, fan_points=((0.0, 250.0), (0.025, 190.0), (0.05, 0.0)), duct_length_m=2.0, bends=1
    )
    known = Sizing(replace(PLAN, rig=sheet))
    assert delivered_flow_hangs_on(known) == ()
