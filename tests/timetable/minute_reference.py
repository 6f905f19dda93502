"""A second opinion on the timetable: walk real UTC minutes and read each one's local clock.

Written apart from `controller.timetable` and the other way round: nothing here turns a local
time into an instant.  pandas converts every UTC minute of a stretch to local time, and the minutes
are then marked one by one.  Time zone rules come from the IANA data base in both.
"""

from __future__ import annotations

import datetime as dt
import functools
import random
from dataclasses import dataclass

import numpy as np
import pandas as pd

MARGIN_DAYS = 5
JUDGED_DAYS = 2
_DAY_MIN = 1440

# Ordinary rules, half-hour DST (Lord Howe), two-hour DST (Troll), clocks that change at midnight
# (Havana, Beirut, Sao Paulo until 2019) or a minute after it (St John's until 2011), DST that goes
# backwards (Casablanca in Ramadan, Dublin), a skipped day (Apia, end of 2011), odd offsets
# (Chatham, Kathmandu), none at all (Kolkata, UTC).
ZONES = {
    "Europe/Rome": 2026,
    "America/New_York": 2026,
    "Australia/Lord_Howe": 2026,
    "Antarctica/Troll": 2026,
    "America/Havana": 2026,
    "Asia/Beirut": 2026,
    "America/Sao_Paulo": 2018,
    "America/St_Johns": 2007,
    "Africa/Casablanca": 2026,
    "Europe/Dublin": 2026,
    "Pacific/Apia": 2011,
    "Pacific/Chatham": 2026,
    "Asia/Kathmandu": 2026,
    "Asia/Kolkata": 2026,
    "UTC": 2026,
}


@dataclass(frozen=True)
class Case:
    """One timetable and the stretch of days on which it is judged."""

    zone: str
    first_day: dt.date  # UTC day
    lights_on_min: int
    lights_off_min: int
    same_means: str
    pre_run_min: int
    run_on_min: int
    purge_every_min: int | None
    purge_length_min: int | None

    @property
    def first_min(self) -> int:
        """First judged minute since the Unix epoch, UTC."""
        return (self.first_day - dt.date(1970, 1, 1)).days * _DAY_MIN


@functools.cache
def _year_around(zone: str, year: int) -> tuple[int, np.ndarray]:
    first_min = (dt.date(year, 1, 1) - dt.date(1970, 1, 1)).days * _DAY_MIN - 30 * _DAY_MIN
    start = pd.Timestamp(first_min * 60, unit="s", tz="UTC")
    utc = pd.date_range(start, periods=(366 + 60) * _DAY_MIN, freq="min")
    local = utc.tz_convert(zone).tz_localize(None)
    return first_min, local.astype("datetime64[s]").astype("int64").to_numpy() // 60


def local_minutes(zone: str, first_min: int, count: int) -> np.ndarray:
    """What the local clock reads (minutes since 1970-01-01 00:00 local) at each UTC minute."""
    origin_min, local = _year_around(zone, ZONES[zone])
    assert origin_min <= first_min and first_min + count <= origin_min + local.size
    return local[first_min - origin_min : first_min - origin_min + count]


@functools.cache
def days_of_change(zone: str, year: int) -> tuple[dt.date, ...]:
    """The UTC days of a year (and the two weeks around it) on which the clocks change."""
    first = dt.date(year, 1, 1) - dt.timedelta(days=14)
    first_min = (first - dt.date(1970, 1, 1)).days * _DAY_MIN
    local = local_minutes(zone, first_min, (365 + 28) * _DAY_MIN)
    jumps = np.flatnonzero(np.diff(local) != 1) + 1
    return tuple(first + dt.timedelta(days=int(j) // _DAY_MIN) for j in jumps)


def _first_reading(local: np.ndarray, minute: int) -> int:
    exact = np.flatnonzero(local == minute)
    return int(exact[0]) if exact.size else _first_after(local, minute)


def _last_reading(local: np.ndarray, minute: int) -> int:
    exact = np.flatnonzero(local == minute)
    return int(exact[-1]) if exact.size else _first_after(local, minute)


def _first_after(local: np.ndarray, minute: int) -> int:
    after = np.flatnonzero(local > minute)
    return int(after[0]) if after.size else local.size


def lamp_fan_hours_purge(case: Case) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Whether the lamp is lit, in the fan hours and a purge due, for every judged minute."""
    lead_days = (max(case.pre_run_min, case.run_on_min) // _DAY_MIN + 1) if case.pre_run_min else 0
    margin = (MARGIN_DAYS + lead_days) * _DAY_MIN
    count = JUDGED_DAYS * _DAY_MIN + 2 * margin
    local = local_minutes(case.zone, case.first_min - margin, count)
    lamp, fan_hours, purge = (np.zeros(count, dtype=bool) for _ in range(3))
    if case.lights_on_min == case.lights_off_min:
        lamp[:] = fan_hours[:] = case.same_means == "always"
    days = range(int(local.min()) // _DAY_MIN + 1, int(local.max()) // _DAY_MIN)
    for day in days:
        midnight = _first_reading(local, day * _DAY_MIN)
        if case.lights_on_min != case.lights_off_min:
            on = _first_reading(local, day * _DAY_MIN + case.lights_on_min)
            overnight = _DAY_MIN if case.lights_off_min < case.lights_on_min else 0
            off = _last_reading(local, day * _DAY_MIN + overnight + case.lights_off_min)
            if on < off:
                lamp[on:off] = True
                fan_hours[max(0, on - case.pre_run_min) : off + case.run_on_min] = True
        if case.purge_every_min and case.purge_length_min:
            start, next_midnight = midnight, _first_reading(local, (day + 1) * _DAY_MIN)
            while start < next_midnight:
                purge[start : start + case.purge_length_min] = True
                start += case.purge_every_min
    judged = slice(margin, margin + JUDGED_DAYS * _DAY_MIN)
    return lamp[judged], fan_hours[judged], purge[judged]


def random_case(rng: random.Random) -> Case:
    """A case of any kind, every other one with a change of the clocks in its judged days."""
    zone = rng.choice(tuple(ZONES))
    year = ZONES[zone]
    changes = days_of_change(zone, year)
    if changes and rng.random() < 0.5:
        first = rng.choice(changes) - dt.timedelta(days=rng.randrange(JUDGED_DAYS))
    else:
        first = dt.date(year, 1, 1) + dt.timedelta(days=rng.randrange(365))
    step = rng.choice((1, 1, 5, 30, 60))
    on = rng.randrange(0, _DAY_MIN, step)
    # Often in the small hours, where clocks change.
    off = rng.choice(
        (rng.randrange(0, _DAY_MIN, step), rng.randrange(0, 240, step), on, (on + step) % _DAY_MIN)
    )
    if rng.random() < 0.2:
        on = rng.randrange(0, 240, step)
    lit = (off - on) % _DAY_MIN
    pre_run = rng.choice((0, 15, rng.randrange(0, 300), rng.randrange(0, 3000)))
    # Windows that just meet, or miss each other by a minute.
    meeting = max(0, _DAY_MIN - lit - pre_run + rng.choice((-1, 0, 1)))
    run_on = rng.choice((0, 15, rng.randrange(0, 300), meeting))
    every = rng.choice((None, rng.randrange(5, 300), 60, 120, rng.randrange(300, 2000)))
    length = rng.choice((1, 3, 5, rng.randrange(1, 120))) if every else None
    return Case(
        zone, first, on, off, rng.choice(("always", "never")), pre_run, run_on, every, length
    )
