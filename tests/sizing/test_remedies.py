"""Every remedy that a verdict names helps when it is applied, for tents of every size."""

from __future__ import annotations

import argparse
import json
import math
import re
from dataclasses import replace
from typing import Any

import pytest
from examples import examples
from hypothesis import HealthCheck, assume, given
from hypothesis import strategies as st

from controller.airflow import Ducting
from controller.commands import size
from controller.sizing.assess import Sizing, Verdict
from controller.sizing.plan import Plan
from controller.sizing.remedies import RANK, remedies

# Worst to best, written out here so that the test does not lean on the module under test.
RANKS = {
    "no_flow_helps": 0,
    "no_fan_named": 1,
    "too_weak": 1,
    "barely_enough": 2,
    "strong_enough": 3,
}


@st.composite
def configs(draw: st.DrawFn) -> dict[str, str]:
    """Options of `lungwort size`: tents from a cupboard to a room, fans from a toy to a blower."""
    width, height = draw(st.floats(0.3, 4.0)), draw(st.floats(0.5, 2.6))
    options = {
        "--width": f"{width:.2f} m",
        "--depth": f"{draw(st.floats(0.3, 4.0)):.2f} m",
        "--height": f"{height:.2f} m",
        "--lamp-power": f"{draw(st.floats(0.0, 500.0)) * width:.0f} W",
        "--elevation": f"{draw(st.sampled_from([0, 0, 400, 2500]))} m",
        "--crop": draw(st.sampled_from(["pepper", "tomato", "lettuce", "basil"])),
    }
    optional: dict[str, st.SearchStrategy[str]] = {
        "--free-flow": st.floats(5.0, 800.0).map(lambda q: f"{q:.1f} m³/h"),
        "--max-pressure": st.floats(20.0, 600.0).map(lambda p: f"{p:.0f} Pa"),
        "--fan-power": st.floats(2.0, 150.0).map(lambda w: f"{w:.0f} W"),
        "--duct-diameter": st.sampled_from(["80 mm", "100 mm", "125 mm", "200 mm"]),
        "--duct-length": st.floats(0.0, 12.0).map(lambda m: f"{m:.1f} m"),
        "--bends": st.integers(0, 6).map(str),
        "--duct-kind": st.sampled_from(["smooth", "flexible_stretched", "flexible_slack"]),
        "--filter-drop": st.floats(10.0, 250.0).map(lambda p: f"{p:.0f} Pa at 187 m³/h"),
        "--intake-area": st.floats(20.0, 900.0).map(lambda a: f"{a:.0f} cm²"),
        "--intake-temperature": st.floats(5.0, 36.0).map(lambda t: f"{t:.1f} °C"),
        "--intake-humidity": st.floats(15.0, 100.0).map(lambda h: f"{h:.0f} %"),
        "--intake-co2": st.floats(330.0, 1200.0).map(lambda c: f"{c:.0f} ppm"),
        "--leaf-area": st.floats(0.0, 8.0).map(lambda a: f"{a:.2f} m²"),
        "--day-high": st.floats(20.0, 29.0).map(lambda t: f"{t:.1f} °C"),
    }
    for option, strategy in optional.items():
        if draw(st.booleans()):
            options[option] = draw(strategy)
    if "--free-flow" not in options:
        options.pop("--max-pressure", None)
    return options


@pytest.fixture(scope="module")
def figures():  # type: ignore[no-untyped-def]
    parser = argparse.ArgumentParser(prog="lungwort")
    size.add(parser.add_subparsers())

    def ask(options: list[str], units: str) -> dict[str, Any]:
        import contextlib
        import io

        args = parser.parse_args(["size", "--json", "--units", units, *options])
        with contextlib.redirect_stdout(io.StringIO()) as out:
            assert args.run(args) == 0
        return json.loads(out.getvalue())  # type: ignore[no-any-return]

    return ask


