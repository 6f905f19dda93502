"""An evening's forecast: what it may look at, what is added, and how wide its interval is."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from controller.review.excursions import KINDS
from controller.tomorrow.foresee import (
    MOST_HINDCASTS,
    AirHour,
    DayFigures,
    Evening,
    ForecastBasis,
    Hindcast,
    expect,
    hindcast,
    hindcast_all,
)
from controller.tomorrow.hours import HOUR_S, OutdoorHours, RoomHours
from controller.tomorrow.intervals import FIRST_HALF_K, half_width, left_out_errors

DAYS, LAMP_W, OFF_K = 30, 100.0, 1.5
START_S = 1_000_000 * HOUR_S
HOT = ("temperature", "above")


def outside_c(hour: int) -> float:
    return 18.0 + 6.0 * math.sin(hour / 31.0) + 5.0 * math.cos((hour % 24 - 15) / 24.0 * math.tau)


def run(
    air: Sequence[AirHour], now_s: float, start_s: float, end_s: float, settings: object = None
) -> DayFigures:
    """A tent that is 5 K above its intake, and counts an hour above 26 °C as such."""
    tent = [(hour.temperature_c + 5.0, hour.at_s) for hour in air if start_s <= hour.at_s < end_s]
    peak_c, at_s = max(tent)
    minutes = dict.fromkeys(KINDS, 0.0)
    minutes[HOT] = 60.0 * sum(c > 26.0 for c, _ in tent)
    return DayFigures(peak_c, at_s, peak_c - 5.0, minutes, 0.5, 14.0)


ROOM: list[float | None] = [10.0 + 0.5 * outside_c(hour) for hour in range(24 * DAYS)]
HOURS = RoomHours(START_S, ROOM, [8.0] * len(ROOM), [0.0] * len(ROOM))
OUTDOORS = OutdoorHours([outside_c(hour) for hour in range(24 * DAYS)], [7.0] * len(ROOM))
BASIS = ForecastBasis(HOURS, OUTDOORS, LAMP_W, run)  # type: ignore[arg-type]


def evening(day: int, *, off_k: float = OFF_K) -> Evening:
    """At 20:00; what came was always so much hotter than the tent's model says."""
    start_s = START_S + (day + 1) * 24 * HOUR_S
    end_s = start_s + 24 * HOUR_S

    def lived(from_s: float, until_s: float) -> DayFigures | None:
        hours = range(round((from_s - START_S) / HOUR_S), round((until_s - START_S) / HOUR_S))
        if not 0 <= hours[0] <= hours[-1] < len(ROOM):
            return None
        air = [AirHour(HOURS.middle_s(i), ROOM[i] or 0.0, 8.0) for i in hours]
        figures = run(air, from_s, from_s, until_s)
        return figures._replace(peak_c=figures.peak_c + off_k)

    now = 24 * day + 20
    now_s = START_S + now * HOUR_S
    return Evening(now, start_s, end_s, lived(start_s, end_s), lived(now_s - 24 * HOUR_S, now_s))


def checked(days: int) -> list[Hindcast]:
    past = hindcast_all(BASIS, map(evening, range(4, 4 + days)))
    assert len(past) == days
    return past


@pytest.fixture(scope="module")
def past() -> list[Hindcast]:
    return checked(22)


def test_a_day_that_is_not_over_is_not_looked_at(past: list[Hindcast]) -> None:
    expected = expect(BASIS, evening(20), past)
    assert expected is not None
    assert expected.hindcasts == tuple(past[:15])  # evenings 4 to 18: their days ended by the 20th


def test_what_comes_after_the_evening_changes_nothing() -> None:
    cut = 24 * 20 + 20
    unknown: list[float | None] = [None] * (len(ROOM) - cut)
    without = HOURS._replace(temperature_c=ROOM[:cut] + unknown)
    now = evening(20)
    assert expect(BASIS, now, []) == expect(BASIS._replace(hours=without), now, [])


