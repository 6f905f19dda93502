"""Air changes of a known rate as a sensor would read them: lag, bias, noise, resolution, losses."""

import math
import random
from typing import NamedTuple

from controller import air
from controller.commissioning.air_change import AirChange, time_air_change
from controller.control.types import Reading
from controller.sensors.data_sheets import DHT11_ERRORS, DHT22_ERRORS, SHT_ERRORS, ErrorFigures
from simulators.sensor_error import SensorErrorModel

PRESSURE_PA = 101_325.0
KINDS = {"dht22": (DHT22_ERRORS, 2.5), "dht11": (DHT11_ERRORS, 2.5), "sht": (SHT_ERRORS, 2.0)}


class Timed(NamedTuple):
    """A synthetic decay: the true rate [1/s], and what came of timing it."""

    rate_per_s: float
    result: AirChange


def timed(kind: str, seed: int, *, own_temperature: bool = False) -> Timed:
    """Time one decay; tent, room, instant and sensor are drawn by the seed.

    With `own_temperature` the relative humidity refers to the element's own, lagging temperature,
    as where both sit on one chip; else to the air's.
    """
    figures, every_s = KINDS[kind]
    rng = random.Random(seed)
    # From as fast as can be timed to the slowest that commissioning chooses a speed for.
    tau_s = math.exp(rng.uniform(math.log(20.0), math.log(150.0)))
    readings = _readings(figures, every_s, tau_s, rng, seed, own_temperature)
    result = time_air_change(
        readings,
        started_s=0.0,
        speed=0.6,
        volume_m3=1.0,
        pressure_pa=PRESSURE_PA,
        calculated_m3_s=None,
        units="si",
    )
    return Timed(1.0 / tau_s, result)


def _readings(
    figures: ErrorFigures,
    every_s: float,
    tau_s: float,
    rng: random.Random,
    seed: int,
    own_temperature: bool,
) -> list[Reading]:
    room_ratio, fall = rng.uniform(0.004, 0.010), rng.uniform(0.0015, 0.006)
    room_c, warmer_k = rng.uniform(16.0, 24.0), rng.uniform(0.0, 8.0)
    heat_tau_s = tau_s * rng.uniform(1.0, 4.0)  # fabric and pots give back heat
    model = SensorErrorModel(
        figures._replace(lag_temperature_s=0.0) if own_temperature else figures, seed
    )
    element_c = room_c + warmer_k
    share = -math.expm1(-every_s / figures.lag_temperature_s)
    readings = []
    now_s = rng.uniform(0.0, every_s) - 24 * every_s
    while now_s < min(600.0, max(180.0, 6.0 * tau_s)):
        since_s = max(0.0, now_s)
        ratio = room_ratio + fall * math.exp(-since_s / tau_s)
        t_c = room_c + warmer_k * math.exp(-since_s / heat_tau_s)
        element_c += share * (t_c - element_c)
        felt_c = element_c if own_temperature else t_c
        rh_pct = min(99.0, air.humidity_pct_from_ratio(felt_c, ratio, PRESSURE_PA))
        measured = model.observe(now_s, felt_c, rh_pct)
        if measured is not None:
            readings.append(Reading(now_s, measured.temperature_c, measured.humidity_pct))
        now_s += every_s
    return readings
