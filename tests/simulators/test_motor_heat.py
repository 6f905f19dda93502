"""The heat a simulated fan leaves in its tent: as sizing reckons it, at the speed it turns at."""

from __future__ import annotations

import pytest
from tent_builders import pepper_tent

from controller.config import Settings, settings_from_text
from controller.sizing.plan import Plan
from simulators.fan import Fan
from simulators.tent import Tent
from simulators.tent.ledger import TentLedger

CONFIG = """\
tent: {name: t, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, free_flow: 190 m³/h, max_pressure: 300 Pa, power: 40 W}
duct: {diameter: 10 cm, length: 2 m, arrangement: ARRANGEMENT}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""
ARRANGEMENTS = (
    "both_inside",
    "fan_inside_filter_outside",
    "filter_inside_fan_outside",
    "both_outside",
)


def config(arrangement: str) -> Settings:
    return settings_from_text(CONFIG.replace("ARRANGEMENT", arrangement)).settings


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
@pytest.mark.parametrize("speed", [0.0, 0.3, 0.5, 1.0])
def test_simulation_and_sizing_agree_on_the_motors_heat(arrangement: str, speed: float) -> None:
    settings = config(arrangement)
    sized_w = Plan.from_settings(settings).fan_heat_in_tent_w(speed, "best")
    assert Fan(settings, 1.19).heat_w(speed) == pytest.approx(sized_w, rel=1e-9)


def test_half_the_speed_leaves_an_eighth_of_the_heat() -> None:
    # The fan laws: power goes with the cube of the speed (ISO 13349, AMCA 201; from memory).
    fan = Fan(config("both_inside"), 1.19)
    assert fan.heat_w(0.5) == pytest.approx(fan.heat_w(1.0) / 8.0)
    assert fan.heat_w(1.0) > 0.0
    assert Fan(config("both_outside"), 1.19).heat_w(1.0) == 0.0


def test_the_tent_gets_it_and_its_books_show_it() -> None:
    physics = pepper_tent(leaf_area_m2=0.0)
    warm, cool = Tent(physics, 22.0, 0.008), Tent(physics, 22.0, 0.008)
    warm.ledger = TentLedger()
    for _ in range(2000):
        warm.advance(0.02, False, 60.0, 22.0, 22.0, 0.008, fan_heat_w=2.5)
        cool.advance(0.02, False, 60.0, 22.0, 22.0, 0.008)
    assert warm.ledger.lamp_j == pytest.approx(2.5 * 2000 * 60.0)
    carried_w_k = 20.0 + 1193.0 * (0.02 + 0.0004)
    assert warm.air_c - cool.air_c == pytest.approx(2.5 / carried_w_k, rel=1e-4)
