"""Segments: stretches in which nothing that is counted changed, coded by the database."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller.control.types import Rule
from controller.review.source import LIT, RecordSource, Row

if TYPE_CHECKING:
    from controller.timetable import Timetable

# A later start than this after the last end is a gap; less is the clock's own jitter.
GAP_MS = 1500.0

IN_BAND, BELOW, ABOVE, MISSING = range(4)
TEMPERATURE, HUMIDITY, VPD = 0, 2, 4  # where each quantity's two bits begin
_FAN_ON, _LIT, _FAN_HOURS, _LOCKED_OUT = 64, 128, 256, 512

# The deciding rule, as four more bits; one that this version does not know is last.
_RULES = (*(rule.value for rule in reversed(Rule)), "other")
_RULE_BIT = 10
_RULE_CASES = " ".join(
    f"WHEN '{rule}' THEN {index << _RULE_BIT}" for index, rule in enumerate(_RULES[:-1])
)

_CODES = f"""
SELECT r.at_ms - r.interval_s * 1000.0, r.at_ms,
    CASE WHEN r.tent_temperature_c < m.t_low THEN {BELOW}
        WHEN r.tent_temperature_c > m.t_high THEN {ABOVE}
        WHEN r.tent_temperature_c IS NULL THEN {MISSING} ELSE {IN_BAND} END
    + CASE WHEN r.tent_humidity_pct < m.h_low THEN {BELOW << HUMIDITY}
        WHEN r.tent_humidity_pct > m.h_high THEN {ABOVE << HUMIDITY}
        WHEN r.tent_humidity_pct IS NULL THEN {MISSING << HUMIDITY} ELSE {IN_BAND} END
    + CASE WHEN r.tent_vpd_pa < m.v_low THEN {BELOW << VPD}
        WHEN r.tent_vpd_pa > m.v_high THEN {ABOVE << VPD}
        WHEN r.tent_vpd_pa IS NULL THEN {MISSING << VPD} ELSE {IN_BAND} END
    + (r.fan_on_s > 0) * {_FAN_ON} + (m.id & 1) * {_LIT}
    + (r.in_fan_hours <> 0) * {_FAN_HOURS} + (r.locked_out <> 0) * {_LOCKED_OUT}
    + CASE r.rule {_RULE_CASES} ELSE {(len(_RULES) - 1) << _RULE_BIT} END
FROM readings r
CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
WHERE r.at_ms > ?1 AND r.at_ms < ?2 AND r.interval_s > 0
ORDER BY r.at_ms
"""


class Segment(NamedTuple):
    """A stretch [Unix ms] of readings without a gap and alike in everything counted."""

    start_ms: float
    end_ms: float
    code: int

    @property
    def minutes(self) -> float:
        """Its length [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0

    def position(self, quantity: int) -> int:
        """Where `quantity` was: IN_BAND, BELOW, ABOVE or MISSING."""
        return self.code >> quantity & 3

    @property
    def rule(self) -> str:
        """The rule that set the fan's speed; "other" for one that this version does not know."""
        return _RULES[self.code >> _RULE_BIT]

    @property
    def fan_on(self) -> bool:
        """Whether the fan ran at all in each interval."""
        return bool(self.code & _FAN_ON)

    @property
    def lit(self) -> bool:
        """Whether the lamp was lit."""
        return bool(self.code & _LIT)

    @property
    def in_fan_hours(self) -> bool:
        """Whether it was in the fan hours."""
        return bool(self.code & _FAN_HOURS)

    @property
    def locked_out(self) -> bool:
        """Whether an override was locked out."""
        return bool(self.code & _LOCKED_OUT)


def read_segments(source: RecordSource) -> list[Segment]:
    """The period's segments in order, cut at its ends.

    A reading whose interval reaches back before the end of the last one (the clock was set back)
    counts only from there on, so that no minute is counted twice.
    """
    period = source.period
    rows = source.rows(_CODES, period.start_ms, source.beyond_ms)
    cut = (
        Segment(max(start_ms, period.start_ms), min(end_ms, period.end_ms), code)
        for start_ms, end_ms, code in _joined(rows)
    )
    return [segment for segment in cut if segment.start_ms < segment.end_ms]


def _joined(rows: Iterable[Row]) -> Iterator[Segment]:
    """Readings that follow each other without a gap and with the same code, as one segment.

    A loop of ours over every reading: the database's window functions take twice as long.
    """
    begun: tuple[float, int] | None = None
    end_ms = 0.0
    for start_ms, at_ms, code in rows:
        is_gap = start_ms > end_ms + GAP_MS
        if begun is None:
            begun = (start_ms, code)
        elif is_gap or code != begun[1]:
            yield Segment(begun[0], end_ms, begun[1])
            begun = (start_ms if is_gap else end_ms, code)
        end_ms = at_ms
    if begun is not None:
        yield Segment(begun[0], end_ms, begun[1])


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


def find_gaps(segments: Sequence[Segment], start_ms: float, end_ms: float) -> list[Gap]:
    """What `segments` leave open of the time from `start_ms` to `end_ms`."""
    gaps = []
    at_ms = start_ms
    for segment in segments:
        if segment.start_ms > at_ms:
            gaps.append(Gap(at_ms, segment.start_ms))
        at_ms = max(at_ms, segment.end_ms)
    if at_ms < end_ms:
        gaps.append(Gap(at_ms, end_ms))
    return gaps