def test_what_was_always_missed_is_added(past: list[Hindcast]) -> None:
    now = evening(25)
    first, later = expect(BASIS, now, []), expect(BASIS, now, past)
    assert first is not None
    assert later is not None
    assert now.actual is not None
    assert first.added_k == 0.0
    assert 0.6 * OFF_K < later.added_k < 1.3 * OFF_K
    assert abs(later.peak_c.value - now.actual.peak_c) < abs(first.peak_c.value - now.actual.peak_c)
    assert len(later.hindcasts) == MOST_HINDCASTS


def test_the_interval_is_an_assumption_until_nine_days_are_checked(past: list[Hindcast]) -> None:
    now = evening(25)
    without = BASIS._replace(outdoors=None)
    few, many = expect(without, now, past[:8]), expect(without, now, past[:9])
    assert few is not None
    assert many is not None
    errors = [abs(one.missed_k) for one in past[:9]]
    assert few.peak_c.high - few.peak_c.value == pytest.approx(max(FIRST_HALF_K, *errors[:8]))
    assert many.peak_c.high - many.peak_c.value == pytest.approx(max(errors))


def test_without_the_air_outdoors_nothing_is_added_for_what_weather_did(
    past: list[Hindcast],
) -> None:
    expected = expect(BASIS._replace(outdoors=None), evening(25), past)
    assert expected is not None
    assert expected.added_k == 0.0
    assert expected.peak_c.value == expected.figures.peak_c


def test_without_the_air_outdoors_past_evenings_do_not_change_the_learned_rooms_share(
    past: list[Hindcast],
) -> None:
    without, now = BASIS._replace(outdoors=None), evening(25)
    first, later = expect(without, now, []), expect(without, now, past)
    assert first is not None
    assert later is not None
    assert later.shares == first.shares
    assert 0.0 < first.shares.temperature < 0.5 <= first.shares.ratio < 1.0
    assert later.figures == first.figures
    with_file = expect(BASIS, now, past)
    assert with_file is not None
    assert with_file.shares.temperature > 0.8


def test_few_days_that_were_missed_by_more_than_assumed_widen_the_interval() -> None:
    past = hindcast_all(BASIS, [evening(day, off_k=6.0) for day in (22, 23)])
    assert len(past) == 2
    expected = expect(BASIS, evening(25, off_k=6.0), past)
    assert expected is not None
    worst_k = max(map(abs, left_out_errors([one.missed_k for one in past])))
    assert worst_k > 2.0 * FIRST_HALF_K
    assert expected.peak_c.high - expected.peak_c.value == pytest.approx(worst_k)


def test_the_outdoor_forecasts_own_error_widens_the_interval(past: list[Hindcast]) -> None:
    now = evening(25)
    with_file, first = expect(BASIS, now, past), expect(BASIS, now, [])
    assert with_file is not None
    assert first is not None
    assert first.peak_c.high - first.peak_c.value == pytest.approx(FIRST_HALF_K)  # it is in that
    by_days = half_width(left_out_errors([one.missed_k for one in with_file.hindcasts]))
    assert by_days is not None
    half_k = with_file.peak_c.high - with_file.peak_c.value
    share = with_file.shares.temperature * (with_file.forecast.temperature.model.share or 0.0)
    # 1.7 K, at 90 %, through the share of outdoors that has come through by then.
    assert by_days + 0.05 < half_k < math.hypot(by_days, 1.7 * 1.645 * share) + 0.01


def test_minutes_stay_within_a_day(past: list[Hindcast]) -> None:
    expected = expect(BASIS, evening(25), past)
    assert expected is not None
    for minutes in expected.minutes.values():
        assert 0.0 <= minutes.low <= minutes.value <= minutes.high <= 1440.0


def test_a_forecast_of_outdoors_beats_as_today(past: list[Hindcast]) -> None:
    errors = left_out_errors([one.missed_k for one in past])[8:]
    today = [one.as_today_error_k or 0.0 for one in past[8:]]
    assert math.fsum(e * e for e in errors) < 0.5 * math.fsum(e * e for e in today)


def test_a_day_without_enough_air_is_not_foreseen() -> None:
    unknown: list[float | None] = [None] * len(ROOM)
    silent = BASIS._replace(hours=HOURS._replace(temperature_c=unknown))
    assert expect(silent, evening(20), []) is None
    assert hindcast(silent, evening(20), []) is None
