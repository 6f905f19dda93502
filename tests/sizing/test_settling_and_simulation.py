"""The settled air of planning is where the simulated tent comes to rest: two ways, one answer."""

from __future__ import annotations

import datetime as dt

import pytest

from controller import air
from controller.config import settings_from_text
from controller.sizing.assess import Sizing
from controller.sizing.plan import Plan
from controller.tent_physics import TentPhysics
from controller.timetable import Timetable
from simulators.rehearsal import rehearse, set_scene
from simulators.tent import Tent
from simulators.weather import load_weather

CONFIG = """
tent: {width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 200 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: hardware_pwm, pin: 18, free_flow: 187 m³/h, max_pressure: 300 Pa, power: 25 W}
sensors: [{name: tent, role: tent, driver: simulated}]
duct: {diameter: 100 mm, length: 2 m, bends: 2, arrangement: both_outside}
crop: {kind: tomato, leaf_area: 1.2 m²}
"""

MOUNTAIN = """
tent: {width: 3 m, depth: 3 m, height: 2 m, elevation: 2000 m}
place: {timezone: Europe/Rome}
lamp: {power: 1200 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: hardware_pwm, pin: 18, free_flow: 1400 m³/h, max_pressure: 500 Pa, power: 150 W}
sensors: [{name: tent, role: tent, driver: simulated}]
duct: {diameter: 250 mm, length: 2 m, bends: 2, arrangement: both_outside}
crop: {kind: tomato, plants: 12, stage: fruiting}
"""


@pytest.mark.parametrize("config", [CONFIG, MOUNTAIN], ids=["small", "mountain"])
@pytest.mark.parametrize("speed", [0.5, 1.0])
@pytest.mark.parametrize("lit", [True, False])
def test_a_simulated_tent_comes_to_rest_where_planning_says(
    config: str, speed: float, lit: bool
) -> None:
    # The tent model steps an air node and a contents node through time and adds leakage to the
    # fan's flow; planning solves the balances at once. Both share the leaves and the fabric.
    settings = settings_from_text(config).settings
    plan = Plan.from_settings(settings)
    planned = Sizing(plan).settled(speed, lit)
    flow = Sizing(plan).point(speed).flow_m3_s
    intake_c, intake_pct = plan.intake_temperature_c.best, plan.intake_rh_pct.best
    ratio = air.humidity_ratio(intake_c, intake_pct, plan.pressure_pa)
    tent = Tent(TentPhysics.from_settings(settings), 22.0, 0.008, plan.intake_ppm.best)
    for _ in range(24 * 60):
        tent.advance(flow, lit, 60.0, intake_c, intake_c, ratio)
    assert tent.air_c == pytest.approx(planned.temperature_c, abs=0.2)
    assert tent.humidity_pct == pytest.approx(planned.humidity_pct, abs=1.0)
    assert tent.co2_ppm == pytest.approx(planned.co2_ppm, abs=5.0)


@pytest.mark.parametrize(
    ("drive", "lit", "quiet", "purge"),
    [
        ("pwm", ("06:00", "22:00"), ("22:00", "07:00", "40 %"), ""),
        (
            "pwm",
            ("20:00", "12:00"),
            ("21:30", "06:30", "10 %"),
            ", purge: {every: 1 h, length: 6 min}",
        ),
        ("relay", ("06:00", "00:00"), ("23:00", "05:00", "0 %"), ""),
        ("relay", ("06:00", "06:00"), ("13:00", "15:30", "0 %"), ""),
    ],
)
def test_the_schedules_energy_is_that_of_a_rehearsal_quiet_hours_included(
    drive: str, lit: tuple[str, str], quiet: tuple[str, str, str], purge: str
) -> None:
    """Over two days to 1 %, by the timetable's own walk through them, minute by minute."""
    on, off = lit
    begins, ends, speed = quiet
    settings = settings_from_text(f"""\
tent: {{name: t, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: America/New_York}}
lamp: {{power: 100 W, photoperiod: {{on: "{on}", off: "{off}"}}}}
fan: {{drive: {drive}, pin: 18, free_flow: 187 m³/h, max_pressure: 300 Pa, power: 26 W}}
schedule: {{day_speed: 100 %, night_speed: {0 if drive == "relay" else 30} %{purge}}}
quiet: {{from: "{begins}", to: "{ends}", speed: {speed}}}
sensors: [{{name: a, role: tent, driver: dht22, pin: 4}}]
""").settings
    start_s = Timetable.from_settings(settings).day(dt.date(2013, 5, 25)).start_s
    weather = load_weather("airfield-2013").covering(start_s, start_s + 2 * 86_400.0)
    scene = set_scene(settings, weather, start_s)
    outcome = rehearse(settings, scene, start_s, start_s + 2 * 86_400.0)
    energy = Sizing(Plan.from_settings(settings)).energy
    assert energy is not None
    assert energy.fan_kwh == pytest.approx(
        365.0 / 2.0 * outcome.schedule_alone.energy_kwh, rel=0.01
    )
