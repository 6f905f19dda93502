"""The same figures from pandas, row by row and independently: a generated month, rehearsed days."""

import argparse
import contextlib
import datetime as dt
import sqlite3
from dataclasses import dataclass
from pathlib import Path

import pytest
from review_records import HandRecord, noisy_month

from controller.commands import rehearse
from controller.config import Loaded, load_settings
from controller.review.open_record import Asked, open_source
from controller.review.report import Review, build

pd = pytest.importorskip("pandas")

COLUMNS = {
    "temperature": "tent_temperature_c",
    "humidity": "tent_humidity_pct",
    "vpd": "tent_vpd_pa",
}
CHILLIES = Path(__file__).parent.parent.parent / "config" / "chillies.yaml"


@dataclass
class Case:
    """A review and the rows it was made of, with what the config says of them."""

    review: Review
    frame: "pd.DataFrame"
    bands: dict[str, tuple[tuple[float, float], tuple[float, float]]]  # by day, by night
    fan_w: float

    def limit(self) -> "pd.Series":
        """The upper temperature limit of each row."""
        day, night = self.bands["temperature"]
        return self.frame["lit"].map({True: day[1], False: night[1]})


def generated(folder: Path) -> tuple[Loaded, Path, dt.date, dt.date]:
    record = HandRecord(folder)
    with record.writer.together():
        for row in noisy_month():
            record.writer.reading(row)
    record.writer.close()
    return record.loaded, record.path, dt.date(2013, 3, 15), dt.date(2013, 4, 12)


def rehearsed(folder: Path) -> tuple[Loaded, Path, dt.date, dt.date]:
    parser = argparse.ArgumentParser()
    rehearse.add(parser.add_subparsers())
    path = folder / "rehearsed.sqlite3"
    args = parser.parse_args(
        ["rehearse", str(CHILLIES), "--from", "2013-07-24", "--days", "3", "--record", str(path)]
    )
    assert args.run(args) == 0
    return load_settings(CHILLIES), path, dt.date(2013, 7, 25), dt.date(2013, 7, 26)


