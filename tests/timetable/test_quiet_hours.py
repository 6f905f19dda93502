"""Quiet hours: local clock times, across midnight and across changes of the clocks."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from controller.quiet_hours import QuietHours
from controller.timetable import Timetable

ROME = ZoneInfo("Europe/Rome")
times = st.times().map(lambda time: time.replace(microsecond=0))


def quiet(begins: dt.time, ends: dt.time) -> QuietHours:
    return QuietHours(Timetable("Europe/Rome", begins, ends))


def at_s(text: str, fold: int = 0) -> float:
    return dt.datetime.fromisoformat(text).replace(tzinfo=ROME, fold=fold).timestamp()


NIGHT = quiet(dt.time(22), dt.time(2, 30))


def test_they_go_across_midnight_by_the_local_clock_in_summer_and_winter() -> None:
    for day in ("2031-01-15", "2031-07-15"):
        assert not NIGHT.state(at_s(f"{day}T21:59:59")).is_quiet
        assert NIGHT.state(at_s(f"{day}T22:00")).is_quiet
        assert NIGHT.state(at_s(f"{day}T02:29:59")).is_quiet
        assert not NIGHT.state(at_s(f"{day}T02:30")).is_quiet


def test_where_a_clock_time_comes_twice_quiet_lasts_until_the_second() -> None:
    assert NIGHT.state(at_s("2031-10-26T02:40")).is_quiet
    assert NIGHT.state(at_s("2031-10-26T02:20", fold=1)).is_quiet
    assert not NIGHT.state(at_s("2031-10-26T02:30", fold=1)).is_quiet


def test_where_a_clock_time_is_skipped_quiet_ends_with_the_gap() -> None:
    assert NIGHT.state(at_s("2031-03-30T01:59:59")).is_quiet
    assert not NIGHT.state(at_s("2031-03-30T03:00")).is_quiet


def test_without_quiet_hours_it_is_never_quiet() -> None:
    never = QuietHours(None)
    assert not never.state(0.0).is_quiet
    assert never.state(0.0).valid_until_s == float("inf")
    assert never.intervals(dt.date(2031, 7, 15)) == ()


@given(times, times, st.datetimes(dt.datetime(2031, 1, 1), dt.datetime(2031, 12, 31)))
def test_on_a_day_without_a_change_of_clocks_it_is_quiet_where_the_clock_says(
    begins: dt.time, ends: dt.time, local: dt.datetime
) -> None:
    if begins == ends or local.date().month in (3, 10):
        return
    clock = local.time()
    is_between = begins <= clock < ends if begins < ends else clock >= begins or clock < ends
    state = quiet(begins, ends).state(local.replace(tzinfo=ROME).timestamp())
    assert state.is_quiet is is_between
    assert state.valid_from_s <= local.replace(tzinfo=ROME).timestamp() < state.valid_until_s
