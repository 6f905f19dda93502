"""What the timetable says: single cases by hand, and properties in every zone there is."""

from __future__ import annotations

import datetime as dt
import itertools
import math
import zoneinfo
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.config import load_settings
from controller.timetable import ChangeKind, Interval, ScheduleChange, Timetable

HOUR_S = 3600.0
EXAMPLES = Path(__file__).parents[2] / "config"


def at(text: str) -> float:
    """An RFC 3339 instant as seconds since the epoch."""
    return dt.datetime.fromisoformat(text).timestamp()


def texts(table: Timetable, intervals: tuple[Interval, ...]) -> list[tuple[str, str]]:
    return [
        (
            dt.datetime.fromtimestamp(start_s, table.zone).isoformat(timespec="minutes"),
            dt.datetime.fromtimestamp(end_s, table.zone).isoformat(timespec="minutes"),
        )
        for start_s, end_s in intervals
    ]


def rome(on: str, off: str, **other: Any) -> Timetable:
    return Timetable("Europe/Rome", dt.time.fromisoformat(on), dt.time.fromisoformat(off), **other)


def test_fan_hours_begin_pre_run_before_lights_on_and_end_run_on_after_lights_off() -> None:
    table = rome("06:00", "22:00", pre_run_s=900, run_on_s=1800)
    day = dt.date(2026, 7, 1)
    assert texts(table, table.lamp_intervals(day)) == [
        ("2026-07-01T06:00+02:00", "2026-07-01T22:00+02:00")
    ]
    assert texts(table, table.fan_hours_intervals(day)) == [
        ("2026-07-01T05:45+02:00", "2026-07-01T22:30+02:00")
    ]
    before, opening = table.state(at("2026-07-01T05:44:59+02:00")), at("2026-07-01T05:45+02:00")
    assert not before.in_fan_hours
    assert before.next_change == ScheduleChange(opening, (ChangeKind.FAN_HOURS_BEGIN,))
    opened = table.state(opening)
    assert opened.in_fan_hours and not opened.lamp_on
    assert opened.valid_from_s == opening
    assert opened.valid_until_s == at("2026-07-01T06:00+02:00")


def test_photoperiod_across_midnight_touches_a_day_with_two_stretches() -> None:
    table = rome("20:00", "12:00")
    assert texts(table, table.lamp_intervals(dt.date(2026, 7, 2))) == [
        ("2026-07-01T20:00+02:00", "2026-07-02T12:00+02:00"),
        ("2026-07-02T20:00+02:00", "2026-07-03T12:00+02:00"),
    ]


def test_lights_off_at_midnight_leaves_the_next_day_alone() -> None:
    table = rome("06:00", "00:00")
    assert texts(table, table.lamp_intervals(dt.date(2026, 7, 2))) == [
        ("2026-07-02T06:00+02:00", "2026-07-03T00:00+02:00")
    ]


def test_lamp_times_skipped_in_spring_mean_the_first_instant_after_the_gap() -> None:
    # Europe: 02:00 CET becomes 03:00 CEST on the last Sunday of March (Directive 2000/84/EC).
    day = dt.date(2026, 3, 29)
    on_skipped = rome("02:30", "20:00", pre_run_s=900)
    assert texts(on_skipped, on_skipped.fan_hours_intervals(day)) == [
        ("2026-03-29T01:45+01:00", "2026-03-29T20:00+02:00")
    ]
    off_skipped = rome("20:00", "02:30")
    assert texts(off_skipped, off_skipped.lamp_intervals(day))[0] == (
        "2026-03-28T20:00+01:00",
        "2026-03-29T03:00+02:00",
    )


def test_photoperiod_wholly_inside_the_gap_lights_nothing_and_opens_nothing() -> None:
    table = rome("02:10", "02:50", pre_run_s=900, run_on_s=900)
    assert table.lamp_intervals(dt.date(2026, 3, 29)) == ()
    assert table.fan_hours_intervals(dt.date(2026, 3, 29)) == ()
    assert len(table.lamp_intervals(dt.date(2026, 3, 30))) == 1


def test_of_a_repeated_hour_lights_on_is_the_first_pass_and_lights_off_the_second() -> None:
    day = dt.date(2026, 10, 25)
    on_repeated = rome("02:30", "20:00")
    assert texts(on_repeated, on_repeated.lamp_intervals(day)) == [
        ("2026-10-25T02:30+02:00", "2026-10-25T20:00+01:00")
    ]
    off_repeated = rome("20:00", "02:30", run_on_s=1800)
    assert texts(off_repeated, off_repeated.fan_hours_intervals(day))[0] == (
        "2026-10-24T20:00+02:00",
        "2026-10-25T03:00+01:00",
    )


