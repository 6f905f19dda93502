"""What the controller sees of a simulated tent, one look a tick."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from controller.decision import Reading
from controller.readings import MEDIAN_COUNT, Role, combine
from controller.sensors.profiles import profile_of
from simulators.sensor_error import SensorErrorModel, figures_for
from simulators.steady_sensor import SteadySensor

if TYPE_CHECKING:
    from controller.settings import Settings
    from controller.settings.sections.sensors import Sensor


class Sense(NamedTuple):
    """What is seen of one place.

    Attributes
    ----------
    look : callable
        Gives the reading at (monotonic time [s], true temperature [°C], true humidity [%]).
    sensor : SteadySensor or None
        The one sensor there, if it may be passed by when its reading cannot matter.
    """

    look: Callable[[float, float, float], Reading | None]
    sensor: SteadySensor | None = None


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


def sense(settings: Settings, role: Role, seed: int, tick_s: float) -> Sense | None:
    """Make the combined sense of all sensors in one place; None where there is none.

    What these models give is plausible by construction (no fault, nothing lost), so it is not
    judged again each tick; tests/rehearsal/test_senses.py holds them against the daemon's own way.
    """
    parts = [
        (
            sensor_model(settings, sensor, seed, tick_s).steady(
                tick_s, sensor.temperature_offset_k, sensor.humidity_offset_pct
            ),
            profile_of(sensor),
        )
        for sensor in settings.sensors
        if sensor.role == role
    ]
    if not parts:
        return None
    if len(parts) == 1 and tick_s >= _SINGLE_BELOW_S:
        sensor = parts[0][0]
        return Sense(sensor.look, sensor)  # nothing gets lost: see `sensor_model`
    latest: list[Reading | None] = [None] * len(parts)

    def several(now_s: float, air_c: float, humidity_pct: float) -> Reading | None:
        for i, (sensor, _) in enumerate(parts):
            latest[i] = sensor.look(now_s, air_c, humidity_pct) or latest[i]
        profiles = (profile for _, profile in parts)
        return combine(role, [(r, p) for r, p in zip(latest, profiles, strict=True) if r])

    return Sense(several)
