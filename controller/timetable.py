"""The timetable of lamp, fan hours and purges: a pure function of the instant.

Lamp times are local clock times, everything else is elapsed time:

* Lights-on is the first instant of its day that reads the given time, lights-off the last one.
  They differ only when the clocks go back and the time comes twice; so the lamp is never taken
  to be dark, and the fan hours never end, an hour too early.
* A local time that the clocks skip stands for the first instant after the gap.  A day that a zone
  skips altogether has no hours of light of its own.
* The fan hours are the lit time, widened by `pre_run` before and `run_on` after, both elapsed.
  Stretches that meet or overlap are one.  Without light there are none.
* Purges are counted from the first instant of each local day and run their full length.
"""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from enum import StrEnum
from typing import TYPE_CHECKING, Literal, NamedTuple
from zoneinfo import ZoneInfo

from controller.local_time import first_instant, last_instant

if TYPE_CHECKING:
    from controller.config import Settings

_DAY_S = 86_400.0
_DAY = dt.timedelta(days=1)
# How many days around to look for a change, again and again until one is found.  One is nearly
# always enough; more than a year, since the one night long enough to end fan hours that go on
# from day to day may be the night when the clocks go back.
_REACHES_DAYS = (1, 5, 20, 400)
# The states worked out are kept: a week further ahead costs less than a look-up each day.
_AHEAD_DAYS = 6
# The valid instants: 1900 to 9000, so that looking around stays within Python's dates.
_EARLIEST_S, _LATEST_S = -2_208_988_800.0, 221_845_392_000.0


class ChangeKind(StrEnum):
    """What changes at an instant."""

    LIGHTS_ON = "lights_on"
    LIGHTS_OFF = "lights_off"
    FAN_HOURS_BEGIN = "fan_hours_begin"
    FAN_HOURS_END = "fan_hours_end"
    PURGE_STARTS = "purge_starts"
    PURGE_ENDS = "purge_ends"


class Interval(NamedTuple):
    """A stretch of time, its end excluded; an infinite bound means none within a year.

    Attributes
    ----------
    start_s, end_s : float
        Seconds since the Unix epoch, UTC [s]; ``-inf`` and ``inf`` where there is no bound.
    """

    start_s: float
    end_s: float

    def touches(self, other: Interval) -> bool:
        """Whether two intervals have an instant in common."""
        return self.start_s < other.end_s and other.start_s < self.end_s


_ALWAYS = Interval(-math.inf, math.inf)


class ScheduleChange(NamedTuple):
    """An instant at which the timetable changes.

    Attributes
    ----------
    at_s : float
        Seconds since the Unix epoch, UTC [s].
    kinds : tuple of ChangeKind
        What changes then; several when they fall together.
    """

    at_s: float
    kinds: tuple[ChangeKind, ...]


class ScheduleState(NamedTuple):
    """What the timetable says at an instant, and for how long that stays so.

    Attributes
    ----------
    lamp_on : bool
        Whether the lamp is lit by the timetable.
    in_fan_hours : bool
        Whether it is in the fan hours.
    purge_on : bool
        Whether a purge is due.
    valid_from_s, valid_until_s : float
        The state holds unchanged in [valid_from_s, valid_until_s); seconds since the epoch, UTC
        [s].
    next_change : ScheduleChange or None
        What changes at `valid_until_s`; None where nothing changes within a year.
    """

    lamp_on: bool
    in_fan_hours: bool
    purge_on: bool
    valid_from_s: float
    valid_until_s: float
    next_change: ScheduleChange | None


