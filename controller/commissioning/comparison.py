"""Sensors side by side: do they agree within what their data sheets admit? Pure.

Uncertainties are combined as the Guide to the Expression of Uncertainty in Measurement does
(JCGM 100:2008): a data sheet's "± a" is a rectangular distribution, standard uncertainty a/√3
(4.3.7); independent ones add in squares (5.1.2); the expanded uncertainty is twice the sum (6.2).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Quantity = Literal["temperature", "humidity"]

LEAST_READINGS = 5
# How much better a single other sensor must be to correct this one by it.
CLEARLY_BETTER = 0.5
# What a good hand instrument is off by at most (common practice, no source).
HAND_ACCURACY: dict[Quantity, float] = {"temperature": 0.5, "humidity": 3.0}
# Offsets finer than this pretend too much.
OFFSET_STEP: dict[Quantity, float] = {"temperature": 0.1, "humidity": 0.5}


@dataclass(frozen=True, slots=True)
class PairedSample:
    """Readings of one quantity by one sensor in still air.

    Attributes
    ----------
    sensor : str
        Its name.
    mean, scatter : float
        Mean and standard deviation [°C or %].
    readings : int
        How many.
    accuracy : float
        Largest error its data sheet admits [K or %].
    offset : float
        The correction in the config, already in the mean [K or %].
    """

    sensor: str
    mean: float
    scatter: float
    readings: int
    accuracy: float
    offset: float = 0.0

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of the mean [K or %]."""
        return math.hypot(self.accuracy / math.sqrt(3.0), self.scatter / math.sqrt(self.readings))


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far one sensor is from what it is compared with.

    Attributes
    ----------
    sensor : str
        Its name.
    against : str
        What it is compared with.
    difference : float
        Its mean minus the other [K or %].
    allowed : float
        Expanded uncertainty of the difference [K or %].
    suggested_offset : float or None
        What to set its offset to in the config [K or %]; None: leave it.
    """

    sensor: str
    against: str
    difference: float
    allowed: float
    suggested_offset: float | None

    @property
    def agrees(self) -> bool:
        """Whether the data sheets explain the difference."""
        return abs(self.difference) <= self.allowed


def sample_of(
    sensor: str, values: Sequence[float], accuracy: float, offset: float = 0.0
) -> PairedSample | None:
    """Mean and scatter of `values` [°C or %]; None when there are fewer than five."""
    count = len(values)
    if count < LEAST_READINGS:
        return None
    mean = sum(values) / count
    scatter = math.sqrt(sum((v - mean) ** 2 for v in values) / (count - 1))
    return PairedSample(sensor, mean, scatter, count, accuracy, offset)


def compare(
    quantity: Quantity, samples: Sequence[PairedSample], hand: float | None = None
) -> list[Agreement]:
    """Compare sensors that hang in the same air.

    An offset is suggested only where there is something better to go by: a hand instrument, two
    or more others, or one with half the error or less; and only where the difference
    exceeds that reference's own uncertainty, since else one error would replace another.

    Parameters
    ----------
    quantity : {"temperature", "humidity"}
        What the samples are of.
    samples : sequence of PairedSample
        The sensors.
    hand : float or None
        What a trusted hand instrument beside them says [°C or %].

    Returns
    -------
    list of Agreement
        One per sensor that can be compared with anything.
    """
    verdicts = []
    for sample in samples:
        reference = _reference(quantity, sample, samples, hand)
        if reference is None:
            continue
        difference = sample.mean - reference.mean
        allowed = 2.0 * math.hypot(sample.uncertainty, reference.uncertainty)
        noise = sample.scatter / math.sqrt(sample.readings)
        # By a better instrument the sensor's own accuracy is just what is to be corrected; by its
        # likes it is only doubted once the sheets no longer explain the difference.
        limit = 2.0 * math.hypot(noise, reference.uncertainty) if reference.better else allowed
        offset = None
        if reference.corrects and abs(difference) > limit:
            step = OFFSET_STEP[quantity]
            offset = round(round((sample.offset - difference) / step) * step, 3)
        verdicts.append(Agreement(sample.sensor, reference.name, difference, allowed, offset))
    return verdicts


@dataclass(frozen=True, slots=True)
class _Reference:
    """What a sensor is held against; whether it is a better one, and good enough to correct by."""

    name: str
    mean: float
    uncertainty: float
    better: bool
    corrects: bool


def _reference(
    quantity: Quantity, sample: PairedSample, samples: Sequence[PairedSample], hand: float | None
) -> _Reference | None:
    if hand is not None:
        uncertainty = HAND_ACCURACY[quantity] / math.sqrt(3.0)
        return _Reference("the hand instrument", hand, uncertainty, True, True)
    others = [other for other in samples if other is not sample]
    better = [o for o in others if o.accuracy <= CLEARLY_BETTER * sample.accuracy]
    if better:
        mean, uncertainty = _weighted(better)
        return _Reference(_names(better), mean, uncertainty, True, True)
    if len(others) >= 2:
        # The middle one: a single wrong sensor can't pull it along. Its variance is π/2 times the
        # mean's (normal errors).
        spread = sum(s.uncertainty for s in samples) / len(samples)
        uncertainty = math.sqrt(math.pi / 2.0 / len(samples)) * spread
        middle = statistics.median(s.mean for s in samples)
        return _Reference(f"the middle of {_names(samples)}", middle, uncertainty, False, True)
    if others:
        mean, uncertainty = _weighted(others)
        return _Reference(_names(others), mean, uncertainty, False, False)
    return None


def _names(samples: Sequence[PairedSample]) -> str:
    names = [sample.sensor for sample in samples]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _weighted(samples: Sequence[PairedSample]) -> tuple[float, float]:
    """Mean weighted by certainty, and its standard uncertainty."""
    weights = [1.0 / sample.uncertainty**2 for sample in samples]
    total = sum(weights)
    mean = sum(w * s.mean for w, s in zip(weights, samples, strict=True)) / total
    return mean, math.sqrt(1.0 / total)
