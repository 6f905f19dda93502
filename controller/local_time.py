"""Local dates and clock times as instants, also where the clocks change. Pure."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from zoneinfo import ZoneInfo


def first_instant(zone: ZoneInfo, date: dt.date, time: dt.time) -> float:
    """The first instant that reads a local time, or the one that ends the gap it falls in.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        The zone.
    date, time : datetime.date, datetime.time
        The local time, whole seconds.

    Returns
    -------
    float
        Seconds since the Unix epoch, UTC [s].
    """
    earlier_s, later_s, in_gap = _candidates(zone, date, time)
    return _gap_end(zone, date, time, earlier_s, later_s) if in_gap else earlier_s


def last_instant(zone: ZoneInfo, date: dt.date, time: dt.time) -> float:
    """The last instant that reads a local time, or the one that ends the gap it falls in.

    As `first_instant`, but of a time that comes twice the second.
    """
    earlier_s, later_s, in_gap = _candidates(zone, date, time)
    return _gap_end(zone, date, time, earlier_s, later_s) if in_gap else later_s


def _gap_end(
    zone: ZoneInfo, date: dt.date, time: dt.time, before_s: float, after_s: float
) -> float:
    # The clocks jump somewhere in (before_s, after_s]; zones change on whole seconds.
    local = dt.datetime.combine(date, time)
    while after_s - before_s > 1.0:
        middle_s = (before_s + after_s) // 2
        reads = dt.datetime.fromtimestamp(middle_s, zone).replace(tzinfo=None)
        if reads >= local:
            after_s = middle_s
        else:
            before_s = middle_s
    return after_s


@lru_cache(maxsize=256)  # a timetable goes over much the same days again and again
def _candidates(zone: ZoneInfo, date: dt.date, time: dt.time) -> tuple[float, float, bool]:
    """The two instants that may read a local time, and whether none does."""
    # PEP 495: the two folds agree on an ordinary time, are in order on one that comes twice
    # and out of order on one that is skipped.
    local = dt.datetime.combine(date, time, zone)
    first_s, second_s = local.timestamp(), local.replace(fold=1).timestamp()
    return min(first_s, second_s), max(first_s, second_s), first_s > second_s
