"""Records of rehearsed days in intake air that is known, for advice to be judged by."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest.mock import patch
from zoneinfo import ZoneInfo

from controller.config import Loaded
from controller.config.sections.sensors import Sensor
from controller.tent_physics import TentPhysics
from simulators.records import simulated_record
from simulators.rehearsal import daemon_loop as full
from simulators.rehearsal import rehearse_fully, scene_in
from simulators.rehearsal.recorded import Knot, RecordedAir

FIRST = dt.date(2013, 7, 1)

# Temperature [°C] and relative humidity [%] of the intake by the day's number and the hour.
IntakeAir = Callable[[int, float], tuple[float, float]]


def swinging(mean_c: float, swing_k: float, pct: float) -> IntakeAir:
    """Air that is warmest at three in the afternoon and always as moist."""

    def air(_: int, hour: float) -> tuple[float, float]:
        return mean_c + swing_k * math.sin((hour - 9.0) / 24.0 * math.tau), pct

    return air


def write_record(
    path: Path, loaded: Loaded, air: IntakeAir, days: int, bias_k: float = 0.0
) -> None:
    """Write what a daemon would have recorded in some days from the first of July 2013 on.

    Parameters
    ----------
    path : Path
        The new record.
    loaded : Loaded
        The config.
    air : IntakeAir
        What is drawn in.
    days : int
        How many days.
    bias_k : float
        How much more than its data sheet admits the tent's sensor reads too high [K].
    """
    settings = loaded.settings
    zone = ZoneInfo(settings.place.timezone)
    start_s, until_s = (
        dt.datetime.combine(FIRST + dt.timedelta(n), dt.time(), zone).timestamp() for n in (0, days)
    )
    physics = TentPhysics.from_settings(settings)
    intake = RecordedAir(_knots(air, start_s, days), physics.pressure_pa)
    scene = scene_in(settings, physics, intake, ())
    drawn = full.sensor_model

    def biased(settings: object, sensor: Sensor, *rest: object) -> object:
        model = drawn(settings, sensor, *rest)  # type: ignore[arg-type]
        if sensor.role == "tent":
            model.bias_k += bias_k
        return model

    record = simulated_record(path, round(start_s * 1000))
    with patch.object(full, "sensor_model", biased):
        rehearse_fully(loaded, scene, start_s, until_s, record)
    record.close()


def _knots(air: IntakeAir, start_s: float, days: int) -> Iterator[Knot]:
    for half_hour in range(48 * days + 1):
        day, part = divmod(half_hour, 48)
        c, pct = air(min(day, days - 1), part / 2.0 if day < days else 24.0)
        yield Knot(start_s + half_hour * 1800.0, c, pct, None, None)
