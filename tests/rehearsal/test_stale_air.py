"""A rehearsed tent in still air uses up its carbon dioxide, and too stale brings it back."""

from __future__ import annotations

import pytest
from rehearsal_builders import CHILLIES, span

from controller.config import settings_from_text
from controller.control import Decision, Memory, Now, Readings, Rule, Rules, decide
from controller.record import MemoryRecord
from simulators.rehearsal import rehearse, rehearse_fully, set_scene
from simulators.rehearsal.loop import RehearsalLoop, tick_rules
from simulators.rehearsal.outcome import Outcome

_WIDE = "{temperature: [5 °C, 45 °C], humidity: [5 %, 98 %], vpd: [0 kPa, 5 kPa]}"
# A fan that rests, and bands so wide that nothing but carbon dioxide can start it.
STILL = CHILLIES.replace("driver: dht22, pin: 4", "driver: iio, device: scd41").replace(
    "day_speed: 50 %, night_speed: 20 %", "day_speed: 0 %, night_speed: 0 %"
)
BANDS = f"""
targets:
  {{day: {_WIDE}, night: {_WIDE}, heat_warning: 45 °C, dew_point_margin: 0 K, low_co2: 300 ppm}}
alarms: {{severe_heat: 50 °C}}
"""


def day_of(text: str, *, use_shortcut: bool) -> tuple[Outcome, list[float]]:
    """A winter's day, and the carbon dioxide of the lit minutes in which `decide` was asked."""
    config = settings_from_text(text).settings
    weather, start_s, until_s = span("airfield-2013", "2013-01-10", 1)
    lit_ppm: list[float] = []

    def watch(now: Now, readings: Readings, rules: Rules, memory: Memory) -> Decision:
        if now.lamp_on:
            assert readings.tent is not None
            assert readings.tent.co2_ppm is not None
            lit_ppm.append(readings.tent.co2_ppm)
        return decide(now, readings, rules, memory)

    scene = set_scene(config, weather, start_s)
    outcome = Outcome(start_s, until_s)
    RehearsalLoop(
        config,
        tick_rules(config, 60.0),
        scene,
        outcome,
        tick_s=60.0,
        seed=1,
        targets=config.targets,
        use_shortcut=use_shortcut,
        decider=watch,
    ).run()
    return outcome, lit_ppm


@pytest.fixture(scope="module")
def plain() -> tuple[Outcome, list[float]]:
    return day_of(STILL + BANDS, use_shortcut=False)


def test_the_fan_brings_back_what_the_leaves_took(plain: tuple[Outcome, list[float]]) -> None:
    outcome, lit_ppm = plain
    assert set(outcome.engaged) == {Rule.TOO_STALE}
    asleep = (STILL + BANDS).replace("low_co2: 300 ppm", "low_co2: 100 ppm")
    without, without_ppm = day_of(asleep, use_shortcut=False)
    assert not without.engaged
    assert without.fan.hours == 0.0
    assert sum(without_ppm) / len(without_ppm) < 200.0  # only leakage brings any
    assert sum(lit_ppm) / len(lit_ppm) > 300.0
    assert min(lit_ppm[60:]) > 250.0  # what five minutes of delay may cost
    assert outcome.fan.hours < 3.0


def test_the_daemons_own_tick_sees_and_does_the_same() -> None:
    loaded = settings_from_text(STILL + BANDS)
    weather, start_s, _ = span("airfield-2013", "2013-01-10", 1)
    until_s, record = start_s + 9 * 3600.0, MemoryRecord()
    full, quick = (
        run(set_scene(loaded.settings, weather, start_s))
        for run in (
            lambda scene: rehearse_fully(loaded, scene, start_s, until_s, record),
            lambda scene: rehearse(loaded.settings, scene, start_s, until_s),
        )
    )
    assert full.engaged[Rule.TOO_STALE] > 3
    assert full.engaged == quick.engaged
    assert full.fan.hours == pytest.approx(quick.fan.hours)
    released = [e.data for e in record.events if e.name == "override.released"]
    assert {event["unit"] for event in released} == {"ppm"}


def test_the_shortcut_changes_nothing(plain: tuple[Outcome, list[float]]) -> None:
    quick, asked_ppm = day_of(STILL + BANDS, use_shortcut=True)
    assert len(asked_ppm) < 0.9 * len(plain[1])  # it is taken at all
    assert quick == plain[0]
