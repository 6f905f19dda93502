"""The fast loop and the daemon's own tick, on the same days with the same sensors."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import asdict
from math import cos, pi

import pytest
from rehearsal_builders import CHILLIES, LAZY, span

from controller.config import Loaded, settings_from_text
from controller.record import MemoryRecord
from controller.tent_physics import TentPhysics
from simulators.rehearsal import Outcome, Scene, rehearse, scene_in, set_scene
from simulators.rehearsal.daemon_loop import FullRehearsal
from simulators.rehearsal.recorded import Knot, RecordedAir

_RELAY = CHILLIES.replace("drive: pwm, pin: 18", "drive: relay, pin: 18").replace(
    "day_speed: 50 %, night_speed: 20 %", "day_speed: 100 %, night_speed: 0 %"
)
_OWN_LAMP = CHILLIES.replace(
    "lamp: {power: 150 W",
    "lamp: {switched_by: relay, pin: 22, cutout: {above: 31 °C}, power: 150 W",
)


@pytest.mark.parametrize("text", [CHILLIES, LAZY, _RELAY, _OWN_LAMP])
def test_the_fast_loop_decides_as_the_daemon_does(text: str) -> None:
    loaded = settings_from_text(text)
    weather, start_s, until_s = span("coastal-city-2013-07", "2013-07-17", 1)
    _hold_against_each_other(
        loaded, lambda: set_scene(loaded.settings, weather, start_s), start_s, until_s
    )


@pytest.mark.parametrize("knots_s", [97.0, 300.0, 600.0])
def test_it_does_so_in_air_that_changes_in_between_ticks(knots_s: float) -> None:
    """As recorded air does, which a replay draws in: its readings are means of intervals."""
    loaded = settings_from_text(CHILLIES)
    settings = loaded.settings
    _, start_s, until_s = span("coastal-city-2013-07", "2013-07-17", 1)
    rng, knots, at_s = random.Random(4), [], start_s - 30.0
    while at_s < until_s + knots_s:
        warmth = cos((at_s % 86_400.0 / 86_400.0 - 0.6) * 2.0 * pi)
        knots.append(Knot(at_s, 23.5 + 4.0 * warmth + rng.gauss(0.0, 0.2), 55.0 - 10.0 * warmth,
                          24.0, 60.0))  # fmt: skip
        at_s += knots_s

    def scene() -> Scene:
        physics = TentPhysics.from_settings(settings)
        return scene_in(settings, physics, RecordedAir(iter(knots), physics.pressure_pa), ())

    _hold_against_each_other(loaded, scene, start_s, until_s)


def _hold_against_each_other(
    loaded: Loaded, scene: Callable[[], Scene], start_s: float, until_s: float
) -> None:
    quick = rehearse(loaded.settings, scene(), start_s, until_s)
    full = Outcome(start_s, until_s)
    record = MemoryRecord()
    FullRehearsal(loaded, scene(), record, full, tick_s=60.0, seed=1).run()
    assert full.engaged == quick.engaged
    assert full.fan.starts == quick.fan.starts
    assert full.ticks == quick.ticks
    for name in ("temperature", "humidity", "vpd"):
        for ours, theirs in ((full.day, quick.day), (full.night, quick.night)):
            assert asdict(ours[name]) == pytest.approx(asdict(theirs[name]), rel=1e-9)
    for name in ("temperature", "humidity"):
        for ours, theirs in (
            (full.intake_day, quick.intake_day),
            (full.intake_night, quick.intake_night),
        ):
            assert ours[name].to_json() == pytest.approx(theirs[name].to_json(), abs=1.0)
    for mine, other in ((full.peak, quick.peak), (full.trough, quick.trough)):
        assert (mine.value, mine.at_s) == pytest.approx((other.value, other.at_s), rel=1e-12)
    assert full.fan.speed_s == pytest.approx(quick.fan.speed_s, rel=1e-9)
    assert full.fan.energy_j == pytest.approx(quick.fan.energy_j, rel=1e-9)
    for name in ("locked_out_min", "failsafe_min", "lamp_cut_min", "heat_warning_min"):
        assert getattr(full, name) == pytest.approx(getattr(quick, name)), name
    assert full.leaves is not None and quick.leaves is not None
    for phase in ("lit", "dark"):
        for name in ("leaf_c", "leaf_vpd_pa"):
            one, other = (getattr(getattr(shown.leaves, phase), name) for shown in (full, quick))
            assert one.count == other.count > 0
            assert (one.mean, one.lowest, one.highest) == pytest.approx(
                (other.mean, other.lowest, other.highest), rel=1e-9
            )
    assert not any(event.name == "sensor.failed" for event in record.events)
    assert quick.engaged  # days on which something happens