def test_half_hour_clock_changes_are_followed() -> None:
    # Lord Howe Island: 02:00 +11 becomes 01:30 +10:30 on the first Sunday of April.
    table = Timetable("Australia/Lord_Howe", dt.time(20), dt.time(1, 45))
    assert texts(table, table.lamp_intervals(dt.date(2026, 4, 5)))[0] == (
        "2026-04-04T20:00+11:00",
        "2026-04-05T01:45+10:30",
    )


def test_day_that_a_zone_skipped_is_passed_over() -> None:
    # Samoa went from 29 to 31 December 2011, across the date line.
    by_day = Timetable("Pacific/Apia", dt.time(6), dt.time(22), pre_run_s=900, run_on_s=900)
    assert by_day.day(dt.date(2011, 12, 30)) == Interval(*[at("2011-12-30T10:00+00:00")] * 2)
    assert by_day.lamp_intervals(dt.date(2011, 12, 30)) == ()
    changes = by_day.changes(at("2011-12-29T21:00-10:00"), at("2011-12-31T07:00+14:00"))
    assert [c.kinds[0] for c in changes] == [
        ChangeKind.LIGHTS_OFF,
        ChangeKind.FAN_HOURS_END,
        ChangeKind.FAN_HOURS_BEGIN,
        ChangeKind.LIGHTS_ON,
    ]
    by_night = Timetable("Pacific/Apia", dt.time(20), dt.time(12))
    assert texts(by_night, by_night.lamp_intervals(dt.date(2011, 12, 31)))[0] == (
        "2011-12-29T20:00-10:00",
        "2011-12-31T12:00+14:00",
    )


@pytest.mark.parametrize("time", [dt.time(0), dt.time(6)])
def test_equal_times_mean_always_lit_and_always_open(time: dt.time) -> None:
    table = Timetable("Europe/Rome", time, time, pre_run_s=900, run_on_s=900)
    state = table.state(at("2026-03-29T01:00+00:00"))
    assert state.lamp_on and state.in_fan_hours
    assert state.next_change is None
    assert table.fan_hours_intervals(dt.date(2026, 3, 29)) == (Interval(-math.inf, math.inf),)


def test_equal_times_that_mean_never_give_no_light_and_no_fan_hours() -> None:
    table = rome("06:00", "06:00", same_means="never", pre_run_s=900, run_on_s=900)
    state = table.state(at("2026-03-29T01:00+00:00"))
    assert not state.lamp_on and not state.in_fan_hours
    assert state.next_change is None
    assert table.fan_hours_intervals(dt.date(2026, 3, 29)) == ()


@pytest.mark.parametrize("run_on_h", [4, 5, 30])
def test_fan_hours_that_meet_or_overlap_never_end(run_on_h: int) -> None:
    table = Timetable(
        "Asia/Kolkata", dt.time(6), dt.time(22), pre_run_s=4 * HOUR_S, run_on_s=run_on_h * HOUR_S
    )
    year = list(table.changes(at("2026-01-01T00:00+05:30"), at("2027-01-01T00:00+05:30")))
    assert len(year) == 2 * 365
    assert {kind for change in year for kind in change.kinds} == {
        ChangeKind.LIGHTS_ON,
        ChangeKind.LIGHTS_OFF,
    }
    assert table.fan_hours_intervals(dt.date(2026, 6, 1)) == (Interval(-math.inf, math.inf),)


def test_fan_hours_that_just_meet_part_only_in_the_night_that_is_an_hour_longer() -> None:
    table = rome("06:00", "22:00", pre_run_s=4 * HOUR_S, run_on_s=4 * HOUR_S)
    assert texts(table, table.fan_hours_intervals(dt.date(2026, 12, 31))) == [
        ("2026-10-25T02:00+01:00", "2027-10-31T02:00+02:00")
    ]


def test_purgees_are_counted_from_the_first_instant_of_the_local_day() -> None:
    table = rome("06:00", "22:00", purge_every_s=7 * HOUR_S, purge_length_s=600)
    starts = [start for start, _ in texts(table, table.purge_intervals(dt.date(2026, 10, 25)))]
    # 25 h long: the fourth purge is 21 h after midnight, at 20:00 by the clock.
    assert starts == [
        "2026-10-25T00:00+02:00",
        "2026-10-25T06:00+01:00",
        "2026-10-25T13:00+01:00",
        "2026-10-25T20:00+01:00",
    ]
    assert table.state(at("2026-10-25T06:09:59+01:00")).purge_on
    assert not table.state(at("2026-10-25T06:10+01:00")).purge_on


