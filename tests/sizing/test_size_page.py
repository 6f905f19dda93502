"""The page of `size --html`: self-contained, drawn to scale, with the command's figures."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from controller.__main__ import main
from controller.airflow import Ducting
from controller.sizing.arrangements import ARRANGEMENTS, Hardware, place_all
from controller.sizing.assess import Sizing
from controller.sizing.drawn.fan_chart import fan_chart
from controller.sizing.drawn.need_bars import need_bars
from controller.sizing.drawn.placement_drawing import PlacementDrawing, lowest_lamp_m
from controller.sizing.plan import Plan

EXAMPLES = Path(__file__).parents[2] / "config"
RIG = Ducting(
    free_flow_m3_s=187.0 / 3600.0, max_pressure_pa=300.0, fan_power_w=25.0, duct_diameter_m=0.1,
    duct_length_m=2.0, bends=1, has_filter=True, filter_drop_pa=60.0,
    filter_flow_m3_s=187.0 / 3600.0, openings_m2=0.03,
)  # fmt: skip
PLAN = Plan(0.8, 0.8, 1.6, 150.0, lit_hours=16.0, rig=RIG, crop_kind="pepper", leaf_area_m2=1.5)


def page_of(tmp_path: Path, *arguments: str) -> str:
    page = tmp_path / "size.html"
    assert main(["size", *arguments, "--html", str(page)]) == 0
    return page.read_text(encoding="utf-8")


def svgs(text: str) -> list[ElementTree.Element]:
    return [ElementTree.fromstring(found) for found in re.findall(r"<svg.*?</svg>", text)]


@pytest.mark.parametrize("config", ["chillies.yaml", "basil.yaml"])
def test_the_page_asks_for_nothing_from_anywhere(config: str, tmp_path: Path) -> None:
    page = page_of(tmp_path, str(EXAMPLES / config))
    assert "default-src 'none'" in page
    assert not re.search(r"(?:src|href)\s*=|@import|url\(|https?://|<script", page)


def test_every_drawing_is_well_formed_and_says_what_it_shows(tmp_path: Path) -> None:
    drawings = svgs(page_of(tmp_path, str(EXAMPLES / "chillies.yaml")))
    labelled = [drawing for drawing in drawings if drawing.get("role") == "img"]
    assert len(labelled) == 2 + 2 + 4  # chart and bars in two sizes each, four ways
    assert all(drawing.get("aria-label") for drawing in labelled)
    assert not any("nan" in ElementTree.tostring(drawing, "unicode") for drawing in drawings)


@pytest.mark.parametrize(
    "options",
    [
        ("--free-flow", "20 m³/h"),
        ("--intake-temperature", "30 °C"),
        ("--free-flow", "187 m³/h", "--intake-temperature", "30 °C", "--intake-humidity", "99 %"),
        ("--free-flow", "187 m³/h", "--on-off", "--filter", "--leaf-area", "0 m²"),
        ("--lamp-power", "0 W"),
        ("--lamp-power", "5 kW", "--free-flow", "187 m³/h"),
        ("--height", "50 cm", "--width", "35 cm", "--depth", "30 cm"),
    ],
)
def test_a_page_is_made_of_every_kind_of_outcome(options: tuple[str, ...], tmp_path: Path) -> None:
    sizes = ("--width", "80 cm", "--depth", "80 cm", "--height", "160 cm", "--lamp-power", "150 W")
    page = page_of(tmp_path, *sizes, *options)
    assert svgs(page)
    shown = re.sub(r"<style>.*?</style>", "", page)
    assert "nan" not in shown.lower()
    assert not re.search(r"\binf\b", shown)


def test_operating_points_lie_on_both_curves() -> None:
    # What the chart draws is the fan and the system of the figures: at each point they agree.
    sizing = Sizing(PLAN)
    density = sizing.density_kg_per_m3
    for row in sizing.speed_rows:
        flow, pressure = row.point.flow_m3_s, row.point.pressure_pa
        assert RIG.curve().pressure_pa(flow, row.point.speed, density) == pytest.approx(pressure)
        assert RIG.system().pressure_drop_pa(flow, density) == pytest.approx(pressure)
    chart = svgs(fan_chart(sizing, "si"))[0]
    circles = [e for e in chart.iter() if e.tag == "circle"]
    assert len(circles) == len(sizing.speed_rows[::-1][::2])
    # Linear scales: the circles' distances are in proportion to flow and pressure.
    at = [(float(c.get("cx", "")), float(c.get("cy", ""))) for c in circles]
    rows = sizing.speed_rows[::-1][::2]
    (x0, y0), (x1, y1), (x2, y2) = at[0], at[1], at[-1]
    p0, p1, p2 = rows[0].point, rows[1].point, rows[-1].point
    share_x = (p0.flow_m3_s - p1.flow_m3_s) / (p0.flow_m3_s - p2.flow_m3_s)
    share_y = (p0.pressure_pa - p1.pressure_pa) / (p0.pressure_pa - p2.pressure_pa)
    assert (x0 - x1) / (x0 - x2) == pytest.approx(share_x, abs=0.002)
    assert (y1 - y0) / (y2 - y0) == pytest.approx(share_y, abs=0.002)


def test_bars_are_as_long_as_the_needs() -> None:
    sizing = Sizing(PLAN)
    bars = [e for e in svgs(need_bars(sizing, "si"))[0].iter() if e.get("class") == "bar"]
    needs = list(sizing.needs().by_name().values())
    lengths = [float(bar.get("width", "")) for bar in bars]
    assert len(lengths) == 4
    for length, need in zip(lengths, needs, strict=True):
        assert length / lengths[1] == pytest.approx(need / needs[1], abs=0.01)


@pytest.mark.parametrize(
    "size", [(0.3, 0.4, 0.6), (0.8, 0.8, 1.6), (0.9, 0.6, 1.8), (4.0, 2.0, 2.2)]
)
def test_drawings_are_to_scale(size: tuple[float, float, float]) -> None:
    plan = replace(PLAN, width_m=size[0], depth_m=size[1], height_m=size[2])
    hardware = Hardware.typical(0.1, has_filter=True)
    for placement in place_all(Sizing(plan), hardware):
        drawing = PlacementDrawing(plan, placement, hardware, "si")
        drawn = ElementTree.fromstring(drawing.drawn("x"))
        parts = {e.get("class"): e for e in drawn.iter() if e.tag == "rect"}

        def px(part: str, side: str, parts: dict[str | None, ElementTree.Element] = parts) -> float:
            return float(parts[part].get(side, ""))

        scale = px("tent", "height") / plan.height_m
        assert px("tent", "width") / scale == pytest.approx(max(size[:2]), rel=0.01)
        assert px("fan", "width") / scale == pytest.approx(hardware.fan_length_m, abs=0.01)
        assert px("filter", "height") / scale == pytest.approx(hardware.filter_diameter_m, abs=0.01)
        floor = px("tent", "y") + px("tent", "height")
        over_floor = (floor - px("lamp", "y")) / scale
        assert over_floor == pytest.approx(placement.lamp_at_most_m, abs=0.01)
        if "lamp lowest" in parts:
            lowest = (floor - px("lamp lowest", "y")) / scale
            assert lowest == pytest.approx(lowest_lamp_m(), abs=0.01)
        width = float((drawn.get("viewBox") or "").split()[2])
        assert max(px(part, "x") + px(part, "width") for part in ("fan", "filter")) <= width


def test_what_stands_outside_is_drawn_outside() -> None:
    hardware = Hardware.typical(0.1, has_filter=True)
    for placement in place_all(Sizing(PLAN), hardware):
        drawn = ElementTree.fromstring(PlacementDrawing(PLAN, placement, hardware, "si").drawn("x"))
        parts = {e.get("class"): e for e in drawn.iter() if e.tag == "rect"}
        wall = float(parts["tent"].get("x", "")) + float(parts["tent"].get("width", ""))
        assert (float(parts["fan"].get("x", "")) < wall) == placement.fan_inside
        assert (float(parts["filter"].get("x", "")) < wall) == placement.filter_inside
    assert len(ARRANGEMENTS) == 4


def test_a_folder_in_the_pages_place_is_said_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["size", str(EXAMPLES / "chillies.yaml"), "--html", str(tmp_path)]) != 0
    assert "it is a folder; name a file" in capsys.readouterr().err
