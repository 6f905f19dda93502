"""What each failure does to the fan, for every way to wire one."""

from __future__ import annotations

import pytest

from controller.config import Settings, settings_from_text
from controller.outputs.failures import failure_notes, fan_failures, runs_undriven

BASE = """\
tent: {name: Test, width: 60 cm, depth: 60 cm, height: 120 cm}
place: {timezone: Europe/Rome}
lamp: {LAMPpower: 100 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {FAN}
failsafe: {speed: FAILSAFE}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""
OWN_LAMP = "switched_by: relay, pin: 27, "


def settings(fan: str, lamp: str = "", failsafe: str = "100 %") -> Settings:
    text = BASE.replace("LAMP", lamp).replace("FAN", fan, 1).replace("FAILSAFE", failsafe)
    return settings_from_text(text).settings


def speeds(config: Settings) -> dict[str, float | None]:
    return {row.failure: row.speed for row in fan_failures(config)}


@pytest.mark.parametrize(
    ("fan", "pi_dead", "starting", "undriven"),
    [
        ("drive: relay, pin: 17", 0.0, 0.0, 0.0),
        ("drive: relay, pin: 17, contact: normally_closed", 1.0, 1.0, 1.0),
        # GPIO 0-8 pull themselves up at boot, 9-27 down: an active-low relay wants the former.
        ("drive: relay, pin: 17, active_low: true, contact: normally_closed", 1.0, None, 1.0),
        ("drive: relay, pin: 5, active_low: true, contact: normally_closed", 1.0, 1.0, 1.0),
        ("drive: relay, pin: 5, contact: normally_closed", 1.0, None, 1.0),
        ("drive: pwm, pin: 17", 0.0, 0.0, 0.0),
        ("drive: pwm, pin: 8", 0.0, None, 0.0),
        ("drive: pwm, pin: 17, active_low: true", 1.0, 1.0, 1.0),
        # GPIO 2 and 3 are pulled up by 1.8 kΩ on the board: 10 kΩ to ground leave 2.8 V there.
        ("drive: pwm, pin: 2", 0.0, 1.0, 0.0),
        ("drive: pwm, pin: 3, active_low: true", 1.0, 0.0, 1.0),
        ("drive: relay, pin: 3", 0.0, 1.0, 0.0),
        ("drive: relay, pin: 2, contact: normally_closed", 1.0, 0.0, 1.0),
        ("drive: relay, pin: 2, active_low: true", 0.0, 0.0, 0.0),
        ("drive: hardware_pwm, pin: 18, active_low: true", 1.0, 1.0, 1.0),
        # The kernel's driver holds the wire low; what a dead pin does to it nobody knows.
        ("drive: hardware_pwm, pin: 18", None, 0.0, None),
        # Without power a converter gives 0 V; what an EC fan does then is its own affair.
        ("drive: dac, dac: {device: mcp4725, raw_full: 4095}", None, None, None),
        ("drive: dac, dac: {device: mcp4725, raw_off: 4095, raw_full: 0}", 1.0, None, None),
    ],
)
def test_the_wiring_decides_when_nothing_drives_the_pin(
    fan: str, pi_dead: float | None, starting: float | None, undriven: float | None
) -> None:
    found = speeds(settings(fan))
    assert (found["pi_dead"], found["starting"], found["undriven"]) == (pi_dead, starting, undriven)


@pytest.mark.parametrize(
    ("fan", "lamp", "stopped", "fault"),
    [
        ("drive: relay, pin: 17", "", 1.0, 1.0),
        ("drive: relay, pin: 17", OWN_LAMP, 0.0, 1.0),
        ("drive: pwm, pin: 17", "", 1.0, 1.0),  # pulses end with the process: full speed
        ("drive: pwm, pin: 17", OWN_LAMP, 0.0, 1.0),
        ("drive: hardware_pwm, pin: 18, active_low: true", "", 0.6, 0.6),
        ("drive: hardware_pwm, pin: 18, active_low: true", OWN_LAMP, 0.0, 0.6),
        ("drive: dac, dac: {device: mcp4725, raw_full: 4095}", "", 0.6, 0.6),
    ],
)
def test_a_stopped_daemon_leaves_the_fan_parked(
    fan: str, lamp: str, stopped: float, fault: float
) -> None:
    found = speeds(settings(fan, lamp, "100 %" if "relay" in fan else "60 %"))
    assert (found["stopped"], found["fault"]) == (stopped, fault)


def test_a_pin_that_pulls_itself_the_wrong_way_is_reported_with_the_remedy() -> None:
    rows = {r.failure: r for r in fan_failures(settings("drive: relay, pin: 17, active_low: true"))}
    assert "GPIO 17 pulls itself down" in rows["starting"].why
    assert "pull-up of 10 kΩ, or use GPIO 4 to 8" in rows["starting"].why


def test_a_fan_that_stands_under_a_lamp_on_its_own_timer_is_reported() -> None:
    for fan in (
        "drive: relay, pin: 17",
        "drive: pwm, pin: 17",
        "drive: hardware_pwm, pin: 18",
        "drive: dac, dac: {device: mcp4725, raw_full: 4095}",
    ):
        assert any("lamp stays on" in note for note in failure_notes(settings(fan)))
        assert not any("lamp stays on" in note for note in failure_notes(settings(fan, OWN_LAMP)))
    running = settings("drive: relay, pin: 17, contact: normally_closed")
    assert runs_undriven(running.fan)
    assert not any("lamp stays on" in note for note in failure_notes(running))
