"""How a real sensor strays from the air it hangs in: lag, bias, drift, noise, resolution, dropouts.

The same seed gives the same errors. Plain floats and a table of noise, since a rehearsed year
asks half a million times.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from functools import lru_cache
from math import floor

from controller.control.types import Reading
from controller.measurement import Measurement
from controller.sensors.data_sheets import ErrorFigures

_YEAR_S = 365.25 * 86400.0
_TABLE = 8192  # a power of two
_PASSES = 97  # each time through the table starts so many entries further on
_new = tuple.__new__  # as Reading(...) does, at half the cost


# A sensor without errors, for telling the controller's errors from the sensor's.
PERFECT = ErrorFigures(0, 0, 0, 0, 1e6, 1e6, 0, 0, 0, 0, -100.0, 200.0, 0.001, 100.0)


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


Look = Callable[[float, float, float], Reading | None]
"""Gives the reading at (time [s], true temperature [°C], true humidity [%]); None where the
measurement does not come. The clock may be any that runs in seconds and does not go back."""


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
        "_drift_pct_per_s",
        "_look",
        "_lost",
        "_start",
        "_stride",
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
        self._lost = figures.lost if lost is None else lost
        self._start = rng.randrange(_TABLE)
        self._stride = 2 * rng.randrange(_TABLE // 2) + 1  # odd: comes by every entry
        self._look: Look | None = None

    def observe(
        self, now_s: float, temperature_c: float, humidity_pct: float
    ) -> Measurement | None:
        """Measure the air; see `Look`."""
        if self._look is None:
            self._look = self.look()
        seen = self._look(now_s, temperature_c, humidity_pct)
        return None if seen is None else Measurement(seen.temperature_c, seen.humidity_pct)

    def look(self, offset_k: float = 0.0, offset_pct: float = 0.0) -> Look:
        """Make a way to look at the air through this sensor, from a fresh start.

        Plain floats in a closure, and noise in the order in which it is taken, since a rehearsed
        year looks a million times.

        Parameters
        ----------
        offset_k, offset_pct : float
            The user's corrections, added to what is measured [K], [%].
        """
        figures = self.figures
        per_k, per_pct = figures.steps_per_k, figures.steps_per_pct
        low_c, high_c = figures.low_c, figures.high_c
        low_pct, high_pct = figures.low_pct, figures.high_pct
        errors = _errors(figures, self.bias_k, self.bias_pct, self._start, self._stride)
        lost, drift_steps_s = self._lost, self._drift_pct_per_s * per_pct
        # One more time through the table starts `_PASSES` of its entries further on.
        next_error = _passes(errors, _PASSES * pow(self._stride, -1, _TABLE)).__next__
        began_s: float | None = None
        at_s = step_s = felt_c = felt_pct = math.nan
        share_c = share_pct = 1.0

        def look(now_s: float, temperature_c: float, humidity_pct: float) -> Reading | None:
            nonlocal began_s, at_s, step_s, felt_c, felt_pct, share_c, share_pct
            if began_s is None:
                began_s, felt_c, felt_pct = now_s, temperature_c, humidity_pct
            elif now_s - at_s != step_s:
                step_s = now_s - at_s
                share_c = _share(step_s, figures.lag_temperature_s)
                share_pct = _share(step_s, figures.lag_humidity_s)
            at_s = now_s
            # The sensing element follows the air.
            felt_c += share_c * (temperature_c - felt_c)
            felt_pct += share_pct * (humidity_pct - felt_pct)
            error_c, error_pct, chance = next_error()
            if chance < lost:
                return None
            read_c = floor(felt_c * per_k + error_c) / per_k
            if not low_c <= read_c <= high_c:
                read_c = low_c if read_c < low_c else high_c
            drifted = drift_steps_s * (now_s - began_s)
            read_pct = floor(felt_pct * per_pct + drifted + error_pct) / per_pct
            if not low_pct <= read_pct <= high_pct:
                read_pct = low_pct if read_pct < low_pct else high_pct
            read_pct += offset_pct
            if not 0.0 <= read_pct <= 100.0:
                read_pct = 0.0 if read_pct < 0.0 else 100.0
            return _new(Reading, (now_s, read_c + offset_k, read_pct, None))

        return look


@lru_cache(maxsize=8)  # configs that are tried on the same days have the same sensors
def _errors(
    figures: ErrorFigures, bias_k: float, bias_pct: float, start: int, stride: int
) -> list[tuple[float, float, float]]:
    """Bias, noise and rounding of one time through the table, in steps; and which get lost.

    By looks: errors of temperature and humidity, and what the share of lost ones is held against.
    """
    noise, uniform = _tables()
    order = [(start + i * stride) & (_TABLE - 1) for i in range(_TABLE)]
    per_k, per_pct = figures.steps_per_k, figures.steps_per_pct
    sd_k, sd_pct = figures.repeatability_k / 3.0, figures.repeatability_pct / 3.0
    errors_c = [(bias_k + sd_k * noise[i]) * per_k + 0.5 for i in order]
    errors_pct = [(bias_pct + sd_pct * noise[i ^ 4095]) * per_pct + 0.5 for i in order]
    return list(zip(errors_c, errors_pct, [uniform[i] for i in order], strict=True))


def _passes(errors: list[tuple[float, float, float]], jump: int) -> Iterator[tuple[float, ...]]:
    """Give the errors of one look after another: each time through the table starts elsewhere."""
    yield from errors[1:]
    first = jump % _TABLE
    while True:
        yield from errors[first:]
        yield from errors[:first]
        first = (first + jump) % _TABLE


def _share(step_s: float, lag_s: float) -> float:
    """Share of the way to the air's state that a sensing element goes in a step, 0-1."""
    return 1.0 if lag_s <= 0.0 else -math.expm1(-max(0.0, step_s) / lag_s)


def limited_to(
    measures: frozenset[str], seen: Measurement, co2_ppm: float | None = None
) -> Measurement:
    """Leave of what was measured only what a sensor measures, and add its CO2, without an error."""
    temperature_c, humidity_pct, _ = seen
    return Measurement(
        temperature_c,
        humidity_pct if "humidity" in measures else None,
        None if co2_ppm is None or "co2" not in measures else float(round(co2_ppm)),
    )


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
    measures : frozenset of str
        What the sensor measures; see `controller.kernel_sensors.measures`.
    co2_ppm : callable
        Gives the carbon dioxide there now [ppm].
    """

    __slots__ = ("_air", "_co2_ppm", "_measures", "_model", "_now_s")

    def __init__(
        self,
        model: SensorErrorModel,
        air: Callable[[], tuple[float, float]],
        now_s: Callable[[], float],
        measures: frozenset[str] = frozenset({"temperature", "humidity"}),
        co2_ppm: Callable[[], float | None] = lambda: None,
    ) -> None:
        self._model = model
        self._air = air
        self._now_s = now_s
        self._measures = measures
        self._co2_ppm = co2_ppm

    def measurement(self) -> Measurement | None:
        """Measure now."""
        temperature_c, humidity_pct = self._air()
        seen = self._model.observe(self._now_s(), temperature_c, humidity_pct)
        return None if seen is None else limited_to(self._measures, seen, self._co2_ppm())
