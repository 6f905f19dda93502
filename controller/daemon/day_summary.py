"""The summary of a day that the event log keeps."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from controller.record.reader import RecordReader
from controller.timetable import Timetable

if TYPE_CHECKING:
    from controller.config import Settings

_FIGURES = """
SELECT count(*),
       round(min(tent_temperature_min_c), 2),
       round(sum(tent_temperature_c * interval_s) / sum(interval_s), 2),
       round(max(tent_temperature_max_c), 2),
       round(min(tent_humidity_min_pct), 1),
       round(max(tent_humidity_max_pct), 1),
       round(sum(interval_s * (tent_temperature_c >
                      CASE lamp_on WHEN 1 THEN ?1 ELSE ?2 END)) / 60.0, 1),
       round(sum(interval_s * (tent_temperature_c <
                      CASE lamp_on WHEN 1 THEN ?5 ELSE ?6 END)) / 60.0, 1),
       round(sum(interval_s * (tent_humidity_pct >
                      CASE lamp_on WHEN 1 THEN ?7 ELSE ?8 END)) / 60.0, 1),
       round(sum(interval_s * (tent_humidity_pct <
                      CASE lamp_on WHEN 1 THEN ?9 ELSE ?10 END)) / 60.0, 1),
       round(sum(fan_on_s) / 3600.0, 2),
       round(sum(CASE WHEN locked_out THEN interval_s ELSE 0 END) / 60.0, 1)
FROM readings
WHERE at_ms > ?3 AND at_ms <= ?4 AND tent_temperature_c IS NOT NULL
"""
_KEYS = (
    "readings",
    "temperature_lowest_c",
    "temperature_mean_c",
    "temperature_highest_c",
    "humidity_lowest_pct",
    "humidity_highest_pct",
    "too_hot_minutes",
    "too_cold_minutes",
    "too_humid_minutes",
    "too_dry_minutes",
    "fan_hours",
    "locked_out_minutes",
)


BEFORE_RECORD = "before_record"


def summarise_day(settings: Settings, date: dt.date) -> dict[str, Any]:
    """Summarise a local day from its readings.

    Parameters
    ----------
    settings : Settings
        For the zone, the bands and the record.
    date : datetime.date
        The local day.

    Returns
    -------
    dict
        JSON-ready, units in the keys; None where there are no readings. `BEFORE_RECORD` of a day
        that was over when the record began.

    Raises
    ------
    UserError
        The record can't be read.
    """
    day = Timetable.from_settings(settings).day(date)
    with RecordReader(settings.record_path) as reader:
        bands = settings.targets.day, settings.targets.night
        parameters = (
            *(band.temperature_c.high for band in bands),
            round(day.start_s * 1000),
            round(day.end_s * 1000),
            *(band.temperature_c.low for band in bands),
            *(band.humidity_pct.high for band in bands),
            *(band.humidity_pct.low for band in bands),
        )
        (row,) = reader.sql(_FIGURES, parameters)
        span = reader.span()
    figures = {"date": date.isoformat(), **dict(zip(_KEYS, row, strict=True))}
    if span is None or span[0] > day.end_s * 1000:
        figures[BEFORE_RECORD] = True
    return figures
