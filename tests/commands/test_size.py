"""`lungwort size`: the page, the JSON, options alone, and what is refused."""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

import pytest

from controller.commands import size
from controller.errors import UserError

CONFIG = """
tent: {name: loft, width: 32 in, depth: 32 in, height: 63 in}
place: {timezone: America/New_York}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: hardware_pwm, pin: 18, free_flow: 110 cfm, max_pressure: 1.2 inH2O, power: 22 W}
sensors: [{name: tent, role: tent, driver: simulated}]
targets: {day: {temperature: [70 °F, 75 °F]}}
duct:
  diameter: 4 in
  length: 8 ft
  bends: 2
  filter: {pressure_drop: 0.35 inH2O, flow: 110 cfm}
  intake: {openings: 2, diameter: 6 in}
crop: {kind: pepper, plants: 4, stage: fruiting}
energy: {price: 0.18 USD/kWh}
"""
METRIC = ("--width", "80 cm", "--depth", "80 cm", "--height", "160 cm", "--lamp-power", "150 W")
FAN = ("--free-flow", "187 m³/h", "--max-pressure", "300 Pa")


@pytest.fixture
def config(tmp_path: Path) -> str:
    path = tmp_path / "loft.yaml"
    path.write_text(CONFIG, encoding="utf-8")
    return str(path)


