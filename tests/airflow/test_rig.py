"""The rig of a config: what is unknown widens the answer and is listed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.airflow import ARRANGEMENTS, Ducting, rig_with_fan
from controller.airflow.span import Span
from controller.config import settings_from_text

TENT = """
tent: {width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
sensors: [{name: tent, role: tent, driver: simulated}]
"""
FAN = (
    "fan: {drive: hardware_pwm, pin: 18, free_flow: 187 m³/h, max_pressure: 300 Pa, power: 25 W}\n"
)
DUCT = """
duct:
  diameter: 100 mm
  length: 2 m
  bends: 2
  filter: {pressure_drop: 60 Pa, flow: 187 m³/h}
  intake: {openings: 2, diameter: 100 mm}
"""

KNOWN = Ducting(
    free_flow_m3_s=0.052,
    max_pressure_pa=300.0,
    fan_power_w=25.0,
    duct_diameter_m=0.1,
    duct_length_m=2.0,
    bends=2,
    has_filter=True,
    filter_drop_pa=60.0,
    filter_flow_m3_s=0.052,
    openings_m2=0.0157,
)


def test_config_becomes_a_rig() -> None:
    rig = Ducting.from_settings(settings_from_text(TENT + FAN + DUCT).settings)
    assert rig.free_flow_m3_s == pytest.approx(187.0 / 3600.0)
    assert rig.has_filter
    assert rig.filter_drop_pa == 60.0
    assert rig.openings_m2 == pytest.approx(2 * 3.14159265 * 0.05**2)
    assert {one.what for one in rig.assumptions()} == {
        "fan curve's exponent",
        "friction, as hung ×",
        "filter, when loaded ×",
    }


def test_points_of_the_data_sheet_in_the_config_rule() -> None:
    fan = "fan: {pin: 18, curve: [[0 m³/h, 300 Pa], [100 m³/h, 220 Pa], [180 m³/h, 0 Pa]]}\n"
    rig = Ducting.from_settings(settings_from_text(TENT + fan + DUCT).settings)
    assert rig.curve().pressure_pa(100.0 / 3600.0) == pytest.approx(220.0)
    assert rig.nominal_flow_m3_s == pytest.approx(0.05)
    assert "fan curve's exponent" not in [one.what for one in rig.assumptions()]


def test_flow_rises_from_nothing_to_full_speed() -> None:
    rig = rig_with_fan(settings_from_text(TENT + FAN + DUCT).settings)
    flows = [rig.point(step / 20).flow_m3_s for step in range(21)]
    assert flows[0] == 0.0
    assert flows == sorted(flows)
    assert 0.0 < flows[-1] < 187.0 / 3600.0


def test_simulation_gets_a_fan_where_the_config_names_none() -> None:
    settings = settings_from_text(TENT + "fan: {pin: 18}\n").settings
    assert not Ducting.from_settings(settings).has_fan
    assert rig_with_fan(settings).free_flow_m3_s == pytest.approx(0.8 * 0.8 * 1.6 / 60.0)
    assert rig_with_fan(settings).point(1.0).flow_m3_s > 0.0


@given(st.floats(0.1, 1.0), st.sampled_from(ARRANGEMENTS))
def test_the_low_case_delivers_least_and_the_high_case_most(speed: float, place: str) -> None:
    flows = [
        KNOWN.point(speed, case=case, arrangement=place).flow_m3_s  # type: ignore[arg-type]
        for case in ("low", "best", "high")
    ]
    assert flows == sorted(flows)


@pytest.mark.parametrize(
    "unknown",
    [
        {"max_pressure_pa": None},
        {"duct_length_m": None},
        {"bends": None},
        {"filter_drop_pa": None, "filter_flow_m3_s": None},
        {"openings_m2": None},
    ],
)
def test_what_is_not_known_widens_the_flow_and_is_listed(unknown: dict[str, None]) -> None:
    def width(rig: Ducting) -> float:
        return rig.point(case="high").flow_m3_s - rig.point(case="low").flow_m3_s

    vague = replace(KNOWN, **unknown)  # type: ignore[arg-type]
    assert width(vague) > width(KNOWN)
    assert len(vague.assumptions()) == len(KNOWN.assumptions()) + 1


def test_an_unknown_duct_has_the_size_sold_that_fits_the_fan() -> None:
    assert Ducting(free_flow_m3_s=0.05).inside_diameter_m == 0.1
    assert Ducting(free_flow_m3_s=0.1).inside_diameter_m == 0.15
    assert Ducting(free_flow_m3_s=5.0).inside_diameter_m == 0.315


def test_a_fan_without_figures_is_not_made_up() -> None:
    with pytest.raises(ValueError, match="free flow is not known"):
        Ducting().curve()
    assert Ducting().power_w() is None


def test_slack_duct_passes_less() -> None:
    tight, slack = (
        replace(KNOWN, duct_kind=kind).point().flow_m3_s  # type: ignore[arg-type]
        for kind in ("flexible_stretched", "flexible_slack")
    )
    assert slack < tight


@pytest.mark.parametrize("values", [(2.0, 1.0, 3.0), (1.0, 2.0, float("nan"))])
def test_a_span_must_rise(values: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="span rises"):
        Span(*values)


@pytest.mark.parametrize("density_kg_m3", [0.88, 1.2])
def test_power_is_what_was_given_however_thin_the_air(density_kg_m3: float) -> None:
    """At full speed and, by the fan laws, an eighth of it at half speed (AMCA 201)."""
    assert KNOWN.point(1.0, density_kg_m3).power_w == KNOWN.power_w()
    assert KNOWN.point(0.5, density_kg_m3).power_w == pytest.approx(KNOWN.fan_power_w / 8.0)
