"""A band that is narrower than the tent's own swing: above it and below it in turn, all day."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

from controller.review.excursions import Cause

if TYPE_CHECKING:
    from controller.review.excursions import Excursion
    from controller.review.period import Period

# From one side of the band to the other within so long, out of it for no longer each time [ms].
_WITHIN_MS = 2 * 3_600_000.0
# The two phases have bands of their own: a few crossings a day are theirs.
_LEAST_CROSSINGS_A_DAY = 6
# Out of band for less of an excursion than this, the quantity kept coming back.
_MOSTLY = 0.75
# What a swing contradicts: the tent came back, and past the other side of its band.
CONTRADICTED = ("lamp_heat", "fan_at_full_speed", "fan_below_full_speed", "quiet_hours")


def mark_swings(excursions: Sequence[Excursion], period: Period) -> None:
    """Give the excursions of such a swing their cause, in place of what it contradicts."""
    for quantity in ("temperature", "humidity", "vpd"):
        chosen = [e for e in excursions if e.quantity == quantity]
        chosen.sort(key=lambda e: e.start_ms)
        for day in period.days:
            _mark_day([e for e in chosen if day.start_ms <= e.start_ms < day.end_ms])


def _mark_day(excursions: Sequence[Excursion]) -> None:
    crossings = [
        (first, second)
        for first, second in pairwise(excursions)
        if first.side != second.side
        and second.start_ms - first.end_ms <= _WITHIN_MS
        and max(first.end_ms - first.start_ms, second.end_ms - second.start_ms) <= _WITHIN_MS
    ]
    if len(crossings) < _LEAST_CROSSINGS_A_DAY:
        return
    widths = [
        abs(first.extreme - second.extreme)
        for first, second in crossings
        if first.extreme is not None and second.extreme is not None
    ]
    if not widths:
        return
    swing = median(widths)
    swinging = {id(e): e for pair in crossings for e in pair}
    # At one limit the same swing makes one excursion of many short ones, in band in between.
    swinging |= {id(e): e for e in excursions if _comes_and_goes(e)}
    for excursion in swinging.values():
        excursion.causes[:] = [
            cause for cause in excursion.causes if cause.code not in CONTRADICTED
        ]
        excursion.causes.insert(
            0,
            Cause(
                "band_narrower_than_swing",
                excursion.minutes,
                excursion.start_ms,
                excursion.end_ms,
                swing,
            ),
        )


def _comes_and_goes(excursion: Excursion) -> bool:
    return 60_000.0 * excursion.minutes < _MOSTLY * (excursion.end_ms - excursion.start_ms)