class Timetable:
    """The lit hours, the fan hours and the purges of one tent.

    Parameters
    ----------
    timezone : str
        IANA zone of the lamp times.
    lights_on, lights_off : datetime.time
        Local clock times; lights-off earlier than lights-on is across midnight.
    same_means : {"always", "never"}
        What equal times mean: 24 h of light or none.
    pre_run_s, run_on_s : float
        How long the fan hours begin before lights-on and end after lights-off, ≥ 0 [s].
    purge_every_s, purge_length_s : float or None
        From one purge to the next, > 0, and how long each lasts, > 0 [s]; None: no purges.

    Raises
    ------
    ValueError
        When a duration is negative, not finite, or `purge_every_s` is not above 0.
    zoneinfo.ZoneInfoNotFoundError
        When the zone is not known.

    Notes
    -----
    After construction only the cached states of the days around the last answer change, so that
    asking about the same days again costs next to nothing.
    """

    def __init__(
        self,
        timezone: str,
        lights_on: dt.time,
        lights_off: dt.time,
        *,
        same_means: Literal["always", "never"] = "always",
        pre_run_s: float = 0.0,
        run_on_s: float = 0.0,
        purge_every_s: float | None = None,
        purge_length_s: float | None = None,
    ) -> None:
        for name, value in (("pre_run_s", pre_run_s), ("run_on_s", run_on_s)):
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"{name} must be 0 s or more, got: {value}")
        self._purge: tuple[float, float] | None = None
        if purge_every_s is not None and purge_length_s is not None:
            for name, value in (
                ("purge_every_s", purge_every_s),
                ("purge_length_s", purge_length_s),
            ):
                if not (math.isfinite(value) and value > 0.0):
                    raise ValueError(f"{name} must be above 0 s, got: {value}")
            self._purge = (purge_every_s, purge_length_s)
        elif purge_every_s is not None or purge_length_s is not None:
            raise ValueError("purge_every_s and purge_length_s belong together: give both or none")
        self.zone = ZoneInfo(timezone)
        self.lights_on = lights_on.replace(tzinfo=None, fold=0)
        self.lights_off = lights_off.replace(tzinfo=None, fold=0)
        self.pre_run_s = pre_run_s
        self.run_on_s = run_on_s
        self._same = same_means if self.lights_on == self.lights_off else None
        # Replaced as a whole, so that threads may share a timetable.
        self._known: tuple[tuple[float, ...], tuple[ScheduleState, ...]] = ((), ())

    @classmethod
    def from_settings(cls, settings: Settings) -> Timetable:
        """The timetable of a config."""
        photoperiod = settings.lamp.photoperiod
        purge = settings.schedule.purge
        return cls(
            settings.place.timezone,
            photoperiod.lights_on,
            photoperiod.lights_off,
            same_means=photoperiod.same_means,
            pre_run_s=settings.schedule.pre_run_s,
            run_on_s=settings.schedule.run_on_s,
            purge_every_s=purge.every_s if purge else None,
            purge_length_s=purge.length_s if purge else None,
        )

    def state(self, wall_s: float) -> ScheduleState:
        """What the timetable says at an instant.

        Parameters
        ----------
        wall_s : float
            Seconds since the Unix epoch, UTC [s], in the years 1900 to 8999.

        Raises
        ------
        ValueError
            Outside those years.
        """
        starts_s, states = self._known
        if not (states and starts_s[0] <= wall_s < states[-1].valid_until_s):
            states = self._look_around(wall_s)
            starts_s = tuple(state.valid_from_s for state in states)
            self._known = starts_s, states
        return states[bisect_right(starts_s, wall_s) - 1]

    def changes(self, from_s: float, until_s: float) -> Iterator[ScheduleChange]:
        """Every change in [from_s, until_s), in order."""
        at_s = math.nextafter(from_s, -math.inf)
        while (change := self.state(at_s).next_change) is not None and change.at_s < until_s:
            yield change
            at_s = change.at_s

    def lamp_intervals(self, date: dt.date) -> tuple[Interval, ...]:
        """The lit stretches that touch a local day, each in full length."""
        return self._touching(date, self._lamp)

    def fan_hours_intervals(self, date: dt.date) -> tuple[Interval, ...]:
        """The stretches of fan hours that touch a local day, each in full length."""
        return self._touching(date, self._fan_hours)

    def purge_intervals(self, date: dt.date) -> tuple[Interval, ...]:
        """The purges that touch a local day, each in full length."""
        return self._touching(date, self._purges)

    def local_date(self, wall_s: float) -> dt.date:
        """The date in the tent's zone at `wall_s` (Unix epoch, UTC) [s]."""
        if not _EARLIEST_S <= wall_s < _LATEST_S:
            raise ValueError(
                f"wall_s must lie in the years 1900 to 8999, "
                f"[{_EARLIEST_S:.0f}, {_LATEST_S:.0f}) s, got: {wall_s}"
            )
        return dt.datetime.fromtimestamp(math.floor(wall_s), self.zone).date()

    def day(self, date: dt.date) -> Interval:
        """From the first instant of a local day to that of the next; empty for a skipped day."""
        return Interval(
            first_instant(self.zone, date, dt.time.min),
            first_instant(self.zone, date + _DAY, dt.time.min),
        )

    def _look_around(self, wall_s: float) -> tuple[ScheduleState, ...]:
        """The states of the days around `wall_s`, its own among them."""
        date = self.local_date(wall_s)
        for reach_days in _REACHES_DAYS:
            first, end, known = self._around(date, reach_days, _AHEAD_DAYS)
            lamp = _settled(self._lamp(first, end), known)
            fan_hours = _settled(self._fan_hours(first, end), known)
            purge = _settled(self._purges(first, end), known)
            changes = _changes(known, lamp, fan_hours, purge)
            if changes and wall_s < changes[-1].at_s:
                # The states end with the last change known.
                return _states(known.start_s, changes, lamp, fan_hours, purge)
        nothing_ahead = ScheduleChange(known.end_s, ())
        return _states(known.start_s, [*changes, nothing_ahead], lamp, fan_hours, purge)

    def _around(
        self, date: dt.date, reach_days: int, further_days: int = 0
    ) -> tuple[dt.date, dt.date, Interval]:
        first, end = date - reach_days * _DAY, date + (reach_days + 1 + further_days) * _DAY
        return first, end, Interval(self.day(first).start_s, self.day(end).start_s)

    def _touching(
        self, date: dt.date, intervals_of: Callable[[dt.date, dt.date], list[Interval]]
    ) -> tuple[Interval, ...]:
        day = self.day(date)
        if day.start_s == day.end_s:
            return ()
        touching: tuple[Interval, ...] = ()
        for reach_days in _REACHES_DAYS:
            first, end, known = self._around(date, reach_days)
            touching = tuple(i for i in _settled(intervals_of(first, end), known) if i.touches(day))
            if all(math.isfinite(t) for i in touching for t in i):
                break
        return touching

    # Lamp, fan hours and purges: every interval that touches the days from `first` to before
    # `end`, and possibly some beyond; in order, those that meet or overlap joined.

    def _lamp(self, first: dt.date, end: dt.date) -> list[Interval]:
        if self._same is not None:
            return [_ALWAYS] if self._same == "always" else []
        # A stretch begins on the day before at the earliest, or two when that day is skipped.
        overnight = _DAY if self.lights_off < self.lights_on else dt.timedelta(0)
        lit = []
        for date in _dates(first - 2 * _DAY, end):
            start_s = first_instant(self.zone, date, self.lights_on)
            end_s = last_instant(self.zone, date + overnight, self.lights_off)
            if start_s < end_s:
                lit.append(Interval(start_s, end_s))
        return _joined(lit)

    def _fan_hours(self, first: dt.date, end: dt.date) -> list[Interval]:
        reach = math.ceil(max(self.pre_run_s, self.run_on_s) / _DAY_S) * _DAY + _DAY
        return _joined(
            Interval(lit.start_s - self.pre_run_s, lit.end_s + self.run_on_s)
            for lit in self._lamp(first - reach, end + reach)
        )

    def _purges(self, first: dt.date, end: dt.date) -> list[Interval]:
        if self._purge is None:
            return []
        every_s, length_s = self._purge
        if length_s >= every_s:
            return [_ALWAYS]
        purges = []
        for date in _dates(first - math.ceil(length_s / _DAY_S) * _DAY, end):
            day = self.day(date)
            for count in range(math.ceil((day.end_s - day.start_s) / every_s)):
                start_s = day.start_s + count * every_s
                purges.append(Interval(start_s, start_s + length_s))
        return _joined(purges)


