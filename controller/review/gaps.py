"""Gaps: stretches of the period from which the record has no reading at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller.review.segments import Run

if TYPE_CHECKING:
    from controller.timetable import Timetable


class Gap(NamedTuple):
    """A stretch without readings [Unix ms]."""

    start_ms: float
    end_ms: float

    @property
    def minutes(self) -> float:
        """Its length [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0

    def by_phase(self, timetable: Timetable) -> Iterator[tuple[float, float, bool]]:
        """Its parts as (start, end, lit), by what the timetable says."""
        at_ms = self.start_ms
        while at_ms < self.end_ms:
            state = timetable.state(at_ms / 1000.0)
            until_ms = min(self.end_ms, max(state.valid_until_s * 1000.0, at_ms + 1.0))
            yield at_ms, until_ms, state.lamp_on
            at_ms = until_ms


def find_gaps(runs: Sequence[Run], start_ms: float, end_ms: float) -> list[Gap]:
    """What `runs` leave open of the time from `start_ms` to `end_ms`."""
    gaps = []
    at_ms = start_ms
    for run in runs:
        if run.start_ms > at_ms:
            gaps.append(Gap(at_ms, run.start_ms))
        at_ms = max(at_ms, run.end_ms)
    if at_ms < end_ms:
        gaps.append(Gap(at_ms, end_ms))
    return gaps
