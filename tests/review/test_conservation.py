"""Below + in + above + missing is the whole local day, whatever the record looks like."""

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from examples import examples
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from review_records import CONFIG, HandRecord

from controller.review.open_record import Asked
from controller.review.report import Review

QUANTITIES = ("temperature", "humidity", "vpd")


def check(review: Review) -> None:
    for figures, minutes in [
        (review.figures, review.period.minutes),
        *((f, d.minutes) for f, d in zip(review.counted.days, review.period.days, strict=True)),
    ]:
        for name in QUANTITIES:
            of = getattr(figures, name)
            assert of.minutes.all == pytest.approx(minutes, abs=1e-6)
            assert of.day.minutes.all + of.night.minutes.all == pytest.approx(minutes, abs=1e-6)
            assert min(of.minutes.below, of.minutes.within, of.minutes.above) >= 0.0
            assert of.minutes.missing >= -1e-9


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/Rome", dt.date(2013, 3, 31), 23.0),
        ("Europe/Rome", dt.date(2013, 10, 27), 25.0),
        ("America/New_York", dt.date(2013, 3, 10), 23.0),
        ("Australia/Lord_Howe", dt.date(2013, 10, 6), 23.5),
        ("Australia/Lord_Howe", dt.date(2013, 4, 7), 24.5),
        ("America/Sao_Paulo", dt.date(2013, 10, 20), 23.0),  # begins at 01:00
        ("Asia/Kathmandu", dt.date(2013, 10, 20), 24.0),
    ],
)
def test_days_of_23_to_25_hours_add_up(
    tmp_path: Path, zone: str, day: dt.date, hours: float
) -> None:
    record = HandRecord(tmp_path, CONFIG.replace("Europe/Rome", zone), day)
    midnight = dt.datetime.combine(day, dt.time.min, tzinfo=record.zone)
    start = round(midnight.timestamp() * 1000)
    # All of the day before and after as well, at odd intervals: none of it may leak in.
    record.span(start - 7_200_000, start + 30 * 3_600_000, 47.0, temperature=26.0)
    review = record.review()
    assert review.period.minutes == hours * 60
    check(review)
    assert review.figures.temperature.minutes.above == pytest.approx(hours * 60, abs=1e-6)
    assert review.figures.fan.hours == pytest.approx(hours)


stretches = st.lists(
    st.tuples(
        st.integers(0, 3_000_000),  # a gap before it [ms]
        st.integers(1, 90),  # readings
        st.sampled_from([10.0, 60.0, 61.7, 300.0]),
        st.one_of(st.none(), st.floats(10.0, 40.0)),
        st.one_of(st.none(), st.floats(20.0, 99.0)),
        st.booleans(),
        st.sampled_from([0.0, 0.3, 1.0]),
    ),
    max_size=12,
)


@examples(10, suppress_health_check=[HealthCheck.too_slow])
@given(stretches, st.sampled_from([dt.date(2013, 7, 18), dt.date(2013, 10, 27)]))
def test_any_record_adds_up(
    tmp_path_factory: pytest.TempPathFactory, parts: list[tuple], day: dt.date
) -> None:
    record = HandRecord(tmp_path_factory.mktemp("any"), day=day)
    at_ms = record.at("00:00") - 600_000
    for gap_ms, count, interval_s, temperature, humidity, lit, speed in parts:
        start = at_ms + gap_ms
        at_ms = start + count * round(interval_s * 1000)
        record.span(
            start, at_ms, interval_s, temperature=temperature, humidity=humidity,
            vpd=None if temperature is None else 1000.0, lit=lit, speed=speed,
        )  # fmt: skip
    last = day + dt.timedelta(days=1)
    review = record.review(Asked(first=day.isoformat(), last=last.isoformat()))
    check(review)
    spelt = sum(s.minutes for s in review.excursions if s.quantity == "temperature")
    assert spelt == pytest.approx(review.figures.temperature.minutes.out, abs=1e-6)
    record.writer.close()


def test_a_clock_set_back_counts_no_minute_twice(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "11:00", temperature=26.0)
    # Ten minutes lived again, recorded under times in between.
    record.span(record.at("10:50") + 30_000, record.at("11:20") + 30_000, temperature=26.0)
    review = record.review()
    check(review)
    assert review.figures.temperature.minutes.above == pytest.approx(80.5)


def test_no_cause_holds_for_longer_than_its_excursion_where_time_was_lived_twice(
    tmp_path: Path,
) -> None:
    record = HandRecord(tmp_path)
    hot: dict[str, Any] = {"temperature": 27.0, "intake_temperature_c": 26.0}
    record.stretch("10:00", "11:00", **hot)
    record.span(record.at("10:00") + 30_000, record.at("11:00") + 30_000, **hot)
    record.stretch("11:01", "24:00")
    (excursion,) = (e for e in record.review().excursions if e.quantity == "temperature")
    (cause,) = (cause for cause in excursion.causes if cause.code == "intake_too_hot")
    assert 60.0 <= cause.minutes <= 61.0
    assert excursion.minutes == pytest.approx(60.5)


def test_gaps_are_split_into_day_and_night_by_the_timetable(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("05:00", "05:30", lit=False)
    record.stretch("06:30", "07:00")
    of = record.review().figures.temperature
    assert of.minutes.missing == 1440.0 - 60.0
    assert of.night.minutes.missing == 5 * 60 + 30 + 2 * 60
    assert of.day.minutes.missing == 30 + 15 * 60
