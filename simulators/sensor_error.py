"""How a real sensor strays from the air it hangs in: lag, bias, drift, noise, resolution, dropouts.

The same seed gives the same errors. Plain floats and a table of noise, since a rehearsed year
asks half a million times.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from controller.measurement import Measurement
from simulators.steady_sensor import STRIDES, Chances, SteadySensor, Temperament, steady_sensor

_YEAR_S = 365.25 * 86400.0
_TABLE = 8192  # a power of two


class ErrorFigures(NamedTuple):
    """What a data sheet admits of one kind of sensor.

    Attributes
    ----------
    accuracy_k, accuracy_pct : float
        Half width of the band that holds nearly every new sensor's constant error [K], [%].
    repeatability_k, repeatability_pct : float
        Half width of the band that holds nearly every repetition; three standard deviations of
        the noise [K], [%].
    steps_per_k, steps_per_pct : float
        Resolution, as so many steps to a kelvin or a percent.
    lag_temperature_s, lag_humidity_s : float
        Time to 63 % of a change [s].
    drift_pct_per_year : float
        How far humidity wanders off in a year [%].
    lost : float
        Share of the measurements that do not come.
    low_c, high_c, low_pct, high_pct : float
        Where the sensor clips [°C], [%].
    """

    accuracy_k: float
    accuracy_pct: float
    repeatability_k: float
    repeatability_pct: float
    steps_per_k: float
    steps_per_pct: float
    lag_temperature_s: float
    lag_humidity_s: float
    drift_pct_per_year: float
    lost: float
    low_c: float
    high_c: float
    low_pct: float
    high_pct: float


# Accuracy, repeatability, drift and resolution: data sheets (Aosong AM2302, Aosong DHT11, Sensirion
# SHT40; the SHT40's and the DHT11's repeatability from memory). Lags in still air inside a housing
# and the share of lost measurements: engineering judgement, no source.
DHT22 = ErrorFigures(
    accuracy_k=0.5,
    accuracy_pct=2.0,
    repeatability_k=0.2,
    repeatability_pct=1.0,
    steps_per_k=10.0,
    steps_per_pct=10.0,
    lag_temperature_s=20.0,
    lag_humidity_s=8.0,
    drift_pct_per_year=0.5,
    lost=0.1,
    low_c=-40.0,
    high_c=80.0,
    low_pct=0.1,
    high_pct=99.9,
)
DHT11 = ErrorFigures(
    accuracy_k=2.0,
    accuracy_pct=5.0,
    repeatability_k=1.0,
    repeatability_pct=1.0,
    steps_per_k=1.0,
    steps_per_pct=1.0,
    lag_temperature_s=20.0,
    lag_humidity_s=10.0,
    drift_pct_per_year=1.0,
    lost=0.1,
    low_c=0.0,
    high_c=60.0,
    low_pct=5.0,
    high_pct=95.0,
)
SHT = ErrorFigures(
    accuracy_k=0.2,
    accuracy_pct=1.8,
    repeatability_k=0.04,
    repeatability_pct=0.08,
    steps_per_k=100.0,
    steps_per_pct=100.0,
    lag_temperature_s=5.0,
    lag_humidity_s=4.0,
    drift_pct_per_year=0.2,
    lost=0.0005,
    low_c=-40.0,
    high_c=125.0,
    low_pct=0.1,
    high_pct=100.0,
)

# A sensor of glass and gold, for telling the controller's errors from the sensor's.
PERFECT = ErrorFigures(0, 0, 0, 0, 1e6, 1e6, 0, 0, 0, 0, -100.0, 200.0, 0.001, 100.0)


def figures_for(driver: str, device: str | None = None) -> ErrorFigures:
    """Give the figures of a configured sensor.

    Parameters
    ----------
    driver : {"dht22", "dht11", "iio", "hwmon", "simulated"}
        As in the configuration.
    device : str or None
        Kernel name of an iio or hwmon device. The kernel calls a DHT22 "dht11" too.

    Returns
    -------
    ErrorFigures
        Those of a DHT22 unless it is known to be something else.
    """
    if driver == "dht11":
        return DHT11
    if driver == "hwmon" or (driver == "iio" and not (device or "").startswith("dht")):
        return SHT
    return DHT22


@lru_cache(maxsize=1)
def _tables() -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Standard normal and uniform random numbers, the same ones in every run."""
    rng = random.Random(1960)
    normal: list[float] = []
    for _ in range(_TABLE // 2):
        # Two at a time (Box & Muller, Ann. Math. Stat. 29, 1958), as `rng.gauss` gives them one by
        # one for three times the work.
        angle = rng.random() * math.tau
        radius = math.sqrt(-2.0 * math.log(1.0 - rng.random()))
        normal += (math.cos(angle) * radius, math.sin(angle) * radius)
    return tuple(normal), tuple([rng.random() for _ in range(_TABLE)])


class SensorErrorModel:
    """One particular sensor: its figures and what chance made of them.

    Parameters
    ----------
    figures : ErrorFigures
        The kind of sensor.
    seed : int
        Which one of that kind; the same seed gives the same errors.
    bias_k, bias_pct : float or None
        The constant errors; None draws them from the accuracies [K], [%].
    lost : float or None
        Share of measurements that do not come, if not the figures'.
    """

    __slots__ = (
        "_alpha_humidity",
        "_alpha_temperature",
        "_at_s",
        "_began_s",
        "_count",
        "_drift_pct_per_s",
        "_humidity_pct",
        "_lost",
        "_noise",
        "_sd_k",
        "_sd_pct",
        "_start",
        "_step_s",
        "_stride",
        "_temperature_c",
        "_uniform",
        "bias_k",
        "bias_pct",
        "figures",
    )

    def __init__(
        self,
        figures: ErrorFigures,
        seed: int,
        *,
        bias_k: float | None = None,
        bias_pct: float | None = None,
        lost: float | None = None,
    ) -> None:
        rng = random.Random(seed)
        self.figures = figures
        drawn_k, drawn_pct = rng.gauss(0.0, 0.4), rng.gauss(0.0, 0.4)
        self.bias_k = figures.accuracy_k * drawn_k if bias_k is None else bias_k
        self.bias_pct = figures.accuracy_pct * drawn_pct if bias_pct is None else bias_pct
        self._drift_pct_per_s = rng.uniform(-1.0, 1.0) * figures.drift_pct_per_year / _YEAR_S
        self._sd_k = figures.repeatability_k / 3.0
        self._sd_pct = figures.repeatability_pct / 3.0
        self._lost = figures.lost if lost is None else lost
        self._noise, self._uniform = _tables()
        self._start = rng.randrange(_TABLE)
        self._stride = 2 * rng.randrange(_TABLE // 2) + 1  # odd: comes by every entry
        self._count = 0
        self._began_s = 0.0
        self._at_s: float | None = None
        self._step_s = math.nan
        self._alpha_temperature = self._alpha_humidity = 1.0
        self._temperature_c = self._humidity_pct = math.nan

    def observe(
        self, now_s: float, temperature_c: float, humidity_pct: float
    ) -> Measurement | None:
        """Say what the sensor reads of the air as it is.

        Parameters
        ----------
        now_s : float
            Any clock that runs in seconds, not going back [s].
        temperature_c, humidity_pct : float
            The air at the sensor [°C], [%].

        Returns
        -------
        Measurement or None
            None where the measurement does not come.
        """
        if self._at_s is None:
            self._began_s = now_s
            self._temperature_c, self._humidity_pct = temperature_c, humidity_pct
        elif now_s - self._at_s != self._step_s:
            self._step(now_s - self._at_s)
        self._at_s = now_s
        # The sensing element follows the air.
        felt_c = self._temperature_c
        felt_c += self._alpha_temperature * (temperature_c - felt_c)
        felt_pct = self._humidity_pct
        felt_pct += self._alpha_humidity * (humidity_pct - felt_pct)
        self._temperature_c = felt_c
        self._humidity_pct = felt_pct
        count = self._count = self._count + 1
        # Every pass through the table starts elsewhere.
        at = (self._start + count * self._stride + (count >> 13) * STRIDES) & 8191
        if self._uniform[at] < self._lost:
            return None
        figures = self.figures
        noise = self._noise
        steps = figures.steps_per_k
        felt_c = (felt_c + self.bias_k + self._sd_k * noise[at]) * steps
        read_c = math.floor(felt_c + 0.5) / steps
        if read_c < figures.low_c:
            read_c = figures.low_c
        elif read_c > figures.high_c:
            read_c = figures.high_c
        steps = figures.steps_per_pct
        felt_pct += self.bias_pct + self._drift_pct_per_s * (now_s - self._began_s)
        read_pct = math.floor((felt_pct + self._sd_pct * noise[at ^ 4095]) * steps + 0.5) / steps
        if read_pct < figures.low_pct:
            read_pct = figures.low_pct
        elif read_pct > figures.high_pct:
            read_pct = figures.high_pct
        return Measurement(read_c, read_pct)

    def steady(self, step_s: float, offset_k: float = 0.0, offset_pct: float = 0.0) -> SteadySensor:
        """Give the same sensor for a clock that moves by one step every time, far cheaper to ask.

        Parameters
        ----------
        step_s : float
            From one measurement to the next [s].
        offset_k, offset_pct : float
            The user's corrections, added to what is measured [K], [%].

        Returns
        -------
        SteadySensor
            Reads what `observe` would give; the two are not to be mixed.
        """
        figures = self.figures
        return steady_sensor(
            Temperament(
                alpha_c=_share(step_s, figures.lag_temperature_s),
                alpha_pct=_share(step_s, figures.lag_humidity_s),
                bias_k=self.bias_k,
                bias_pct=self.bias_pct,
                drift_pct_per_s=self._drift_pct_per_s,
                sd_k=self._sd_k,
                sd_pct=self._sd_pct,
                steps_per_k=figures.steps_per_k,
                steps_per_pct=figures.steps_per_pct,
                low_c=figures.low_c,
                high_c=figures.high_c,
                low_pct=figures.low_pct,
                high_pct=figures.high_pct,
                offset_k=offset_k,
                offset_pct=offset_pct,
                lost=self._lost,
            ),
            Chances(self._noise, self._uniform, self._start, self._stride),
            step_s,
        )

    def _step(self, step_s: float) -> None:
        """Precompute the share of the way to the air's state covered in a step."""
        self._step_s = step_s
        figures = self.figures
        self._alpha_temperature = _share(step_s, figures.lag_temperature_s)
        self._alpha_humidity = _share(step_s, figures.lag_humidity_s)


def _share(step_s: float, lag_s: float) -> float:
    return 1.0 if lag_s <= 0.0 else -math.expm1(-max(0.0, step_s) / lag_s)


class ModelledSource:
    """A `Source` for `SimulatedDriver`: the air through the errors of one sensor.

    Parameters
    ----------
    model : SensorErrorModel
        The sensor.
    air : callable
        Gives the true temperature [°C] and relative humidity [%] now.
    now_s : callable
        Gives the simulated time [s].
    """

    __slots__ = ("_air", "_model", "_now_s")

    def __init__(
        self,
        model: SensorErrorModel,
        air: Callable[[], tuple[float, float]],
        now_s: Callable[[], float],
    ) -> None:
        self._model = model
        self._air = air
        self._now_s = now_s

    def measurement(self) -> Measurement | None:
        """Give what the sensor would say now."""
        temperature_c, humidity_pct = self._air()
        return self._model.observe(self._now_s(), temperature_c, humidity_pct)
