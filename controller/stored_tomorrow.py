"""Tomorrow as the nightly job left it in the record, for the letter and the page.

Made once, by night; here it is only read, and never shown when it is no longer tomorrow's.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from controller import display

if TYPE_CHECKING:
    from controller.record.reader import RecordReader

KEY = "tomorrow"
"""Where a learning's row keeps it: as `as_json` gives it, or `refused` with why."""

CONFIG_CHANGED = "the config has changed since it was worked out; `lungwort tomorrow` does so anew"


class StoredTomorrow(NamedTuple):
    """What was foreseen by night of the day after.

    Attributes
    ----------
    at_ms : int
        When [Unix ms].
    date : datetime.date
        Tomorrow's.
    headline, tonight, grounds : tuple of str
        Sentences: what will be, what would help, what it rests on; empty where nothing is foreseen.
    why_not : str or None
        Why nothing is.
    """

    at_ms: int
    date: dt.date
    headline: tuple[str, ...] = ()
    tonight: tuple[str, ...] = ()
    grounds: tuple[str, ...] = ()
    why_not: str | None = None


def stored_tomorrow(reader: RecordReader, zone: ZoneInfo, now_ms: float) -> StoredTomorrow | None:
    """What the last night foresaw; None where it is of another day, or nobody has tried.

    Parameters
    ----------
    reader : RecordReader
        The record.
    zone : zoneinfo.ZoneInfo
        The tent's.
    now_ms : float
        The present [Unix ms].
    """
    rows = reader.learnings(newest=1)
    stored = rows[0].result.get(KEY) if rows else None
    if not isinstance(stored, dict):
        return None
    row, today = rows[0], _date(now_ms, zone)
    tomorrow = today + dt.timedelta(days=1)
    if _date(row.at_ms, zone) != today:
        return None
    silent = StoredTomorrow(row.at_ms, tomorrow)
    if "refused" in stored:
        return silent._replace(why_not=str(stored["refused"]))
    digests = {config.id: config.sha256 for config in reader.configs()}
    if (
        digests
        and row.config_id is not None
        and digests.get(row.config_id) != digests[max(digests)]
    ):
        return silent._replace(why_not=CONFIG_CHANGED)
    sentences = stored.get("sentences")
    if stored.get("date") != tomorrow.isoformat() or not isinstance(sentences, dict):
        return None  # the record had stopped, or another version wrote it
    headline, tonight, grounds = (
        tuple(map(str, sentences.get(name) or ())) for name in ("headline", "tonight", "grounds")
    )
    return StoredTomorrow(row.at_ms, tomorrow, headline, tonight, grounds)


def tomorrow_sentences(stored: StoredTomorrow, zone: ZoneInfo, now_ms: float) -> list[str]:
    """What will be, or why that is not known, and how old it is; without what would help."""
    if stored.why_not is not None:
        return [f"Tomorrow is not foreseen: {stored.why_not.rstrip('.')}."]
    made = dt.datetime.fromtimestamp(stored.at_ms / 1000.0, zone)
    age_s = max(0.0, now_ms - stored.at_ms) / 1000.0
    age = f"Worked out at {made:%H:%M}"
    if age_s >= 60.0:
        age += f", {display.duration(age_s)} ago"
    return [*stored.headline, f"{age}."]


def _date(at_ms: float, zone: ZoneInfo) -> dt.date:
    return dt.datetime.fromtimestamp(at_ms / 1000.0, zone).date()
