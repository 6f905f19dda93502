"""What the controller sees of a simulated tent, one look a tick."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.control import Reading
from controller.control.plausibility import MEDIAN_COUNT, Role, combine
from controller.control.types import SensorReading
from controller.kernel_sensors import measures, measures_co2
from controller.sensors.data_sheets import figures_for, profile_of
from simulators.sensor_error import Look, SensorErrorModel

if TYPE_CHECKING:
    from collections.abc import Callable

    from controller.config import Settings
    from controller.config.sections.sensors import Sensor


# Standard error of the median of five normal values, over that of one (from memory; for large n
# it is 1.2533/sqrt(n): Kenney & Keeping, Mathematics of Statistics, part 2, 1951).
_MEDIAN_OF_FIVE = 0.5356
# With ticks shorter than this, a look is one measurement, as in the daemon.
_SINGLE_BELOW_S = 10.0


def sensor_model(settings: Settings, sensor: Sensor, seed: int, tick_s: float) -> SensorErrorModel:
    """Make the errors of a configured sensor, as they show from tick to tick.

    A rehearsed tick of a minute stands for two dozen measurements. That single ones get lost does
    not show then, and the noise is that of the median the daemon takes. A configured offset is
    taken to be right: the sensor errs by as much the other way.
    """
    figures = figures_for(sensor.driver, sensor.device)
    if tick_s >= _SINGLE_BELOW_S:
        assert MEDIAN_COUNT == 5
        figures = figures._replace(
            repeatability_k=figures.repeatability_k * _MEDIAN_OF_FIVE,
            repeatability_pct=figures.repeatability_pct * _MEDIAN_OF_FIVE,
            lost=0.0,
        )
    number = [s.name for s in settings.sensors].index(sensor.name)
    model = SensorErrorModel(figures, seed=1000 * seed + number)
    model.bias_k -= sensor.temperature_offset_k
    model.bias_pct -= sensor.humidity_offset_pct
    return model


def sense(settings: Settings, role: Role, seed: int, tick_s: float) -> Look | None:
    """Make the combined sense of all sensors in one place; None where there is none.

    What these models give is plausible by construction (no fault, nothing lost), so it is not
    judged again each tick; tests/rehearsal/test_senses.py holds them against the daemon's own way.
    """
    sensors = [sensor for sensor in settings.sensors if sensor.role == role]
    if not sensors:
        return None
    looks = [
        sensor_model(settings, sensor, seed, tick_s).look(
            sensor.temperature_offset_k, sensor.humidity_offset_pct
        )
        for sensor in sensors
    ]
    if len(looks) == 1 and tick_s >= _SINGLE_BELOW_S:
        return looks[0]  # nothing gets lost: see `sensor_model`
    profiles = [profile_of(sensor) for sensor in sensors]
    humid = ["humidity" in measures(s.driver, s.device, s.role) for s in sensors]
    latest: list[SensorReading | None] = [None] * len(looks)

    def look_at_all(now_s: float, air_c: float, humidity_pct: float) -> Reading | None:
        for i, look in enumerate(looks):
            seen = look(now_s, air_c, humidity_pct)
            if seen is not None:
                at_s, seen_c, seen_pct, _ = seen
                latest[i] = SensorReading(at_s, seen_c, seen_pct if humid[i] else None)
        pairs = zip(latest, profiles, strict=True)
        return combine(role, [(reading, profile) for reading, profile in pairs if reading])

    return look_at_all


def with_co2(look: Look, settings: Settings, role: Role, co2_ppm: Callable[[], float]) -> Look:
    """Add the carbon dioxide of a place, without an error, where a sensor there measures it."""
    if not measures_co2(settings, role):
        return look

    def look_at_all(now_s: float, air_c: float, humidity_pct: float) -> Reading | None:
        seen = look(now_s, air_c, humidity_pct)
        return None if seen is None else seen._replace(co2_ppm=float(round(co2_ppm())))

    return look_at_all
