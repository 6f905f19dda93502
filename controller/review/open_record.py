"""Opening a record for a review: which one, and which days of it."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from controller.record import RecordReader
from controller.record.status import SIMULATED_KEY
from controller.review.period import choose_period, local_date
from controller.review.source import RecordSource

if TYPE_CHECKING:
    from controller.config import Loaded


class Asked(NamedTuple):
    """What the command line asks for, as written there."""

    day: str | None = None
    first: str | None = None
    last: str | None = None
    length: str | None = None


def open_source(
    loaded: Loaded, record: Path | None, asked: Asked, now_ms: float | None = None
) -> RecordSource:
    """Open the record and settle the period.

    Parameters
    ----------
    loaded : Loaded
        The present config.
    record : pathlib.Path or None
        The record, if not the config's own.
    asked : Asked
        The period asked for.
    now_ms : float, optional
        The present [Unix ms]; default: the clock.

    Raises
    ------
    RecordError, UserError
        If the record cannot be read, or the period not be understood.
    """
    settings = loaded.settings
    reader = RecordReader(record or settings.record_path)
    try:
        zone = ZoneInfo(settings.place.timezone)
        now = now_ms if now_ms is not None else present_ms(reader)
        today = local_date(now, zone)
        span = reader.span()
        newest = today if span is None else local_date(span[1] - 1, zone)
        period = choose_period(
            zone,
            newest=newest,
            today=today,
            oldest=None if span is None else local_date(span[0] - 1, zone),
            day=asked.day,
            first=asked.first,
            last=asked.last,
            length=asked.length,
        )
    except BaseException:
        reader.close()
        raise
    return RecordSource(reader, period, loaded)


def present_ms(reader: RecordReader) -> float:
    """The present [Unix ms]; in a simulated record its end, since no tent lives on after it."""
    span = reader.span() if reader.state(SIMULATED_KEY) is not None else None
    return time.time() * 1000.0 if span is None else float(span[1])
