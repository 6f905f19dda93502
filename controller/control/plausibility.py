"""From measurements to a reading that can be trusted: plausibility, median, age, combination.

Everything here is a pure function. The past of a sensor is an explicit `History`, passed in and
returned; nothing here reads a clock.

A measurement is refused when it cannot be (`absurd`), when it moves faster than air and sensor can
(`jumped`, until the new level has persisted), or when nothing has moved for so long that the sensor
rather than the air must be standing still (`stuck`). What is refused never reaches a decision; once
the last trusted reading is older than `failsafe.stale_after` there is no reading at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Literal, NamedTuple

from controller.control.types import Reading, SensorReading
from controller.measurement import Measurement

Role = Literal["tent", "intake"]
# What SCD30 and SCD4x can put out (data sheets); 0 is what both give before their first value.
_MOST_CO2_PPM = 40_000.0

# After a jump: how often in a row the new level must be seen, each near the one before.
CONFIRMATIONS = 3
# The median takes at most so many measurements, none older than this before the newest: enough
# to shrug off two outliers, too short to lag behind a tent, whose air needs minutes.
MEDIAN_COUNT = 5
MEDIAN_WINDOW_S = 20.0
# A change is believed at once as far as air and sensor can move in this time. However long the
# pause before it, a farther one has to persist: else a loose wire would be believed in the end.
RATE_LONGEST_S = 30.0
# In a pause longer than this the values may have moved and come back.
STUCK_LONGEST_STEP_S = 300.0
# Of several sensors, one whose reading is this much older than the newest has no vote.
VOTE_WINDOW_S = 30.0


class SensorFault(StrEnum):
    """What is wrong with a sensor."""

    DEAD = "dead"  # no measurement arrives
    ABSURD = "absurd"  # what arrives cannot be
    JUMPED = "jumped"  # it moves faster than air can and does not settle
    STUCK = "stuck"  # nothing has moved for too long
    DISAGREES = "disagrees"  # a warning: it and its twins are further apart than their accuracies


class Profile(NamedTuple):
    """What to believe of the measurements of one sensor.

    Attributes
    ----------
    low_c, high_c : float
        Measuring range of its data sheet [°C].
    accuracy_k, accuracy_pct : float
        Largest error its data sheet admits, either side [K], [%].
    overshoot_pct : float
        How far above 100 % the sensor honestly reads in saturated air [%].
    step_k, step_pct : float
        Change from one measurement to the next that is always believed [K], [%].
    rate_k_per_s, rate_pct_per_s : float
        What is believed on top of that for each second between the two [K/s], [%/s].
    stuck_lit_s, stuck_dark_s : float
        How long both values may stand still with the lamp lit and dark [s].
    temperature_offset_k, humidity_offset_pct : float
        The user's corrections, added to what is believed [K], [%].

    Notes
    -----
    Steps and rates: opening a tent at 35 °C to a room at 20 °C moves a bare sensor by about 1 K/s
    for a few seconds, everything a fan and a lamp do is slower by a factor of ten (engineering
    judgement, no source). A wrong "too fast" costs a few seconds, since a level that persists is
    believed.
    """

    low_c: float
    high_c: float
    accuracy_k: float
    accuracy_pct: float
    overshoot_pct: float = 0.0
    step_k: float = 1.5
    step_pct: float = 6.0
    rate_k_per_s: float = 0.5
    rate_pct_per_s: float = 2.0
    stuck_lit_s: float = 2 * 3600.0
    stuck_dark_s: float = 12 * 3600.0
    temperature_offset_k: float = 0.0
    humidity_offset_pct: float = 0.0


class SensorSample(NamedTuple):
    """A measurement with its time."""

    monotonic_s: float
    temperature_c: float
    humidity_pct: float | None
    co2_ppm: float | None = None


class History(NamedTuple):
    """The past measurements of one sensor.

    Attributes
    ----------
    last : SensorSample or None
        The last measurement that was not refused as absurd or jumped.
    recent : tuple of SensorSample
        The last few trusted ones, oldest first, at most `MEDIAN_COUNT`.
    standing_still : float
        Share of the time allowed without a change that is used up; stuck from 1 on.
    suspect : SensorSample or None
        The latest of a row of jumped measurements that agree with each other.
    suspected : int
        How many there are in that row.
    """

    last: SensorSample | None = None
    recent: tuple[SensorSample, ...] = ()
    standing_still: float = 0.0
    suspect: SensorSample | None = None
    suspected: int = 0


FRESH = History()


def judge(
    profile: Profile,
    history: History,
    monotonic_s: float,
    measurement: Measurement,
    lit: bool | None = None,
) -> tuple[SensorFault | None, History]:
    """Say whether a measurement can be trusted, and what is to be remembered.

    Parameters
    ----------
    profile : Profile
        What can be expected of the sensor.
    history : History
        What it has shown before; `FRESH` at the start.
    monotonic_s : float
        When it was measured [s].
    measurement : Measurement
        Temperature [°C] and relative humidity [%], without offsets. Carbon dioxide that cannot be
        is left out and makes no fault: it must not cost the air its other quantities.
    lit : bool or None
        Whether the lamp is lit; None (not known) is judged as leniently as dark, where a cellar may
        stand still all night.

    Returns
    -------
    tuple of (SensorFault or None, History)
        None when it is trusted, else `ABSURD`, `JUMPED` or `STUCK`; and the new history.
    """
    temperature_c, humidity_pct, co2_ppm = measurement
    # Written so that a NaN fails too. Air at exactly 0 % does not occur where plants live, but a
    # DHT train that lost its first edge, or an all-zero frame, decodes to 0.0 °C and 0.0 %.
    if not (
        profile.low_c <= temperature_c <= profile.high_c
        and (humidity_pct is None or 0.0 < humidity_pct <= 100.0 + profile.overshoot_pct)
    ):
        return SensorFault.ABSURD, history
    if co2_ppm is not None and not 0.0 < co2_ppm <= _MOST_CO2_PPM:
        co2_ppm = None
    sample = SensorSample(monotonic_s, temperature_c, humidity_pct, co2_ppm)
    last, recent, standing_still, suspect, suspected = history
    if last is None:
        return None, History(sample, (sample,))
    last_s, last_c, last_pct, _ = last
    if temperature_c == last_c and humidity_pct == last_pct:
        allowed_s = profile.stuck_lit_s if lit else profile.stuck_dark_s
        step_s = min(max(monotonic_s - last_s, 0.0), STUCK_LONGEST_STEP_S)
        standing_still += step_s / allowed_s
        if standing_still >= 1.0:
            return SensorFault.STUCK, History(sample, recent, standing_still)
    elif _within_rate(profile, last, sample):
        standing_still = 0.0
    else:
        agrees = suspect is not None and _within_rate(profile, suspect, sample)
        suspected = suspected + 1 if agrees else 1
        if suspected < CONFIRMATIONS:
            return SensorFault.JUMPED, History(last, recent, standing_still, sample, suspected)
        return None, History(sample, (sample,))  # the old level leaves the median
    if monotonic_s - last_s > MEDIAN_WINDOW_S:
        recent = (sample,)
    else:
        recent = (*recent[1 - MEDIAN_COUNT :], sample)
    return None, History(sample, recent, standing_still)


def _within_rate(profile: Profile, before: SensorSample, after: SensorSample) -> bool:
    elapsed_s = min(max(0.0, after.monotonic_s - before.monotonic_s), RATE_LONGEST_S)
    moved_k = abs(after.temperature_c - before.temperature_c)
    moved_pct = abs(_or_zero(after.humidity_pct) - _or_zero(before.humidity_pct))
    return (
        moved_k <= profile.step_k + profile.rate_k_per_s * elapsed_s
        and moved_pct <= profile.step_pct + profile.rate_pct_per_s * elapsed_s
    )


def _or_zero(humidity_pct: float | None) -> float:
    return 0.0 if humidity_pct is None else humidity_pct


def trusted(profile: Profile, history: History) -> SensorReading | None:
    """Give the median of the last few trusted measurements, offsets applied.

    Parameters
    ----------
    profile : Profile
        Holds the offsets.
    history : History
        What the sensor has shown.

    Returns
    -------
    SensorReading or None
        Its time is that of the newest measurement in it; humidity is kept within 0–100 %. None
        before the first trusted measurement. How old is too old is for the caller to say.
    """
    recent = history.recent
    if not recent:
        return None
    newest = recent[-1]
    oldest_s = newest.monotonic_s - MEDIAN_WINDOW_S
    if len(recent) == 1 or recent[-2].monotonic_s < oldest_s:
        _, temperature_c, humidity_pct, co2_ppm = newest
    else:
        within = [sample for sample in recent if sample.monotonic_s >= oldest_s]
        temperature_c = _median([sample.temperature_c for sample in within])
        humidity_pct = _median_of_measured([sample.humidity_pct for sample in within])
        co2_ppm = _median_of_measured([sample.co2_ppm for sample in within])
    if humidity_pct is not None:
        humidity_pct += profile.humidity_offset_pct
        humidity_pct = (
            0.0 if humidity_pct < 0.0 else 100.0 if humidity_pct > 100.0 else humidity_pct
        )
    return SensorReading(
        newest.monotonic_s, temperature_c + profile.temperature_offset_k, humidity_pct, co2_ppm
    )


def _median_of_measured(values: list[float | None]) -> float | None:
    measured = [value for value in values if value is not None]
    return _median(measured) if measured else None


def _median(values: list[float]) -> float:
    values.sort()
    middle = len(values) // 2
    if len(values) % 2:
        return values[middle]
    return (values[middle - 1] + values[middle]) / 2.0


def combine(role: Role, parts: Sequence[tuple[SensorReading, Profile]]) -> Reading | None:
    """Make one reading of several sensors in the same place.

    Parameters
    ----------
    role : {"tent", "intake"}
        Which way to err when sensors disagree.
    parts : sequence of (SensorReading, Profile)
        The trusted readings and the profiles of the sensors that gave them.

    Returns
    -------
    Reading or None
        Each quantity is the median of all that measure it. Its time is that of
        the oldest reading with a vote. None without any humidity: thermometers alone say too
        little of the air to go by.

    Notes
    -----
    With an even number of sensors the median lies between the middle two. As long as those are no
    further apart than the sum of their accuracies, it is their mean. Beyond that one of them
    is wrong, and nobody can tell which: the result then errs towards moving air. In the tent that
    is the hotter and the more humid one less half the sum of the accuracies, at the intake the
    cooler and drier one plus that half. So the result has no step where agreement ends, and
    moves all the way with the sensor that asks for air.
    """
    humid = [part for part in parts if part[0].humidity_pct is not None]
    if not humid:
        return None
    if len(parts) == 1:
        ((only, _),) = parts
        return Reading(
            only.monotonic_s, only.temperature_c, _or_zero(only.humidity_pct), only.co2_ppm
        )
    # Each quantity by those that measure it: a thermometer that is quicker to answer takes no
    # hygrometer's vote.
    voting, humid = _voting(parts), _voting(humid)
    return Reading(
        min(reading.monotonic_s for reading, _ in (*voting, *humid)),
        _agreed(role, [(r.temperature_c, p.accuracy_k) for r, p in voting]),
        _agreed(role, [(_or_zero(r.humidity_pct), p.accuracy_pct) for r, p in humid]),
        _median_of_measured([r.co2_ppm for r, _ in humid]),
    )


def _voting(
    parts: Sequence[tuple[SensorReading, Profile]],
) -> list[tuple[SensorReading, Profile]]:
    oldest_s = max(reading.monotonic_s for reading, _ in parts) - VOTE_WINDOW_S
    return [part for part in parts if part[0].monotonic_s >= oldest_s]


def _agreed(role: Role, values: list[tuple[float, float]]) -> float:
    values.sort()
    middle = len(values) // 2
    if len(values) % 2:
        return values[middle][0]
    (low, low_accuracy), (high, high_accuracy) = values[middle - 1], values[middle]
    allowed = low_accuracy + high_accuracy
    if high - low <= allowed:
        return (low + high) / 2.0
    return high - allowed / 2.0 if role == "tent" else low + allowed / 2.0


def disagreeing(parts: Sequence[tuple[SensorReading, Profile]]) -> tuple[bool, ...]:
    """Say of each sensor of one role whether it disagrees with most of the others.

    Parameters
    ----------
    parts : sequence of (SensorReading, Profile)
        As for `combine`.

    Returns
    -------
    tuple of bool
        True where temperature or humidity is further from those of more than half of the other
        sensors than the sum of both accuracies. Of two that disagree, both are named.
    """
    verdicts = []
    for i, part in enumerate(parts):
        apart = sum(_apart(part, other) for j, other in enumerate(parts) if j != i)
        verdicts.append(2 * apart > len(parts) - 1)
    return tuple(verdicts)


def _apart(first: tuple[SensorReading, Profile], second: tuple[SensorReading, Profile]) -> bool:
    (a, pa), (b, pb) = first, second
    # Beyond the end of either's range they can't be compared: one stands still there.
    low_c = max(profile.low_c + profile.temperature_offset_k for profile in (pa, pb))
    high_c = min(profile.high_c + profile.temperature_offset_k for profile in (pa, pb))
    first_c, second_c = (max(low_c, min(r.temperature_c, high_c)) for r in (a, b))
    if abs(first_c - second_c) > pa.accuracy_k + pb.accuracy_k:
        return True
    if a.humidity_pct is None or b.humidity_pct is None:
        return False
    return abs(a.humidity_pct - b.humidity_pct) > pa.accuracy_pct + pb.accuracy_pct
