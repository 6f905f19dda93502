"""What a rehearsal sees of its tent is what the daemon would make of the same sensors."""

from __future__ import annotations

from math import sin

import pytest
from rehearsal_builders import CHILLIES

from controller.config import settings_from_text
from controller.control.plausibility import FRESH, judge, trusted
from controller.sensors.data_sheets import profile_of
from simulators.rehearsal.senses import sense, sensor_model

TWINS = CHILLIES.replace(
    "sensors:\n", "sensors:\n  - {name: corner, role: tent, driver: hwmon, device: sht4x}\n"
)
OFFSET = CHILLIES.replace(
    "driver: dht22, pin: 4}", "driver: dht22, pin: 4, temperature_offset: -1.5 K}"
)


def weather(minute: int) -> tuple[float, float]:
    return 24.0 + 6.0 * sin(minute / 90.0), 55.0 + 20.0 * sin(minute / 70.0)


def test_what_is_seen_never_fails_the_daemons_plausibility_and_is_the_same_reading() -> None:
    settings = settings_from_text(CHILLIES).settings
    sensor = settings.sensors[0]
    profile, history = profile_of(sensor), FRESH
    model, seen_by = sensor_model(settings, sensor, 1, 60.0), sense(settings, "tent", 1, 60.0)
    assert seen_by is not None
    for minute in range(14 * 1440):
        at_s, air = 60.0 * minute, weather(minute)
        measurement = model.observe(at_s, *air)
        assert measurement is not None
        fault, history = judge(profile, history, at_s, measurement, True)
        assert fault is None
        reading = trusted(profile, history)
        assert reading is not None
        assert reading == seen_by(at_s, *air)


def test_a_configured_offset_puts_a_wrong_sensor_right() -> None:
    plain, offset = (settings_from_text(t).settings for t in (CHILLIES, OFFSET))
    senses = [sense(settings, "tent", 1, 60.0) for settings in (plain, offset)]
    for minute in range(500):
        seen = [look(60.0 * minute, *weather(minute)) for look in senses if look]
        assert seen[0] is not None
        assert seen[1] is not None
        assert seen[1].temperature_c == pytest.approx(seen[0].temperature_c, abs=0.11)


def test_twins_are_combined() -> None:
    settings = settings_from_text(TWINS).settings
    seen_by = sense(settings, "tent", 1, 60.0)
    assert seen_by is not None
    reading = seen_by(0.0, 25.0, 60.0)
    assert reading is not None
    assert reading.temperature_c == pytest.approx(25.0, abs=0.6)
    assert (
        sense(settings_from_text(TWINS.split("  - {name: room")[0]).settings, "intake", 1, 60.0)
        is None
    )
