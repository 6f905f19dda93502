"""What commissioning says of each kind of sensor by itself."""

from __future__ import annotations

import pytest

from controller.commissioning.sensors_step import Heard, judge_sensors
from controller.config import settings_from_text
from controller.control.types import SensorReading
from controller.sensors.array import SensorState

HEAD = """
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome, units: si}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {pin: 18}
"""
DHT22 = "{name: canopy, role: tent, driver: dht22, pin: 4}"
SCD41 = "{name: canopy, role: tent, driver: iio, device: scd41}"
DS18B20 = "{name: pot, role: tent, driver: w1, device: 28-0316a2795cd1}"


def heard(name: str, driver: str, co2_ppm: float | None = None, failures: int = 0) -> Heard:
    answer = Heard(name, "tent", driver)
    for second in range(40):
        reading = SensorReading(float(second), 22.0, 55.0, co2_ppm)
        answer.take(SensorState(name, "tent", driver, reading, 0.0, None, "", failures))
    return answer


def said(sensors: str, *answers: Heard) -> list[tuple[str, str]]:
    settings = settings_from_text(f"{HEAD}sensors: [{sensors}]\n").settings
    result = judge_sensors(answers, settings, together=True, hygrometer_pct=55.0)
    return [(finding.grade, finding.text) for finding in result.findings]


@pytest.mark.parametrize(
    ("co2_ppm", "grade", "text"),
    [
        (455.0, "fine", "CO2 of canopy: 455 ppm."),
        (
            330.0,
            "advice",
            "CO2 of canopy: 330 ppm, less than outdoor air has (about 420 ppm): unless leaves just "
            "took it up in the light, its calibration is off. Hold it into outdoor air and look.",
        ),
    ],
)
def test_what_a_sensor_of_co2_shows_is_held_against_outdoor_air(
    co2_ppm: float, grade: str, text: str
) -> None:
    assert (grade, text) in said(SCD41, heard("canopy", "iio", co2_ppm))


def test_a_sensor_without_co2_is_not_judged_by_it() -> None:
    assert not any("CO2" in text for _, text in said(DHT22, heard("canopy", "dht22")))


@pytest.mark.parametrize(
    ("sensors", "driver", "remedy"),
    [
        (DHT22, "dht22", "the pull-up resistor on its data line"),
        (SCD41, "iio", "all four wires of the I²C bus"),
    ],
)
def test_a_sensor_that_often_fails_gets_the_remedy_of_its_wire(
    sensors: str, driver: str, remedy: str
) -> None:
    (advice,) = [
        text
        for grade, text in said(sensors, heard("canopy", driver, failures=90))
        if "failed" in text
    ]
    assert remedy in advice


def test_a_thermometer_that_often_fails_has_one_resistor_for_its_bus() -> None:
    answers = heard("canopy", "dht22"), heard("pot", "w1", failures=90)
    texts = [text for _, text in said(f"{DHT22}, {DS18B20}", *answers)]
    assert any("4.7 kΩ" in text and "pot failed" in text for text in texts)
