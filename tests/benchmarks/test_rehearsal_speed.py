"""A rehearsed year beside the floor: a bare tent model in a plain loop with an on/off rule.

    pytest tests/benchmarks/test_rehearsal_speed.py -s

Figures are printed and never asserted: they depend on the machine. Processor time is compared,
the best of several runs each, in one process.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from math import exp, inf, pi, sin
from pathlib import Path

import simulators.rehearsal
from controller.config import Settings, load_settings
from simulators.rehearsal import Outcome, rehearse, set_scene
from simulators.weather import load_weather

_CONFIG = Path(simulators.rehearsal.__file__).parents[2] / "config" / "chillies.yaml"
_MINUTES = 365 * 1440
_START_S = 1357016400.0  # 2013-01-01 00:00 in New York


def _saturation_pa(t_c: float) -> float:
    return 610.78 * exp(17.27 * t_c / (t_c + 237.3))


def _step(state: tuple[float, float, float], room_c: float, flow: float, lit: bool):  # type: ignore[no-untyped-def]
    """Heat, moisture and CO2 of a tent over a minute, as one would first write it down."""
    air_c, ratio, co2 = state
    vapour_pa = ratio * 101_325.0 / (0.622 + ratio)
    water = (2.1e-8 if lit else 2e-9) * (_saturation_pa(air_c) - vapour_pa)
    heat = (150.0 if lit else 0.0) - (20.0 + 1200.0 * flow) * (air_c - room_c) - 2.45e6 * water
    uptake = 0.4 * co2 / (co2 + 300.0) if lit else -0.02
    return (
        air_c + heat * 60.0 / 30_000.0,
        ratio + (water - 1.2 * flow * (ratio - 0.008)) * 20.0,
        co2 + (flow * (430.0 - co2) - uptake) * 20.0,
    )


def bare_year() -> float:
    """A year of minutes of a bare tent with a lamp and an on/off rule, and nothing else."""
    state, running, hottest = (22.0, 0.008, 450.0), False, 0.0
    room_c = [20.0 + 4.0 * sin(2.0 * pi * hour / 8760.0) for hour in range(8760)]
    for minute in range(_MINUTES):
        if state[0] > 24.0:
            running = True
        elif state[0] < 23.0:
            running = False
        state = _step(state, room_c[minute // 60], 0.04 if running else 0.0005, minute % 1440 < 960)
        if state[0] > hottest:
            hottest = state[0]
    return hottest


def _rehearsed_year(settings: Settings) -> Outcome:
    weather = load_weather("airfield-2013")
    until_s = _START_S + 60.0 * _MINUTES
    covered = weather.covering(_START_S, until_s)
    return rehearse(settings, set_scene(settings, covered, _START_S), _START_S, until_s)


def _spent_s(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def _without_purges(settings: Settings) -> Settings:
    schedule = settings.schedule.changed(purge=None)
    return settings.changed(schedule=schedule)


def test_a_rehearsed_year_beside_the_floor() -> None:
    example = load_settings(_CONFIG).settings
    years = {
        "as in the example, with a purge every two hours": example,
        "without the purges": _without_purges(example),
    }
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    floor_s, spent_s = inf, dict.fromkeys(years, inf)
    for _ in range(4):  # in turns, since other work on the machine slows them all down
        floor_s = min(floor_s, _spent_s(bare_year))
        for name, settings in years.items():
            spent_s[name] = min(spent_s[name], _spent_s(lambda s=settings: _rehearsed_year(s)))  # type: ignore[misc]
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb
    print(f"\nfloor, a bare loop over a year of minutes: {floor_s:.2f} s")
    for name, year_s in spent_s.items():
        print(
            f"a rehearsed year {name}: {year_s:.2f} s, {year_s / _MINUTES * 1e6:.2f} µs a tick, "
            f"{year_s / floor_s:.1f} times the floor (target 10)"
        )
    print(f"memory grown by them: {grown_kb / 1024:.1f} MB")
    assert min(spent_s.values()) > 0.0
