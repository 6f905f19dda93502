"""Which days are asked for, and how long a local day is."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from controller.errors import UserError
from controller.review.period import Period, choose_period

ROME = ZoneInfo("Europe/Rome")
NEWEST, TODAY = dt.date(2013, 7, 18), dt.date(2013, 7, 20)


def chosen(**options: str) -> tuple[str, str]:
    period = choose_period(ROME, newest=NEWEST, today=TODAY, **options)
    return period.days[0].date.isoformat(), period.days[-1].date.isoformat()


@pytest.mark.parametrize(
    ("options", "first", "last"),
    [
        ({}, "2013-07-18", "2013-07-18"),
        ({"day": "2013-06-02"}, "2013-06-02", "2013-06-02"),
        ({"day": "today"}, "2013-07-20", "2013-07-20"),
        ({"day": "Yesterday"}, "2013-07-19", "2013-07-19"),
        ({"day": "newest"}, "2013-07-18", "2013-07-18"),
        ({"length": "7d"}, "2013-07-12", "2013-07-18"),
        ({"length": "2 weeks"}, "2013-07-05", "2013-07-18"),
        ({"first": "2013-07-01"}, "2013-07-01", "2013-07-18"),
        ({"first": "2013-07-01", "last": "2013-07-03"}, "2013-07-01", "2013-07-03"),
    ],
)
def test_options_choose_days(options: dict[str, str], first: str, last: str) -> None:
    assert chosen(**options) == (first, last)


def test_the_last_days_of_a_young_record_begin_with_it() -> None:
    """Before there was a record, lungwort was no interruption."""
    young = dt.date(2013, 7, 16)
    period = choose_period(ROME, newest=NEWEST, today=TODAY, oldest=young, length="7d")
    assert [day.date.day for day in period.days] == [16, 17, 18]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"day": "18.7."}, "--day: not a day: '18.7.'; expected YYYY-MM-DD"),
        ({"length": "7"}, "--last: not a number of days: '7'; expected e.g. 7d"),
        ({"length": "0d"}, "--last: not a number of days"),
        ({"length": "9999d"}, "more than 3660 days"),
        ({"last": "2013-07-01"}, "--to needs --from"),
        ({"first": "2013-07-02", "last": "2013-07-01"}, "ends .* before it begins"),
        ({"day": "today", "length": "7d"}, "exclude each other"),
        ({"first": "1900-01-01"}, "more than a review takes"),
    ],
)
def test_wrong_options_are_refused_in_one_line(options: dict[str, str], message: str) -> None:
    with pytest.raises(UserError, match=message) as caught:
        chosen(**options)
    assert caught.value.status == 2


def test_hours_of_a_day_of_25_hours() -> None:
    period = Period.between(ROME, dt.date(2013, 10, 27), dt.date(2013, 10, 27))
    hours = [period.local(start).hour for _, start, _ in period.hours()]
    assert hours == [0, 1, 2, 2, *range(3, 24)]


def test_a_day_that_the_zone_skipped_has_no_minutes() -> None:
    samoa = ZoneInfo("Pacific/Apia")
    period = Period.between(samoa, dt.date(2011, 12, 29), dt.date(2011, 12, 31))
    assert [day.minutes for day in period.days] == [1440.0, 0.0, 1440.0]