def _dates(first: dt.date, end: dt.date) -> Iterator[dt.date]:
    return (first + days * _DAY for days in range((end - first).days))


def _joined(intervals: Iterable[Interval]) -> list[Interval]:
    """Sort the intervals and join those that meet or overlap."""
    joined: list[Interval] = []
    for interval in sorted(intervals):
        if joined and interval.start_s <= joined[-1].end_s:
            last = joined.pop()
            interval = Interval(last.start_s, max(last.end_s, interval.end_s))
        joined.append(interval)
    return joined


def _settled(intervals: Iterable[Interval], known: Interval) -> list[Interval]:
    """The intervals that touch the known stretch, with infinite bounds where they leave it."""
    return [
        Interval(
            i.start_s if i.start_s >= known.start_s else -math.inf,
            i.end_s if i.end_s <= known.end_s else math.inf,
        )
        for i in intervals
        if i.touches(known)
    ]


def _changes(
    known: Interval, lamp: list[Interval], fan_hours: list[Interval], purge: list[Interval]
) -> list[ScheduleChange]:
    kinds: defaultdict[float, list[ChangeKind]] = defaultdict(list)
    for intervals, starts, ends in (
        (lamp, ChangeKind.LIGHTS_ON, ChangeKind.LIGHTS_OFF),
        (fan_hours, ChangeKind.FAN_HOURS_BEGIN, ChangeKind.FAN_HOURS_END),
        (purge, ChangeKind.PURGE_STARTS, ChangeKind.PURGE_ENDS),
    ):
        for start_s, end_s in intervals:
            kinds[start_s].append(starts)
            kinds[end_s].append(ends)
    return [
        ScheduleChange(at_s, tuple(kinds[at_s]))
        for at_s in sorted(kinds)
        if known.start_s < at_s < known.end_s
    ]


def _states(
    from_s: float,
    changes: Iterable[ScheduleChange],
    lamp: list[Interval],
    fan_hours: list[Interval],
    purge: list[Interval],
) -> tuple[ScheduleState, ...]:
    """The states from `from_s` to the last of the changes, one after the other."""
    lamp_on, in_fan_hours, purge_on = (
        any(i.start_s <= from_s < i.end_s for i in intervals)
        for intervals in (lamp, fan_hours, purge)
    )
    states = []
    for change in changes:
        states.append(
            ScheduleState(
                lamp_on,
                in_fan_hours,
                purge_on,
                valid_from_s=from_s,
                valid_until_s=change.at_s,
                next_change=change if change.kinds else None,
            )
        )
        from_s = change.at_s
        kinds = change.kinds
        lamp_on = (lamp_on or ChangeKind.LIGHTS_ON in kinds) and ChangeKind.LIGHTS_OFF not in kinds
        in_fan_hours = (
            in_fan_hours or ChangeKind.FAN_HOURS_BEGIN in kinds
        ) and ChangeKind.FAN_HOURS_END not in kinds
        purge_on = (
            purge_on or ChangeKind.PURGE_STARTS in kinds
        ) and ChangeKind.PURGE_ENDS not in kinds
    return tuple(states)
