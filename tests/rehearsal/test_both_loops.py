"""The fast loop and the daemon's own tick, on the same days with the same sensors."""

from __future__ import annotations

from pathlib import Path

import pytest
from rehearsal_builders import CHILLIES, span

from controller.record import MemoryRecord
from controller.settings import settings_from_text
from simulators.rehearsal import Outcome, rehearse, set_scene
from simulators.rehearsal.full import FullRehearsal

_RELAY = CHILLIES.replace("drive: pwm, pin: 18", "drive: relay, pin: 18").replace(
    "day_speed: 50 %, night_speed: 20 %", "day_speed: 100 %, night_speed: 0 %"
)
_OWN_LAMP = CHILLIES.replace(
    "lamp: {power: 150 W",
    "lamp: {switched_by: relay, pin: 22, cutout: {above: 31 °C}, power: 150 W",
)


@pytest.mark.parametrize("text", [CHILLIES, _RELAY, _OWN_LAMP])
def test_the_fast_loop_decides_as_the_daemon_does(text: str, tmp_path: Path) -> None:
    loaded = settings_from_text(text)
    weather, start_s, until_s = span("coastal-city-2013-07", "2013-07-16", 4)
    quick = rehearse(
        loaded.settings, set_scene(loaded.settings, weather, start_s), start_s, until_s
    )
    full = Outcome(start_s, until_s)
    record = MemoryRecord()
    FullRehearsal(
        loaded,
        set_scene(loaded.settings, weather, start_s),
        record,
        full,
        tick_s=60.0,
        seed=1,
    ).run()
    assert full.engaged == quick.engaged
    assert full.fan.starts == quick.fan.starts
    assert full.ticks == quick.ticks
    for name in ("temperature", "humidity", "vpd"):
        assert full.day[name] == quick.day[name]
        assert full.night[name] == quick.night[name]
    for ours, theirs in ((full.peak, quick.peak), (full.trough, quick.trough)):
        assert (ours.value, ours.at_s) == pytest.approx((theirs.value, theirs.at_s), rel=1e-12)
    assert full.fan.speed_s == pytest.approx(quick.fan.speed_s, rel=1e-9)
    assert full.fan.energy_j == pytest.approx(quick.fan.energy_j, rel=1e-9)
    for name in ("withheld_min", "failsafe_min", "lamp_cut_min", "heat_warning_min"):
        assert getattr(full, name) == pytest.approx(getattr(quick, name)), name
    assert not any(event.name == "sensor.failed" for event in record.events)
    assert quick.engaged  # days on which something happens