@pytest.fixture(scope="module", params=[generated, rehearsed])
def month(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Case:
    loaded, path, first, last = request.param(tmp_path_factory.mktemp("month"))
    asked = Asked(first=first.isoformat(), last=last.isoformat())
    with open_source(loaded, path, asked) as source:
        review = build(source, loaded.settings)
    with contextlib.closing(sqlite3.connect(path)) as connection, connection:
        frame = pd.read_sql("SELECT * FROM readings ORDER BY at_ms", connection)
    targets, zone = loaded.settings.targets, loaded.settings.place.timezone
    fields = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
    bands = {
        name: (tuple(getattr(targets.day, field)), tuple(getattr(targets.night, field)))
        for name, field in fields.items()
    }
    fan_w = loaded.settings.fan.power_w
    assert fan_w is not None
    return Case(review, cut(frame, zone, first, last), bands, fan_w)


def cut(frame: "pd.DataFrame", zone: str, first: dt.date, last: dt.date) -> "pd.DataFrame":
    """Each row with the seconds of it inside the period, overlaps and edges taken off."""
    begin = pd.Timestamp(first).tz_localize(zone).timestamp() * 1000
    end = pd.Timestamp(last + dt.timedelta(days=1)).tz_localize(zone).timestamp() * 1000
    start = frame["at_ms"] - 1000.0 * frame["interval_s"]
    frame["was_on"] = (frame["fan_on_s"] > 0).shift(fill_value=False)
    start = start.clip(lower=begin).combine(frame["at_ms"].shift(fill_value=0), max)
    frame["seconds"] = (frame["at_ms"].clip(upper=end) - start) / 1000.0
    frame = frame[frame["seconds"] > 0].copy()
    local = pd.to_datetime(frame["at_ms"] - 1, unit="ms", utc=True).dt.tz_convert(zone)
    frame["date"] = local.dt.date
    frame["lit"] = frame["lamp_on_s"] * 2 >= frame["interval_s"]
    return frame


@pytest.mark.parametrize("name", COLUMNS)
def test_minutes_out_of_band_by_day_and_night(month: Case, name: str) -> None:
    review, frame, column = month.review, month.frame, COLUMNS[name]
    day, night = month.bands[name]
    of = getattr(review.figures, name)
    for lit, (low, high), phase in ((True, day, of.day), (False, night, of.night)):
        part = frame[frame["lit"] == lit]
        minutes = part["seconds"] / 60.0
        assert phase.minutes.below == pytest.approx(minutes[part[column] < low].sum())
        assert phase.minutes.above == pytest.approx(minutes[part[column] > high].sum())
        inside = part[column].between(low, high)
        assert phase.minutes.within == pytest.approx(minutes[inside].sum())


@pytest.mark.parametrize("name", COLUMNS)
def test_means_and_extremes(month: Case, name: str) -> None:
    review, frame, column = month.review, month.frame, COLUMNS[name]
    known = frame[frame[column].notna()]
    of = getattr(review.figures, name)
    weighted = (known[column] * known["seconds"]).sum() / known["seconds"].sum()
    assert of.mean == pytest.approx(weighted)
    highest = column.replace("_c", "_max_c").replace("_pct", "_max_pct")
    lowest = column.replace("_c", "_min_c").replace("_pct", "_min_pct")
    assert of.highest == known[highest].fillna(known[column]).max()
    assert of.lowest == known[lowest].fillna(known[column]).min()
    lit = known[known["lit"]]
    assert of.day.mean == pytest.approx((lit[column] * lit["seconds"]).sum() / lit["seconds"].sum())


def test_minutes_of_each_day(month: Case) -> None:
    review, frame = month.review, month.frame
    hot = frame["tent_temperature_c"] > month.limit()
    by_date = (frame["seconds"] * hot / 60.0).groupby(frame["date"]).sum()
    assert by_date.max() > 60.0
    for day, figures in zip(review.period.days, review.counted.days, strict=True):
        # A row across midnight is cut by the product and left whole here: at most an interval.
        assert figures.temperature.minutes.above == pytest.approx(by_date[day.date], abs=1.01)


def test_degree_hours_are_those_that_pandas_counts(month: Case) -> None:
    review, frame = month.review, month.frame
    limit = month.limit()
    above = (frame["tent_temperature_c"] - limit).clip(lower=0) * frame["seconds"] / 3600.0
    assert review.figures.degree_hours_above == pytest.approx(above.sum())


@pytest.mark.parametrize(("name", "per"), [("humidity", 1.0), ("vpd", 1000.0)])
def test_excess_of_humidity_and_vpd(month: Case, name: str, per: float) -> None:
    """Out of band times time, in %·h and kPa·h."""
    review, frame, column = month.review, month.frame, COLUMNS[name]
    above = below = 0.0
    for lit, (low, high) in zip((True, False), month.bands[name], strict=True):
        part = frame[frame["lit"] == lit]
        hours = part["seconds"] / 3600.0
        above += ((part[column] - high).clip(lower=0) * hours).sum() / per
        below += ((low - part[column]).clip(lower=0) * hours).sum() / per
    excess = getattr(review.figures, f"{name}_excess")
    assert excess == (pytest.approx(above), pytest.approx(below))
    assert above > 0.0


def test_fan_starts_hours_and_energy(month: Case) -> None:
    review, frame = month.review, month.frame
    on = frame["fan_on_s"] > 0
    assert review.figures.fan.starts == int((on & ~frame["was_on"]).sum())
    share = frame["fan_on_s"] / frame["interval_s"]
    assert review.figures.fan.hours == pytest.approx((frame["seconds"] * share).sum() / 3600.0)
    speed = (frame["fan_speed"] / share).where(on, 0.0)
    kwh = (month.fan_w * speed**3 * share * frame["seconds"]).sum() / 3.6e6
    assert review.figures.energy.fan_kwh == pytest.approx(kwh)
    by_rule = (frame["seconds"] * on / 60.0).groupby(frame["rule"]).sum()
    for rule, minutes in review.figures.fan.minutes_by_rule.items():
        assert minutes == pytest.approx(by_rule[rule])


def test_missing_is_what_pandas_does_not_cover(month: Case) -> None:
    review, frame = month.review, month.frame
    known = frame["tent_temperature_c"].notna()
    covered = (frame["seconds"] * known).sum() / 60.0
    missing = review.figures.temperature.minutes.missing
    assert missing == pytest.approx(review.period.minutes - covered)
    assert missing > 60.0 or month.fan_w != 20.0  # the generated month has gaps
