"""Flow by speed and share, against operating points solved one by one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tent_bodies import random_tent

from controller.airflow import operating_point
from controller.airflow.rig import Ducting
from controller.airflow.system import LoadedSystem
from controller.config import settings_from_text
from controller.learning.fan_flow import SPEED_STEPS, FanFlow

RIGS = [Ducting.from_settings(settings_from_text(random_tent(seed)).settings) for seed in range(6)]
FLOWS = [FanFlow(rig, 1.2) for rig in RIGS]


@pytest.mark.parametrize(("rig", "flow"), list(zip(RIGS, FLOWS, strict=True)))
def test_the_configs_share_is_the_configs_flow(rig: Ducting, flow: FanFlow) -> None:
    for step in (40, 100, 130, 200):
        solved = rig.point(step / SPEED_STEPS, 1.2).flow_m3_s
        assert flow.at(step, 1.0) == pytest.approx(solved, rel=0.005)


@given(rig=st.integers(0, 5), share=st.floats(0.3, 1.0), step=st.integers(40, SPEED_STEPS))
def test_a_share_is_the_resistance_that_leaves_so_much_at_full_speed(
    rig: int, share: float, step: int
) -> None:
    flow, ducting = FLOWS[rig], RIGS[rig]
    loaded = LoadedSystem(ducting.system(), flow.resistance(share))
    solved = operating_point(ducting.curve(), loaded, step / SPEED_STEPS, 1.2).flow_m3_s
    assert flow.at(step, share) == pytest.approx(solved, rel=0.02)


@given(share=st.floats(0.02, 2.0), rig=st.integers(0, 5))
def test_more_share_is_more_flow(share: float, rig: int) -> None:
    assert FLOWS[rig].at(150, 1.05 * share) > FLOWS[rig].at(150, share)


def test_a_loaded_filter_costs_more_of_the_flow_at_a_low_speed() -> None:
    with_filter = next(i for i, rig in enumerate(RIGS) if rig.has_filter)
    flow = FLOWS[with_filter]
    assert flow.at(40, 0.6) / flow.at(40, 1.0) < flow.at(200, 0.6) / flow.at(200, 1.0)
