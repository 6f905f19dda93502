"""What a rehearsal sees of its tent is what the daemon would make of the same sensors."""

from __future__ import annotations

from math import sin

import pytest
from rehearsal_builders import CHILLIES

from controller.readings import FRESH, judge, trusted
from controller.sensors.profiles import profile_of
from controller.settings import settings_from_text
from simulators.rehearsal.senses import sense, sensor_model
from simulators.sensor_error import DHT11, DHT22, SHT, SensorErrorModel

TWINS = CHILLIES.replace(
    "sensors:\n", "sensors:\n  - {name: corner, role: tent, driver: hwmon, device: sht4x}\n"
)
OFFSET = CHILLIES.replace(
    "driver: dht22, pin: 4}", "driver: dht22, pin: 4, temperature_offset: -1.5 K}"
)


def weather(minute: int) -> tuple[float, float]:
    return 24.0 + 6.0 * sin(minute / 90.0), 55.0 + 20.0 * sin(minute / 70.0)


@pytest.mark.parametrize("figures", [DHT22, DHT11, SHT])
def test_looking_at_a_steady_beat_gives_what_looking_at_any_time_gives(figures) -> None:  # type: ignore[no-untyped-def]
    any_time, steady = SensorErrorModel(figures, 7), SensorErrorModel(figures, 7).steady(60.0)
    lost = 0
    for minute in range(20_000):
        air = weather(minute)
        seen, looked = any_time.observe(60.0 * minute, *air), steady.look(60.0 * minute, *air)
        assert (seen is None) is (looked is None)
        if seen is None or looked is None:
            lost += 1
        else:
            assert (looked.temperature_c, looked.humidity_pct) == seen
    assert 0 < lost < 4000


@pytest.mark.parametrize("figures", [DHT22, DHT11, SHT])
def test_a_sensor_that_was_passed_by_reads_as_one_that_was_looked_at(figures) -> None:  # type: ignore[no-untyped-def]
    model = figures._replace(lost=0.0)
    looked_at, passed_by = (SensorErrorModel(model, 7).steady(60.0) for _ in range(2))
    minute, differing = 0, 0
    while minute < 20_000:
        stretch = [weather(m) for m in range(minute, minute + 1 + minute % 37)]
        low, high = (
            passed_by.between(
                60.0 * minute,
                60.0 * (minute + len(stretch)),
                *(edge(values) for values in zip(*stretch, strict=True) for edge in (min, max)),
            )
            if minute
            else (None, None)
        )
        for i, air in enumerate(stretch):
            seen = looked_at.look(60.0 * (minute + i), *air)
            assert seen is not None
            if low is not None and high is not None:
                assert low.temperature_c <= seen.temperature_c <= high.temperature_c
                assert low.humidity_pct <= seen.humidity_pct <= high.humidity_pct
        if minute:
            passed_by.pass_by(
                len(stretch), *(list(values) for values in zip(*stretch, strict=True))
            )
            minute += len(stretch)
        else:
            passed_by.look(0.0, *stretch[0])
            minute = 1
        air = weather(minute)
        differing += looked_at.look(60.0 * minute, *air) != passed_by.look(60.0 * minute, *air)
        minute += 1
    assert differing == 0


@pytest.mark.parametrize("figures", [DHT22, DHT11, SHT])
def test_readings_asked_for_one_by_one_are_those_of_single_looks(figures) -> None:  # type: ignore[no-untyped-def]
    """Walked in stretches that are broken off now and then, over several passes of the tables."""
    model = figures._replace(lost=0.0)
    looked, walked = (SensorErrorModel(model, 7).steady(60.0) for _ in range(2))
    assert looked.look(0.0, *weather(0)) == walked.look(0.0, *weather(0))
    minute = 1
    while minute < 20_000:
        stretch = [weather(m) for m in range(minute, minute + 1 + minute % 37)]
        asked = min(len(stretch), 1 + minute % 11)
        readings = walked.walk(60.0 * minute, *(list(v) for v in zip(*stretch, strict=True)))
        for i, air in enumerate(stretch[:asked]):
            assert next(readings) == looked.look(60.0 * (minute + i), *air)
        minute += asked


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
        assert trusted(profile, history) == seen_by.look(at_s, *air)


def test_a_configured_offset_puts_a_wrong_sensor_right() -> None:
    plain, offset = (settings_from_text(t).settings for t in (CHILLIES, OFFSET))
    senses = [sense(settings, "tent", 1, 60.0) for settings in (plain, offset)]
    for minute in range(500):
        seen = [one.look(60.0 * minute, *weather(minute)) for one in senses if one]
        assert seen[0] is not None
        assert seen[1] is not None
        assert seen[1].temperature_c == pytest.approx(seen[0].temperature_c, abs=0.11)


def test_twins_are_combined() -> None:
    settings = settings_from_text(TWINS).settings
    seen_by = sense(settings, "tent", 1, 60.0)
    assert seen_by is not None
    reading = seen_by.look(0.0, 25.0, 60.0)
    assert reading is not None
    assert reading.temperature_c == pytest.approx(25.0, abs=0.6)
    assert (
        sense(settings_from_text(TWINS.split("  - {name: room")[0]).settings, "intake", 1, 60.0)
        is None
    )