def test_purge_that_reaches_the_next_one_never_ends() -> None:
    table = rome("06:00", "22:00", purge_every_s=600, purge_length_s=600)
    assert table.purge_intervals(dt.date(2026, 1, 1)) == (Interval(-math.inf, math.inf),)


def test_purge_of_the_late_evening_runs_its_full_length_into_the_next_day() -> None:
    table = rome("06:00", "22:00", purge_every_s=85_800, purge_length_s=1200)
    assert texts(table, table.purge_intervals(dt.date(2026, 6, 2))) == [
        ("2026-06-01T23:50+02:00", "2026-06-02T00:20+02:00"),
        ("2026-06-02T23:50+02:00", "2026-06-03T00:20+02:00"),
    ]


@pytest.mark.parametrize("wall_s", [math.nan, math.inf, -math.inf, 1e18, -3e9])
def test_instants_far_outside_the_calendar_are_refused(wall_s: float) -> None:
    with pytest.raises(ValueError, match="years 1900 to 8999"):
        rome("06:00", "22:00").state(wall_s)


@pytest.mark.parametrize(
    ("last_s", "beyond_s"),
    [
        # From 1900-01-01T00:00Z to before 9000-01-01T00:00Z, by GNU date -u -d ... +%s.
        (-2_208_988_800.0, -2_208_988_800.5),
        (221_845_391_999.5, 221_845_392_000.0),
    ],
)
def test_the_first_and_the_last_instant_of_the_calendar_are_answered(
    last_s: float, beyond_s: float
) -> None:
    rome("06:00", "22:00").state(last_s)
    with pytest.raises(ValueError, match="years 1900 to 8999"):
        rome("06:00", "22:00").state(beyond_s)


def test_fan_hours_that_begin_the_day_before_hold_on_every_day_that_is_walked_through() -> None:
    # The purges are changes that lie beyond the last fan hours known.
    table = Timetable(
        "UTC",
        dt.time(6),
        dt.time(8),
        pre_run_s=20 * 3600.0,
        purge_every_s=7200.0,
        purge_length_s=300.0,
    )
    start_s = dt.datetime(2026, 5, 1, tzinfo=dt.UTC).timestamp()
    for half_hour in range(48 * 20):
        now = table.state(start_s + 1800.0 * half_hour)
        hour = half_hour % 48 / 2
        assert now.in_fan_hours is not (8.0 <= hour < 10.0), half_hour
        assert now.lamp_on is (6.0 <= hour < 8.0), half_hour


def test_without_a_pre_run_or_a_run_on_fan_hours_are_the_lamp_hours() -> None:
    table = Timetable("UTC", dt.time(6), dt.time(22))
    day = dt.date(2026, 5, 1)
    assert table.fan_hours_intervals(day) == table.lamp_intervals(day)


def test_changes_are_those_from_an_instant_on_to_before_another() -> None:
    table = rome("06:00", "22:00")
    on_s, off_s = at("2026-07-01T06:00+02:00"), at("2026-07-01T22:00+02:00")
    both = (ChangeKind.LIGHTS_ON, ChangeKind.FAN_HOURS_BEGIN)
    ends = (ChangeKind.LIGHTS_OFF, ChangeKind.FAN_HOURS_END)
    assert list(table.changes(on_s, off_s)) == [ScheduleChange(on_s, both)]
    assert list(table.changes(on_s + 1.0, off_s + 1.0)) == [ScheduleChange(off_s, ends)]


def test_a_stretch_that_begins_with_a_day_is_lit_whichever_day_was_asked_for_before() -> None:
    table = rome("00:00", "12:00")
    for back in range(30):
        assert table.state(at("2026-07-31T00:00+02:00") - 24.0 * HOUR_S * back).lamp_on


@pytest.mark.parametrize("has_purge", [True, False])
def test_the_purges_of_a_config_are_in_its_timetable(has_purge: bool) -> None:
    settings = load_settings(EXAMPLES / "chillies.yaml").settings  # 5 min every 2 h
    if not has_purge:
        schedule = replace(settings.schedule, purge=None)
        settings = replace(settings, schedule=schedule)
    purges = Timetable.from_settings(settings).purge_intervals(dt.date(2026, 7, 1))
    assert [end_s - start_s for start_s, end_s in purges] == [300.0] * (12 if has_purge else 0)


