"""`lungwort size` as a whole, worked out again with psychrolib, fluids and scipy alone."""

from __future__ import annotations

import json
import math
from typing import Any

import fluids
import psychrolib
import pytest
from fluids.fittings import bend_rounded
from scipy.constants import Stefan_Boltzmann
from scipy.optimize import brentq

from controller.__main__ import main

INCH, CFM, INH2O = 0.0254, 0.3048**3 / 60.0, 249.08891
WIDTH, HEIGHT, BORE = 32 * INCH, 63 * INCH, 4 * INCH
TOP_C, INTAKE_C = (75.0 - 32.0) / 1.8, 20.0
LAMP_W, MOTOR_W = 150.0, 22.0 * 0.10  # a tenth of the motor's heat is taken to stay
FREE, RATED = 110 * CFM, 110 * CFM
OPENINGS_M2 = 0.04


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.fixture
def printed(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    options = {
        "width": "32 in", "depth": "32 in", "height": "63 in", "elevation": "300 ft",
        "lamp-power": "150 W", "free-flow": "110 cfm", "max-pressure": "1.2 inH2O",
        "fan-power": "22 W", "duct-diameter": "4 in", "duct-length": "8 ft", "bends": "2",
        "filter-drop": "0.35 inH2O at 110 cfm", "intake-area": "400 cm²", "leaf-area": "1.4 m²",
        "day-high": "75 °F", "intake-temperature": "20 °C", "intake-humidity": "50 %",
        "intake-co2": "420 ppm",
    }  # fmt: skip
    assert main(["size", "--json", *(f"--{name}={value}" for name, value in options.items())]) == 0
    figures: dict[str, Any] = json.loads(capsys.readouterr().out)
    return figures


def _pressure_pa() -> float:
    return float(psychrolib.GetStandardAtmPressure(300 * 0.3048))


def _ratio(t_c: float, rh: float) -> float:
    return float(psychrolib.GetHumRatioFromRelHum(t_c, rh, _pressure_pa()))


def _density() -> float:
    """Of the tent's air at the top of the bands, 70 %."""
    return float(psychrolib.GetMoistAirDensity(TOP_C, _ratio(TOP_C, 0.70), _pressure_pa()))


def _fan_pa(flow: float) -> float:
    return 1.2 * INH2O * (1.0 - (flow / FREE) ** 2) * _density() / 1.204


def _run_pa(flow: float) -> float:
    rho, mu = _density(), 1.825e-5
    velocity = flow / (math.pi * BORE**2 / 4.0)
    reynolds = fluids.Reynolds(V=velocity, D=BORE, rho=rho, mu=mu)
    fd = fluids.friction_factor(Re=reynolds, eD=0.9e-3 / BORE, Method="Colebrook")
    # No exit: its velocity pressure is that at the fan's outlet, which static curves leave out.
    k = fluids.K_from_f(fd=fd, L=8 * 0.3048, D=BORE)
    k += 2 * bend_rounded(Di=BORE, angle=90, fd=fd, bend_diameters=1.0, method="Rennels")
    share = flow / RATED
    carbon = 0.35 * INH2O * (0.4 * share + 0.6 * share**2 * rho / 1.204)
    openings = rho / 2.0 * (flow / (0.61 * OPENINGS_M2)) ** 2
    return float(fluids.dP_from_K(K=k, rho=rho, V=velocity)) + carbon + openings


def test_delivered_flow_and_pressure(printed: dict[str, Any]) -> None:
    flow = brentq(lambda q: _fan_pa(q) - _run_pa(q), 1e-4, FREE)
    assert printed["delivered_m3_per_h"] == pytest.approx(flow * 3600.0, rel=1e-3)
    assert printed["static_pressure_pa"] == pytest.approx(_run_pa(flow), rel=1e-3)


def test_needs_of_heat_and_of_the_rule(printed: dict[str, Any]) -> None:
    # ISO 6946: two films of 0.13 m²K/W; no floor. The rule is common practice, no source.
    ua = (4 * WIDTH * HEIGHT + WIDTH**2) / 0.26
    intake = _ratio(INTAKE_C, 0.50)
    volume = psychrolib.GetMoistAirVolume(TOP_C, intake, _pressure_pa())
    carried = (1006.0 + 1860.0 * intake) / volume
    rise = TOP_C - INTAKE_C
    by_hand = (LAMP_W + MOTOR_W - ua * rise) / (carried * rise)
    assert printed["need_m3_per_h"]["heat"] == pytest.approx(by_hand * 3600.0, rel=1e-3)
    allowed = 1.0 + 2 * 0.20 + 0.25 + 0.10 * 0.150
    rule = WIDTH**2 * HEIGHT / 180.0 * allowed
    assert printed["need_m3_per_h"]["air_change"] == pytest.approx(rule * 3600.0)


def test_settled_air_balances_by_psychrolibs_enthalpy(printed: dict[str, Any]) -> None:
    # What goes in goes out: the lamp's and the motor's heat, the enthalpy of air and of the water
    # that the roots drink at 20 °C, the fabric. Latent heat is held at 20 °C: half a watt of 152.
    settled = printed["settles_at"]
    t_c, humidity = settled["temperature_c"], settled["humidity_pct"] / 100.0
    intake, outlet = _ratio(INTAKE_C, 0.50), _ratio(t_c, humidity)
    flow = printed["delivered_m3_per_h"] / 3600.0
    air_kg_s = flow / psychrolib.GetMoistAirVolume(t_c, outlet, _pressure_pa())
    water_kg_s = air_kg_s * (outlet - intake)
    assert settled["transpiration_kg_per_h"] == pytest.approx(water_kg_s * 3600.0, rel=1e-3)
    drunk_w = water_kg_s * 4186.0 * 20.0
    air_w = air_kg_s * (
        psychrolib.GetMoistAirEnthalpy(t_c, outlet)
        - psychrolib.GetMoistAirEnthalpy(INTAKE_C, intake)
    )
    ua = (4 * WIDTH * HEIGHT + WIDTH**2) / 0.26
    left_w = LAMP_W + MOTOR_W + drunk_w - air_w - ua * (t_c - INTAKE_C)
    assert left_w == pytest.approx(0.0, abs=0.5)


def test_settled_co2_balances(printed: dict[str, Any]) -> None:
    # Moles of air moved per second times the fall in ppm is what 1.4 m² of leaves take up:
    # 4.7–8.6 µmol m⁻² s⁻¹ was measured on lettuce (PMC10322904, table 1); this crop has more light.
    settled = printed["settles_at"]
    moles = (
        printed["delivered_m3_per_h"] / 3600.0
        * _pressure_pa() / (8.314462618 * (settled["temperature_c"] + 273.15))
    )  # fmt: skip
    assert 4.7 <= moles * (420.0 - settled["co2_ppm"]) / 1.4 <= 12.0


def test_leaves_spend_the_light_they_absorb(printed: dict[str, Any]) -> None:
    # 150 W × 2.4 µmol/J × 85 % on the floor; Monsi & Saeki's k 0.7; 4.6 µmol/J; both sides of a
    # leaf radiate (0.95) and warm the air by 0.93 mol m⁻² s⁻¹ of 29.3 J mol⁻¹ K⁻¹.
    settled, leaves_m2, floor_m2 = printed["settles_at"], 1.4, WIDTH**2
    t_c, leaf_c = settled["temperature_c"], settled["leaf_temperature_c"]
    vapour = settled["humidity_pct"] / 100.0 * psychrolib.GetSatVapPres(t_c)
    assert settled["leaf_vpd_pa"] == pytest.approx(
        psychrolib.GetSatVapPres(leaf_c) - vapour, rel=1e-3
    )
    light = LAMP_W * 2.4 * 0.85 * (1.0 - math.exp(-0.7 * leaves_m2 / floor_m2)) / 4.6
    latent = 2.45e6 * settled["transpiration_kg_per_h"] / 3600.0
    radiated = 2.0 * 0.95 * Stefan_Boltzmann * ((leaf_c + 273.15) ** 4 - (t_c + 273.15) ** 4)
    left_w = light - latent - leaves_m2 * (radiated + 29.3 * 0.93 * (leaf_c - t_c))
    assert left_w == pytest.approx(0.0, abs=0.2)
    assert leaf_c < t_c
    low, high = printed["settles_at_range"]["leaf_temperature_c"]
    assert low < leaf_c < high
    film = next(one for one in printed["assumed"] if one["what"] == "leaves' air film")
    assert film["range"] == [0.5, 2.0]
    for row in printed["speeds"]:
        assert row["settles_at"]["leaf_vpd_pa"] > 0.0


def test_an_empty_tent_has_no_leaf_temperature(capsys: pytest.CaptureFixture[str]) -> None:
    bare = ["size", "--width=80 cm", "--depth=80 cm", "--height=160 cm", "--lamp-power=150 W"]
    assert main([*bare, "--leaf-area=0 m²", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["settles_at"]["leaf_temperature_c"] is None
    assert main([*bare, "--full", "--leaf-area=0 m²"]) == 0
    text = capsys.readouterr().out
    assert "leaves settle" not in text
    assert "air film" not in text
    assert main([*bare, "--full", "--leaf-area=1 m²"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "The leaves settle at" in text
    assert "leaves' air film" in text
