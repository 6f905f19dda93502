"""The same figures from pandas, row by row and independently, over a generated month."""

import datetime as dt
import sqlite3

import pytest
from review_records import HandRecord, noisy_month

from controller.review.build import Asked, Review

pd = pytest.importorskip("pandas")

BANDS = {  # of the config in review_records: (day low, high), (night low, high)
    "temperature": ("tent_temperature_c", (21.0, 25.0), (16.0, 22.0)),
    "humidity": ("tent_humidity_pct", (40.0, 70.0), (40.0, 80.0)),
    "vpd": ("tent_vpd_pa", (600.0, 1600.0), (300.0, 1600.0)),
}
FIRST, LAST = dt.date(2013, 3, 15), dt.date(2013, 4, 12)


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> tuple[Review, "pd.DataFrame"]:
    record = HandRecord(tmp_path_factory.mktemp("month"))
    with record.writer.together():
        for row in noisy_month():
            record.writer.reading(row)
    record.writer.close()
    review = record.review(Asked(first=FIRST.isoformat(), last=LAST.isoformat()))
    with sqlite3.connect(record.path) as connection:
        frame = pd.read_sql("SELECT * FROM readings ORDER BY at_ms", connection)
    return review, cut(frame)


def cut(frame: "pd.DataFrame") -> "pd.DataFrame":
    """Each row with the seconds of it inside the period, overlaps and edges taken off."""
    zone = "Europe/Rome"
    first = pd.Timestamp(FIRST).tz_localize(zone).timestamp() * 1000
    end = pd.Timestamp(LAST + dt.timedelta(days=1)).tz_localize(zone).timestamp() * 1000
    start = frame["at_ms"] - 1000.0 * frame["interval_s"]
    start = start.clip(lower=first).combine(frame["at_ms"].shift(fill_value=0), max)
    frame["seconds"] = (frame["at_ms"].clip(upper=end) - start) / 1000.0
    frame = frame[frame["seconds"] > 0].copy()
    local = pd.to_datetime(frame["at_ms"] - 1, unit="ms", utc=True).dt.tz_convert(zone)
    frame["date"] = local.dt.date
    frame["lit"] = frame["lamp_on_s"] * 2 >= frame["interval_s"]
    return frame


@pytest.mark.parametrize("name", BANDS)
def test_minutes_out_of_band_by_day_and_night(month, name: str) -> None:
    review, frame = month
    column, day, night = BANDS[name]
    of = getattr(review.figures, name)
    for lit, (low, high), phase in ((True, day, of.day), (False, night, of.night)):
        part = frame[frame["lit"] == lit]
        minutes = part["seconds"] / 60.0
        assert phase.minutes.below == pytest.approx(minutes[part[column] < low].sum())
        assert phase.minutes.above == pytest.approx(minutes[part[column] > high].sum())
        inside = part[column].between(low, high)
        assert phase.minutes.within == pytest.approx(minutes[inside].sum())


@pytest.mark.parametrize("name", BANDS)
def test_means_and_extremes(month, name: str) -> None:
    review, frame = month
    column = BANDS[name][0]
    known = frame[frame[column].notna()]
    of = getattr(review.figures, name)
    weighted = (known[column] * known["seconds"]).sum() / known["seconds"].sum()
    assert of.mean == pytest.approx(weighted)
    assert of.highest == known[column].max()
    assert of.lowest == known[column].min()
    lit = known[known["lit"]]
    assert of.day.mean == pytest.approx((lit[column] * lit["seconds"]).sum() / lit["seconds"].sum())


def test_minutes_of_each_day(month) -> None:
    review, frame = month
    hot = frame["tent_temperature_c"] > frame["lit"].map({True: 25.0, False: 22.0})
    by_date = (frame["seconds"] * hot / 60.0).groupby(frame["date"]).sum()
    for day, figures in zip(review.period.days, review.counted.days, strict=True):
        # A row across midnight is cut by the product and left whole here: at most an interval.
        assert figures.temperature.minutes.above == pytest.approx(by_date[day.date], abs=1.01)


def test_degree_hours(month) -> None:
    review, frame = month
    limit = frame["lit"].map({True: 25.0, False: 22.0})
    above = (frame["tent_temperature_c"] - limit).clip(lower=0) * frame["seconds"] / 3600.0
    assert review.figures.degree_hours_above == pytest.approx(above.sum())


def test_fan_starts_hours_and_energy(month) -> None:
    review, frame = month
    on = frame["fan_on_s"] > 0
    assert review.figures.fan.starts == int((on & ~on.shift(fill_value=False)).sum())
    assert review.figures.fan.hours == pytest.approx((frame["seconds"] * on).sum() / 3600.0)
    kwh = (20.0 * frame["fan_speed"] ** 3 * frame["seconds"]).sum() / 3.6e6
    assert review.figures.energy.fan_kwh == pytest.approx(kwh)
    by_rule = (frame["seconds"] * on / 60.0).groupby(frame["rule"]).sum()
    for rule, minutes in review.figures.fan.minutes_by_rule.items():
        assert minutes == pytest.approx(by_rule[rule])


def test_missing_is_what_pandas_does_not_cover(month) -> None:
    review, frame = month
    known = frame["tent_temperature_c"].notna()
    covered = (frame["seconds"] * known).sum() / 60.0
    missing = review.figures.temperature.minutes.missing
    assert missing == pytest.approx(review.period.minutes - covered)
    assert missing > 60.0