@pytest.fixture
def answer(capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    def ask(*arguments: str) -> str:
        parser = argparse.ArgumentParser(prog="lungwort")
        size.add(parser.add_subparsers())
        args = parser.parse_args(["size", *arguments])
        assert args.run(args) == 0
        return capsys.readouterr().out

    return ask


@pytest.fixture
def figures(answer):  # type: ignore[no-untyped-def]
    def ask(*arguments: str) -> dict[str, Any]:
        return json.loads(answer(*arguments, "--json"), parse_constant=_no_constant)

    return ask


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


def test_the_verdict_comes_first_in_the_users_units(answer, config) -> None:  # type: ignore[no-untyped-def]
    title, _, verdict = answer(config).split("\n")[:3]
    assert title.startswith("loft: 32 in × 32 in × 63 in")
    assert verdict.startswith("The fan is probably strong enough")
    assert "cfm" in answer(config)
    assert "m³/h" not in answer(config)


@pytest.mark.parametrize(
    "options",
    [
        (),
        ("--units", "si"),
        ("--no-filter",),
        ("--free-flow", "20 cfm"),
        ("--intake-temperature", "80 °F"),
        ("--intake-humidity", "100 %"),
        ("--on-off",),
        ("--explain",),
        ("--explain", "--intake-temperature", "80 °F", "--leaf-area", "0 m²"),
        ("--priority", "headroom", "--priority", "floor_space", "--priority", "smell"),
        ("--light", "1000", "--leaf-area", "30 ft²", "--lamp-power", "1500 W"),
    ],
)
def test_the_page_fits_80_columns(answer, config, options) -> None:  # type: ignore[no-untyped-def]
    page = answer(config, *options)
    assert max(map(len, page.splitlines())) <= 80
    assert "nan" not in page.lower()
    assert "inf" not in page.lower().replace("infinite", "")


def test_json_has_the_promised_keys_in_si(figures, config) -> None:  # type: ignore[no-untyped-def]
    shown = figures(config)
    assert shown["volume_m3"] == pytest.approx(32 * 32 * 63 * 0.0254**3)
    assert set(shown["need_m3_per_h"]) == {"air_change", "heat", "moisture", "co2"}
    assert shown["required_m3_per_h"] == max(shown["need_m3_per_h"].values())
    assert shown["need_m3_per_h"][shown["ruled_by"]] == shown["required_m3_per_h"]
    assert set(shown["settles_at"]) >= {"temperature_c", "humidity_pct", "co2_ppm"}
    assert shown["static_pressure_pa"] == pytest.approx(sum(shown["pressure_parts_pa"].values()))
    assert shown["margin"] == pytest.approx(
        shown["delivered_m3_per_h"] / shown["required_m3_per_h"] - 1.0
    )
    assert shown["cost_per_year"] == pytest.approx(0.18 * shown["energy_kwh_per_year"])
    assert shown["energy_all_day_kwh_per_year"] == pytest.approx(22.0 * 8.76)
    assert [one["arrangement"] for one in shown["arrangements"]] == [
        "both_inside",
        "fan_inside_filter_outside",
        "filter_inside_fan_outside",
        "both_outside",
    ]


def test_every_range_encloses_its_figure(figures, config) -> None:  # type: ignore[no-untyped-def]
    shown = figures(config)
    for key in ("required_m3_per_h", "delivered_m3_per_h", "night_need_m3_per_h"):
        low, high = shown[f"{key}_range"]
        assert low <= shown[key] <= (math.inf if high is None else high)
    for name, need in shown["need_m3_per_h"].items():
        low, high = shown["need_m3_per_h_range"][name]
        assert low <= need <= (math.inf if high is None else high)


def test_options_alone_do_without_a_config(figures) -> None:  # type: ignore[no-untyped-def]
    shown = figures(*METRIC, *FAN, "--duct-diameter", "100 mm", "--bends", "2")
    assert shown["volume_m3"] == pytest.approx(1.024)
    assert shown["delivered_m3_per_h"] < 187.0
    assert shown["arrangements"][0]["bends"] == 2.0


def test_small_space_needs_what_the_trade_says(figures) -> None:  # type: ignore[no-untyped-def]
    # Common practice, no source: 2.25 × 2.25 × 5.25 ft needs 8.9 cfm before allowances.
    shown = figures(
        "--width", "2.25 ft", "--depth", "2.25 ft", "--height", "5.25 ft", "--lamp-power", "0 W"
    )  # fmt: skip
    assert shown["need_m3_per_h"]["air_change"] / 1.69901 == pytest.approx(8.9, abs=0.05)


def test_units_follow_what_was_written(answer) -> None:  # type: ignore[no-untyped-def]
    metric = answer(*METRIC)
    american = answer("--width", "32 in", *METRIC[2:])
    assert "80 cm" in metric
    assert "cfm" not in metric
    assert "cfm" in american


def test_without_a_fan_the_page_says_what_to_look_for(answer, figures) -> None:  # type: ignore[no-untyped-def]
    page = " ".join(answer(*METRIC).split())
    assert "No fan is named. The tent needs" in page
    assert "Look for a fan that moves" in page
    shown = figures(*METRIC)
    assert shown["verdict"] == "no_fan_named"
    assert shown["delivered_m3_per_h"] is None
    assert shown["energy_kwh_per_year"] is None
    assert shown["needed_pressure_pa"] > 0.0


def test_hot_intake_is_beyond_any_fan_and_null_in_json(answer, figures, config) -> None:  # type: ignore[no-untyped-def]
    assert "No fan can do this" in answer(config, "--intake-temperature", "78 °F")
    shown = figures(config, "--intake-temperature", "78 °F")
    assert shown["verdict"] == "no_flow_helps"
    assert shown["need_m3_per_h"]["heat"] is None
    assert shown["required_m3_per_h"] is None
    assert shown["ruled_by"] == "heat"


def test_options_overrule_the_config(figures, config) -> None:  # type: ignore[no-untyped-def]
    plain = figures(config)
    dearer = figures(config, "--filter-drop", "200 Pa at 187 m³/h", "--price", "1 EUR")
    assert dearer["delivered_m3_per_h"] < plain["delivered_m3_per_h"]
    assert dearer["currency"] == "EUR"
    moved = figures(config, "--arrangement", "both_outside")
    assert moved["arrangement"] == "both_outside"
    faster = figures(config, "--air-change", "1 min")
    assert faster["need_m3_per_h"]["air_change"] == pytest.approx(
        3.0 * plain["need_m3_per_h"]["air_change"]
    )


def test_saying_more_narrows_the_doubt(figures, config) -> None:  # type: ignore[no-untyped-def]
    def width(shown: dict[str, Any]) -> float:
        low, high = shown["required_m3_per_h_range"]
        return high - low

    plain = figures(config)
    measured = figures(
        config, "--intake-temperature", "68 °F", "--intake-humidity", "50 %",
        "--leaf-area", "1.4 m²", "--light", "450",
    )  # fmt: skip
    assert width(measured) < width(plain)
    assert len(measured["assumed"]) < len(plain["assumed"])


def test_points_of_a_data_sheet_replace_the_guessed_curve(figures, config) -> None:  # type: ignore[no-untyped-def]
    shown = figures(
        config,
        "--fan-point", "0 cfm, 1.2 inH2O",
        "--fan-point", "60 cfm, 0.9 inH2O",
        "--fan-point", "110 cfm, 0 Pa",
    )  # fmt: skip
    assert "fan curve's exponent" not in [one["what"] for one in shown["assumed"]]


def test_priorities_choose_the_arrangement(answer, figures, config) -> None:  # type: ignore[no-untyped-def]
    assert figures(config, "--priority", "smell")["recommended_arrangement"] == "both_inside"
    assert figures(config, "--priority", "headroom")["recommended_arrangement"] == "both_outside"
    assert "Both outside, since headroom matters." in answer(config, "--priority", "headroom")


def test_rule_and_physics_are_set_side_by_side(answer, config) -> None:  # type: ignore[no-untyped-def]
    page = " ".join(answer(config, "--full").split())
    assert "The rule of thumb asks for 21 cfm, the physics for" in page
    assert "they count twice" in page


def test_people_are_warned(answer, config) -> None:  # type: ignore[no-untyped-def]
    page = " ".join(answer(config, "--full").split())
    for word in ("carbon monoxide", "licensed electrician", "RCD", "load that the maker"):
        assert word in page
    assert "CO2 can harm people" in " ".join(answer(config, "--intake-co2", "3000 ppm").split())


def test_explaining_shows_sums_that_come_out(answer, figures) -> None:  # type: ignore[no-untyped-def]
    # Heat by hand: 150 W less 3.846 W/m²K × 5.76 m² × 4 K through the fabric.
    options = (*METRIC, "--intake-temperature", "20 °C", "--day-high", "24 °C", "--no-filter")
    page = " ".join(answer(*options, "--explain").split())
    assert "less 89 W through the fabric at 4.0 K over the room" in page
    assert "leave 61 W" in page
    assert "What the assumptions rest on" in page
    shown = figures(*options)
    assert shown["need_m3_per_h"]["heat"] == pytest.approx(61.4 / (1206 * 4.0) * 3600.0, rel=0.02)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "--width, --depth, --height, --lamp-power are missing"),
        (METRIC[:6], "--lamp-power is missing"),
        ((*METRIC[:7], "150"), "--lamp-power: 150 has no unit"),
        ((*METRIC, "--bends", "many"), "--bends: 'many'; expected a whole number"),
        ((*METRIC, "--filter-drop", "60 Pa"), "expected e.g. '60 Pa at 187 m³/h'"),
        ((*METRIC, "--filter-drop", "60 Pa at 0 m³/h"), "flow must be more than nothing"),
        ((*METRIC, "--free-flow", "0 m³/h"), "--free-flow: must be more than nothing"),
        ((*METRIC, "--duct-diameter", "2 mm"), "--duct-diameter: out of range"),
        ((*METRIC, "--air-change", "10 min"), "1 to 5 minutes"),
        ((*METRIC, "--lit", "30 h"), "--lit: '30 h' is out of range; expected 0 to 24 h"),
        ((*METRIC[:-1], "1e9 W"), "--lamp-power: '1e9 W' is out of range; expected 0 to 100 kW"),
        ((*METRIC, "--free-flow", "1e9 m³/h"), "out of range; expected 0 to 360 000 m³/h"),
        ((*METRIC, "--intake-humidity", "130 %"), "out of range"),
        ((*METRIC, "--intake-temperature", "200 °C"), "out of range"),
        ((*METRIC, "--fan-mass", "heavy"), "not a mass"),
        ((*METRIC, "--price", "dear"), "--price"),
        ((*METRIC, "--light", "bright"), "--light"),
        ((*METRIC, "--fan-point", "100 m³/h"), "--fan-point"),
        (
            (*METRIC, "--fan-point", "0 m³/h, 100 Pa", "--fan-point", "90 m³/h, 200 Pa"),
            "must not rise with the flow",
        ),
        (("--width", "0 cm", *METRIC[2:]), "width of the tent must be above 0"),
    ],
)
def test_what_cannot_be_read_is_said_in_one_line(answer, arguments, said) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(UserError) as caught:
        answer(*arguments)
    assert caught.value.status == 2
    assert said in caught.value.message
    assert "\n" not in caught.value.message