@examples(6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(config=configs(), units=st.sampled_from(["si", "us"]))
def test_every_remedy_named_improves_the_verdict_when_it_is_applied(figures, config, units) -> None:  # type: ignore[no-untyped-def]
    before = [word for pair in config.items() for word in pair]
    shown = figures(before, units)
    if shown["verdict"] in ("strong_enough", "barely_enough"):
        assert not shown["remedies"]
    assume(shown["remedies"])
    for remedy in shown["remedies"]:
        if "--fan-point" in remedy["options"]:  # another fan, so not of the old one's power
            changed = {k: v for k, v in config.items() if k != "--fan-power"}
        else:
            changed = dict(config)
        if "--filter" in remedy["options"]:
            changed.pop("--filter-drop", None)
        applied = [word for pair in changed.items() for word in pair] + remedy["options"]
        after = figures(applied, units)
        assert RANKS[after["verdict"]] > RANKS[shown["verdict"]], (remedy, after["verdict"])
        assert after["verdict"] == remedy["verdict"]


@examples(40)
@given(config=configs(), units=st.sampled_from(["si", "us"]))
def test_every_remedy_named_improves_the_plan_it_changes(config, units) -> None:  # type: ignore[no-untyped-def]
    parser = argparse.ArgumentParser(prog="lungwort")
    size.add(parser.add_subparsers())
    words = [word for pair in config.items() for word in pair]
    plan = size.plan_of(parser.parse_args(["size", *words]))
    before = Sizing(plan)
    named = remedies(before, units)
    assume(named)  # without any there is nothing to judge, and with none ever this fails
    for remedy in named:
        assert RANKS[Sizing(remedy.plan).verdict.value] > RANKS[before.verdict.value]


RIG = Ducting(
    free_flow_m3_s=60.0 / 3600.0, max_pressure_pa=120.0, duct_diameter_m=0.1, duct_length_m=12.0,
    bends=4, duct_kind="flexible_slack", openings_m2=0.03,
)  # fmt: skip
PLAN = Plan(
    0.8, 0.8, 1.6, 150.0, lit_hours=16.0, rig=RIG, crop_kind="pepper", leaf_area_m2=1.5,
    light_ppfd=450.0, intake_c=20.0, intake_humidity_pct=50.0, intake_co2_ppm=420.0,
)  # fmt: skip


def named(**changes: object) -> list[str]:
    return [remedy.name for remedy in remedies(Sizing(replace(PLAN, **changes)), "si")]  # type: ignore[arg-type]


def test_a_duct_that_throttles_a_good_fan_is_what_is_named() -> None:
    assert Sizing(PLAN).verdict is Verdict.TOO_WEAK
    assert {"tight_duct", "shorter_duct", "wider_duct"} <= set(named())


def test_no_change_of_the_duct_is_named_where_the_free_flow_is_too_little() -> None:
    weak = replace(RIG, free_flow_m3_s=20.0 / 3600.0)
    assert Sizing(PLAN).required_m3_s.best > 20.0 / 3600.0
    assert not {"tight_duct", "shorter_duct", "wider_duct", "more_intake"} & set(named(rig=weak))


def test_no_fan_is_named_against_a_room_hotter_than_the_band() -> None:
    strong = replace(RIG, free_flow_m3_s=0.1, duct_length_m=1.0, duct_kind="smooth", bends=0)
    assert "stronger_fan" not in named(intake_c=26.0, rig=strong)
    assert {"cooler_intake", "warmer_band"} <= set(named(intake_c=26.0, rig=strong))


def test_a_room_too_hot_and_too_moist_takes_both() -> None:
    found = remedies(Sizing(replace(PLAN, intake_c=27.0, intake_humidity_pct=95.0)), "si")
    assert [remedy.name for remedy in found] == ["cooler_and_drier"]
    assert re.match(r"draw air of at most [\d.]+ °C and \d+ %", found[0].words)
    assert RANK[Sizing(found[0].plan).verdict] > RANK[Verdict.NO_FLOW_HELPS]


def test_cooling_the_same_air_makes_it_moister() -> None:
    # By hand, Magnus: 50 % at 26 °C is 1681 Pa, and air saturated at 21 °C holds 2488 Pa: 67.6 %.
    strong = replace(RIG, free_flow_m3_s=0.05, duct_length_m=1.0, duct_kind="smooth", bends=0)
    found = remedies(Sizing(replace(PLAN, intake_c=26.0, rig=strong)), "si")
    cooler = next(remedy for remedy in found if remedy.name == "cooler_intake").plan
    assert cooler.intake_c is not None
    assert cooler.intake_humidity_pct == pytest.approx(
        50.0 * math.exp(0.0593 * (26.0 - cooler.intake_c)), rel=0.03
    )