def test_purges_may_be_shorter_than_a_second() -> None:
    table = rome("06:00", "22:00", purge_every_s=3600.0, purge_length_s=0.25)
    assert table.state(at("2026-07-01T01:00+02:00") + 0.125).purge_on
    assert not table.state(at("2026-07-01T01:00+02:00") + 0.25).purge_on


def test_purges_may_follow_within_a_second() -> None:
    # They meet, and so are one: a second's worth of single ones for days is only more of them.
    table = rome("06:00", "22:00", purge_every_s=0.5, purge_length_s=0.5)
    assert table.purge_intervals(dt.date(2026, 7, 1)) == (Interval(-math.inf, math.inf),)


def test_a_date_that_a_zone_left_out_has_no_lit_hours() -> None:
    # Samoa went from 29 to 31 December 2011 when it crossed the date line (tz database).
    table = Timetable("Pacific/Apia", dt.time(22), dt.time(6), pre_run_s=600.0)
    left_out = dt.date(2011, 12, 30)
    assert table.lamp_intervals(left_out) == ()
    assert table.fan_hours_intervals(left_out) == ()


def test_instant_of_an_unset_clock_is_answered() -> None:
    assert not rome("06:00", "22:00").state(0.0).lamp_on  # 01:00 in Rome


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"pre_run_s": -1.0}, "pre_run_s must be 0 s or more"),
        ({"run_on_s": math.nan}, "run_on_s must be 0 s or more"),
        ({"purge_every_s": 0.0, "purge_length_s": 1.0}, "purge_every_s must be above 0 s"),
        ({"purge_every_s": 60.0}, "give both or none"),
    ],
)
def test_nonsense_durations_are_refused(arguments: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        rome("06:00", "22:00", **arguments)


minutes = st.integers(0, 1439).map(lambda m: dt.time(*divmod(m, 60)))
tables = st.builds(
    Timetable,
    st.sampled_from(sorted(zoneinfo.available_timezones())),
    minutes,
    minutes,
    same_means=st.sampled_from(["always", "never"]),
    pre_run_s=st.floats(0, 100_000),
    run_on_s=st.floats(0, 100_000),
)
instants = st.floats(at("1970-01-02T00:00+00:00"), at("2100-01-01T00:00+00:00"))


@given(tables, instants)
def test_state_holds_from_its_first_instant_to_just_before_its_last(
    table: Timetable, wall_s: float
) -> None:
    state = table.state(wall_s)
    assert state.valid_from_s <= wall_s < state.valid_until_s
    fresh = Timetable(
        table.zone.key,
        table.lights_on,
        table.lights_off,
        same_means="always" if state.lamp_on else "never",
        pre_run_s=table.pre_run_s,
        run_on_s=table.run_on_s,
    )
    for other_s in (state.valid_from_s, math.nextafter(state.valid_until_s, -math.inf)):
        other = fresh.state(other_s)
        assert (other.lamp_on, other.in_fan_hours) == (state.lamp_on, state.in_fan_hours)
    if state.next_change is not None:
        after = fresh.state(state.valid_until_s)
        assert (after.lamp_on, after.in_fan_hours) != (state.lamp_on, state.in_fan_hours)


@given(tables, instants)
def test_it_is_in_fan_hours_whenever_the_lamp_is_lit(table: Timetable, wall_s: float) -> None:
    state = table.state(wall_s)
    assert state.in_fan_hours or not state.lamp_on


@given(tables, instants)
def test_intervals_of_a_day_agree_with_the_state_at_any_instant_of_it(
    table: Timetable, wall_s: float
) -> None:
    date, state = table.local_date(wall_s), table.state(wall_s)
    for intervals, holds in (
        (table.lamp_intervals(date), state.lamp_on),
        (table.fan_hours_intervals(date), state.in_fan_hours),
    ):
        assert any(i.start_s <= wall_s < i.end_s for i in intervals) == holds
        assert all(a.end_s < b.start_s for a, b in itertools.pairwise(intervals))


@given(tables, instants)
def test_answers_do_not_depend_on_what_was_asked_before(table: Timetable, wall_s: float) -> None:
    asked_first = table.state(wall_s)
    for days in (-3, 2, 40, -1):
        table.state(wall_s + days * 86_400)
    again = table.state(wall_s)
    assert (again.lamp_on, again.in_fan_hours, again.next_change) == (
        asked_first.lamp_on,
        asked_first.in_fan_hours,
        asked_first.next_change,
    )
