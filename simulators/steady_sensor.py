"""A sensor that is looked at once a step: the errors of `sensor_error`, with all else worked out.

Plain floats in closures, since a rehearsed year looks half a million times; and looking may be
left out, where what is seen cannot matter, as long as the element follows the air all the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from math import ceil, floor, log1p, nan
from typing import NamedTuple

from controller.decision.types import Reading

STRIDES = 97  # how many orders the table of chances is walked in


class Temperament(NamedTuple):
    """How one sensor errs; see `ErrorFigures`.

    Attributes
    ----------
    alpha_c, alpha_pct : float
        Share of the way to the air's state that the element goes in a step, 0–1.
    bias_k, bias_pct, drift_pct_per_s, sd_k, sd_pct : float
        Constant error [K], [%], its growth [%/s], and standard deviation of the noise [K], [%].
    steps_per_k, steps_per_pct, low_c, high_c, low_pct, high_pct : float
        Resolution, and where it clips [°C], [%].
    offset_k, offset_pct : float
        The user's corrections [K], [%].
    lost : float
        Share of measurements that do not come.
    """

    alpha_c: float
    alpha_pct: float
    bias_k: float
    bias_pct: float
    drift_pct_per_s: float
    sd_k: float
    sd_pct: float
    steps_per_k: float
    steps_per_pct: float
    low_c: float
    high_c: float
    low_pct: float
    high_pct: float
    offset_k: float
    offset_pct: float
    lost: float


class Chances(NamedTuple):
    """Tables of normal and uniform random numbers, and in which order this sensor takes them."""

    noise: Sequence[float]
    uniform: Sequence[float]
    start: int
    stride: int


class SteadySensor(NamedTuple):
    """One sensor, looked at or passed by once a step.

    Attributes
    ----------
    look : callable
        Gives the reading at (time [s], temperature [°C], humidity [%]); None where it gets lost.
    walk : callable
        Takes (time of the first [s], temperatures, humidities) of steps and gives, one after the
        other, the readings that `look` would give, as if none could get lost; no further than
        they are asked for.
    pass_by : callable
        Takes (how many steps, temperatures, humidities) of steps at which nobody looks: those of
        the last `recall` steps at least, in order.
    recall : int
        What the air was like longer ago than that many steps makes no difference.
    between : callable
        Takes (from [s], until [s], lowest and highest temperature, lowest and highest humidity)
        and gives the lowest and highest reading of both quantities that could be seen meanwhile,
        whatever chance does.
    reach : tuple of float
        How far above the element's temperature [K] and humidity [%] a reading is at least and at
        most, but for drift and clipping.
    """

    look: Callable[[float, float, float], Reading | None]
    walk: Callable[[float, Sequence[float], Sequence[float]], Iterator[Reading]]
    pass_by: Callable[[int, Sequence[float], Sequence[float]], None]
    recall: int
    between: Callable[[float, float, float, float, float, float], tuple[Reading, Reading]]
    reach: tuple[float, float, float, float]


def steady_sensor(temperament: Temperament, chances: Chances, step_s: float) -> SteadySensor:
    """Make one sensor.

    Parameters
    ----------
    temperament : Temperament
        How it errs.
    chances : Chances
        What chance will make of it.
    step_s : float
        From one look to the next [s].
    """
    alpha_c, alpha_pct = temperament[:2]
    per_k, per_pct, low_c, high_c, low_pct, high_pct = temperament[7:13]
    offset_k, offset_pct, lost = temperament[13:]
    stride = chances.stride
    errs_c, errs_pct, luck, extremes = _errors(temperament, chances)
    shift = STRIDES * pow(stride, -1, 8192)  # so far along the order is as STRIDES in the tables
    at = 0
    drift_steps = temperament.drift_pct_per_s * per_pct
    new = tuple.__new__  # as Reading(...) does, at half the cost
    count = 0
    began_s = felt_c = felt_pct = nan

    def look(now_s: float, temperature_c: float, humidity_pct: float) -> Reading | None:
        nonlocal at, count, began_s, felt_c, felt_pct
        if count == 0:
            began_s, felt_c, felt_pct = now_s, temperature_c, humidity_pct
        felt_c = felt_c + alpha_c * (temperature_c - felt_c)
        felt_pct = felt_pct + alpha_pct * (humidity_pct - felt_pct)
        count += 1
        at = (at + 1) & 8191
        if not count & 8191:  # every pass through the table starts elsewhere
            at = (at + shift) & 8191
        if lost and luck[at] < lost:
            return None
        read_c = floor(felt_c * per_k + errs_c[at]) / per_k
        if not low_c <= read_c <= high_c:
            read_c = low_c if read_c < low_c else high_c
        drifted = drift_steps * (now_s - began_s)
        read_pct = floor(felt_pct * per_pct + drifted + errs_pct[at]) / per_pct
        if not low_pct <= read_pct <= high_pct:
            read_pct = low_pct if read_pct < low_pct else high_pct
        read_pct += offset_pct
        if not 0.0 <= read_pct <= 100.0:
            read_pct = 0.0 if read_pct < 0.0 else 100.0
        return new(Reading, (now_s, read_c + offset_k, read_pct))

    def walk(now_s: float, air_c: Sequence[float], air_pct: Sequence[float]) -> Iterator[Reading]:
        # `look` once more: a call for each of half a million looks would cost as much again.
        nonlocal at, count, felt_c, felt_pct
        assert count > 0 and not lost, "the first look is a look, and none gets lost"
        for temperature_c, humidity_pct in zip(air_c, air_pct, strict=True):
            felt_c = felt_c + alpha_c * (temperature_c - felt_c)
            felt_pct = felt_pct + alpha_pct * (humidity_pct - felt_pct)
            count += 1
            at = (at + 1) & 8191
            if not count & 8191:
                at = (at + shift) & 8191
            read_c = floor(felt_c * per_k + errs_c[at]) / per_k
            if not low_c <= read_c <= high_c:
                read_c = low_c if read_c < low_c else high_c
            drifted = drift_steps * (now_s - began_s)
            read_pct = floor(felt_pct * per_pct + drifted + errs_pct[at]) / per_pct
            if not low_pct <= read_pct <= high_pct:
                read_pct = low_pct if read_pct < low_pct else high_pct
            read_pct += offset_pct
            if not 0.0 <= read_pct <= 100.0:
                read_pct = 0.0 if read_pct < 0.0 else 100.0
            yield new(Reading, (now_s, read_c + offset_k, read_pct))
            now_s += step_s

    # After so many steps less than a part in 10^17 is left of what was felt before.
    recall_c, recall_pct = _recall(alpha_c), _recall(alpha_pct)

    def pass_by(steps: int, air_c: Sequence[float], air_pct: Sequence[float]) -> None:
        nonlocal at, count, felt_c, felt_pct
        assert count > 0, "the first look is not left out"
        passes = (count + steps >> 13) - (count >> 13)
        at = (at + steps + passes * shift) & 8191
        count += steps
        for value in air_c[-recall_c:]:
            felt_c += alpha_c * (value - felt_c)
        for value in air_pct[-recall_pct:]:
            felt_pct += alpha_pct * (value - felt_pct)

    # Every step from air to reading is a rising one (rounding and clipping too), so the extremes
    # of air and noise give the extremes of the readings. What the element feels lies between what
    # it felt and what the air is.
    least_err_c, most_err_c, least_err_pct, most_err_pct = extremes

    def between(
        from_s: float,
        until_s: float,
        lowest_c: float,
        highest_c: float,
        lowest_pct: float,
        highest_pct: float,
    ) -> tuple[Reading, Reading]:
        if felt_c < lowest_c:
            lowest_c = felt_c
        elif felt_c > highest_c:
            highest_c = felt_c
        if felt_pct < lowest_pct:
            lowest_pct = felt_pct
        elif felt_pct > highest_pct:
            highest_pct = felt_pct
        lowest_c = floor(lowest_c * per_k + least_err_c) / per_k
        highest_c = floor(highest_c * per_k + most_err_c) / per_k
        if not low_c <= lowest_c <= highest_c <= high_c:
            lowest_c = min(max(lowest_c, low_c), high_c)
            highest_c = min(max(highest_c, low_c), high_c)
        one, other = drift_steps * (from_s - began_s), drift_steps * (until_s - began_s)
        if one > other:
            one, other = other, one
        lowest_pct = floor(lowest_pct * per_pct + one + least_err_pct) / per_pct
        highest_pct = floor(highest_pct * per_pct + other + most_err_pct) / per_pct
        if not low_pct <= lowest_pct <= highest_pct <= high_pct:
            lowest_pct = min(max(lowest_pct, low_pct), high_pct)
            highest_pct = min(max(highest_pct, low_pct), high_pct)
        lowest_pct += offset_pct
        highest_pct += offset_pct
        if not 0.0 <= lowest_pct <= highest_pct <= 100.0:
            lowest_pct = min(max(lowest_pct, 0.0), 100.0)
            highest_pct = min(max(highest_pct, 0.0), 100.0)
        return (
            new(Reading, (until_s, lowest_c + offset_k, lowest_pct)),
            new(Reading, (until_s, highest_c + offset_k, highest_pct)),
        )

    reach = (
        (least_err_c - 1.0) / per_k + offset_k,
        most_err_c / per_k + offset_k,
        (least_err_pct - 1.0) / per_pct + offset_pct,
        most_err_pct / per_pct + offset_pct,
    )
    return SteadySensor(look, walk, pass_by, max(recall_c, recall_pct), between, reach)


@lru_cache(maxsize=8)  # configs that are tried on the same days have the same sensors
def _errors(temperament: Temperament, chances: Chances) -> tuple[list[float], ...]:
    """What chance and the constant error do to a reading, whether it gets lost, and the extremes.

    In steps of the resolution, and in the order in which this sensor takes them: going through
    memory in order is twice as fast.
    """
    bias_k, bias_pct, _, sd_k, sd_pct, per_k, per_pct = temperament[2:9]
    noise, uniform, start, stride = chances
    order = [(start + i * stride) & 8191 for i in range(8192)]
    errs_c = [(bias_k + sd_k * noise[i]) * per_k + 0.5 for i in order]
    errs_pct = [(bias_pct + sd_pct * noise[i ^ 4095]) * per_pct + 0.5 for i in order]
    luck = [uniform[i] for i in order] if temperament.lost else []
    return errs_c, errs_pct, luck, [min(errs_c), max(errs_c), min(errs_pct), max(errs_pct)]


def _recall(alpha: float) -> int:
    return 1 if alpha >= 1.0 else ceil(39.2 / -log1p(-alpha))
