"""Simulated tents for learning: a truth that is off its config, and what else may act on it.

The tents are stepped without a daemon, by the config's timetable alone: days take a moment.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import NamedTuple

from tent_bodies import START_S, changed, room_knots

from controller import air
from controller.config import Settings, settings_from_text
from controller.learning.learn import learn
from controller.learning.learned import Learned
from controller.record import ReadingRow
from controller.sensors.data_sheets import figures_for
from controller.tent_physics import TentPhysics
from controller.timetable import Timetable
from simulators.fan import Fan
from simulators.rehearsal.recorded import RecordedAir
from simulators.sensor_error import SensorErrorModel
from simulators.tent import Tent

# The fan turns at half speed while the lamp is lit, rests while it is dark, and purges.
CONFIG = changed(
    ("drive: relay, pin: 17", "drive: pwm, pin: 18"),
    (
        "day_speed: 100 %",
        "day_speed: 50 %, purge: {every: 2 h, length: 5 min, speed: 100 %}",
    ),
)
DAYS = 5.0

TRUE = {
    "wall_w_per_k": 0.75,
    "contents_capacity_j_k": 1.3,
    "infiltration_m3_s": 1.4,
    "leaf_area_m2": 0.7,
}

# What stands in a tent and its config doesn't know: heat [W] and vapour [kg/s] by hour of the day,
# lamp and humidity [%].
Source = Callable[[float, bool, float], tuple[float, float]]


class Act(NamedTuple):
    """What befalls a tent at a time.

    Attributes
    ----------
    leaves, lamp : float
        Times the leaves' area, and the lamp's heat.
    opened_m3_s : float
        Air through a door [m³/s].
    walls_k : float
        By how much the air around the walls is warmer than the air drawn in [K].
    drift_k, drift_pct : float
        What the tent's sensor reads too much [K], [%].
    fan : float
        Times the fan's air.
    """

    leaves: float = 1.0
    lamp: float = 1.0
    opened_m3_s: float = 0.0
    walls_k: float = 0.0
    drift_k: float = 0.0
    drift_pct: float = 0.0
    fan: float = 1.0


USUAL = Act()


def nothing(hour: float, lit: bool, humidity_pct: float) -> tuple[float, float]:
    """No source."""
    return 0.0, 0.0


def as_configured(physics: TentPhysics) -> TentPhysics:
    """A tent that is what its config says."""
    return physics


def off_the_config(physics: TentPhysics) -> TentPhysics:
    """A tent whose figures are `TRUE` times those of its config."""
    return physics._replace(**{name: by * getattr(physics, name) for name, by in TRUE.items()})


def lived(
    text: str = CONFIG,
    days: float = DAYS,
    source: Source = nothing,
    physics: Callable[[TentPhysics], TentPhysics] = as_configured,
    clogging: Callable[[float], float] = lambda day: 1.0,
    acts: Callable[[float], Act] = lambda hours: USUAL,
    room_c: float = 20.0,
) -> tuple[Settings, list[ReadingRow]]:
    """A config and the minutes that its tent lived, by the timetable alone."""
    settings = settings_from_text(text).settings
    body = physics(TentPhysics.from_settings(settings))
    intake = RecordedAir(room_knots(days, mean_c=room_c), body.pressure_pa)
    tent = Tent(body, intake.air_c, intake.ratio)
    fan = Fan(settings, body.density_kg_m3)
    timetable = Timetable.from_settings(settings)
    schedule = settings.schedule
    figures = figures_for("dht22")
    seen_tent, seen_intake = (SensorErrorModel(figures, seed, lost=0.0) for seed in (1, 2))
    rows = []
    act = USUAL
    for minute in range(round(days * 1440.0)):
        before, act = act, acts(minute / 60.0)
        if (act.leaves, act.lamp) != (before.leaves, before.lamp):
            tent = _befallen(tent, body, act)
        at_s = START_S + 60.0 * minute
        if at_s >= intake.until_s:
            intake.go_on(at_s)
        past_s = at_s - intake.from_s
        room_c = intake.air_c + intake.air_c_s * past_s
        room_pct = intake.humidity_pct + intake.humidity_pct_s * past_s
        state = timetable.state(at_s)
        speed = schedule.day_speed if state.in_fan_hours else schedule.night_speed
        if state.purge_on and schedule.purge is not None:
            speed = max(speed, schedule.purge.speed)
        here = seen_tent.observe(at_s, tent.air_c, tent.humidity_pct)
        there = seen_intake.observe(at_s, room_c, room_pct)
        assert here is not None
        assert there is not None
        here_c = here.temperature_c + act.drift_k
        here_pct = min(100.0, max(0.0, here.humidity_pct + act.drift_pct))
        heat_w, water_kg_s = source(minute / 60.0 % 24.0, state.lamp_on, tent.humidity_pct)
        fan.clog(clogging(minute // 360 / 4.0))  # every change of it solves the flows anew
        flow, motor_w = act.fan * fan.flow_m3_s(speed), act.fan * fan.heat_w(speed)
        ratio = air.humidity_ratio(room_c, room_pct, body.pressure_pa)
        parts = 20 if water_kg_s else 1  # vapour comes evenly, and small tents change air quickly
        for _ in range(parts):
            tent.advance(
                flow + act.opened_m3_s,
                state.lamp_on,
                60.0 / parts,
                room_c + act.walls_k,
                room_c,
                ratio,
                motor_w + heat_w,
            )
            if water_kg_s:
                air_kg = body.density_kg_m3 * body.volume_m3
                tent.humidity_ratio += water_kg_s * 60.0 / parts / air_kg
                tent.settle_vapour()
        rows.append(
            ReadingRow(
                at_ms=round(1000.0 * (at_s + 60.0)),
                interval_s=60.0,
                tent_temperature_c=here_c,
                tent_humidity_pct=here_pct,
                intake_temperature_c=there.temperature_c,
                intake_humidity_pct=there.humidity_pct,
                fan_speed=speed,
                fan_on_s=60.0 if speed > 0.0 else 0.0,
                lamp_on=state.lamp_on,
                lamp_on_s=60.0 if state.lamp_on else 0.0,
                in_fan_hours=state.in_fan_hours,
                rule="schedule",
            )
        )
    return settings, rows


def _befallen(tent: Tent, body: TentPhysics, act: Act) -> Tent:
    """The same tent, air and contents as they are, with other leaves or another lamp."""
    physics = body._replace(
        leaf_area_m2=act.leaves * body.leaf_area_m2, lamp_heat_w=act.lamp * body.lamp_heat_w
    )
    after = Tent(physics, tent.air_c, tent.humidity_ratio)
    after.contents_c, after.film_kg = tent.contents_c, tent.film_kg
    return after


@cache
def usual() -> tuple[Settings, tuple[ReadingRow, ...]]:
    """A tent off its config, lived once for all tests."""
    settings, rows = lived(physics=off_the_config)
    return settings, tuple(rows)


@cache
def usually_learned() -> Learned:
    """What is learned of it."""
    return learn(*usual())
