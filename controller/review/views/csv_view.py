"""Readings and events as CSV (RFC 4180): SI units, times RFC 3339 with the tent's offset."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Generator
from typing import TYPE_CHECKING, Literal, TextIO

from controller.review.period import Period
from controller.review.source import RecordSource

if TYPE_CHECKING:
    from controller.record import EventRow

READINGS_COLUMNS = (
    *("interval_s", "config_id", "tent_temperature_c", "tent_temperature_min_c"),
    *("tent_temperature_max_c", "tent_humidity_pct", "tent_humidity_min_pct"),
    *("tent_humidity_max_pct", "tent_vpd_pa", "tent_dew_point_c", "intake_temperature_c"),
    *("intake_humidity_pct", "fan_speed", "fan_on_s", "fan_rpm", "lamp_on", "lamp_on_s"),
    *("in_fan_hours", "rule", "locked_out"),
)
Rows = Generator[tuple[object, ...], None, None]
EVENTS_COLUMNS = ("time", "name", "level", "text", "data")


def write_csv(
    source: RecordSource, what: Literal["readings", "events"], out: TextIO | None = None
) -> None:
    """Write the period's readings or events, one a line, CRLF at each line's end.

    Parameters
    ----------
    source : RecordSource
        The record and the period.
    what : {"readings", "events"}
        Which of them.
    out : text stream, optional
        Where to; default: standard output.
    """
    writer = csv.writer(out or sys.stdout, lineterminator="\r\n")
    rows = _readings(source) if what == "readings" else _events(source)
    try:
        writer.writerows(rows)
    finally:
        rows.close()  # before the record is, should whoever reads the output have had enough


def _readings(source: RecordSource) -> Rows:
    period = source.period
    yield ("time", *READINGS_COLUMNS)
    for at_ms, *values in source.rows(
        f"SELECT at_ms, {', '.join(READINGS_COLUMNS)} FROM readings "
        "WHERE at_ms > ? AND at_ms <= ? ORDER BY at_ms",
        period.start_ms,
        period.end_ms,
    ):
        yield (_time(period, at_ms), *values)


def _events(source: RecordSource) -> Rows:
    from controller.wording import event_words

    period = source.period
    units = source.terms.present.settings.units
    yield EVENTS_COLUMNS
    event: EventRow
    for event in source.reader.events(period.start_ms, period.end_ms):
        yield (
            _time(period, event.at_ms),
            event.name,
            event.level,
            event_words(event.name, event.data, units, period.zone),
            json.dumps(event.data, ensure_ascii=False, separators=(",", ":")),
        )


def _time(period: Period, at_ms: int) -> str:
    """To the millisecond where there is a fraction of a second."""
    local = period.local(at_ms)
    return local.isoformat(timespec="milliseconds" if at_ms % 1000 else "seconds")
