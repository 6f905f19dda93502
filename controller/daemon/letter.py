"""The calendar job that writes the letter of a day, once, however often it runs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller.alarms.letter import letter
from controller.record.reader import RecordReader
from controller.stored_tomorrow import stored_tomorrow, tomorrow_sentences
from controller.wording.events import event_words

if TYPE_CHECKING:
    from controller.alarms.watch import AlarmWatch
    from controller.config import Settings
    from controller.record import Record

STATE_KEY = "letter"
"""The key under which the date of the last one is saved."""


def write_letter(
    settings: Callable[[], Settings],
    record: Record,
    summarise: Callable[[Settings, dt.date], dict[str, Any]],
    is_trusted: Callable[[], bool],
    alarms: AlarmWatch,
    wall_s: float,
) -> None:
    """Send today's letter, if it is due and was not sent; see `calendar_jobs`."""
    current = settings()
    zone = ZoneInfo(current.place.timezone)
    now = dt.datetime.fromtimestamp(wall_s, zone)
    due = current.notify.letter
    if due is None or now.time() < due or not alarms.tells_people or not is_trusted():
        return
    saved = record.load_state(STATE_KEY)
    if isinstance(saved, dict) and saved.get("date") == now.date().isoformat():
        return
    record.flush()
    at_ms = round(wall_s * 1000)
    figures = summarise(current, now.date() - dt.timedelta(days=1))
    yesterday = event_words("day.summarised", figures, current.units, zone)
    with RecordReader(current.record_path) as reader:
        stored = stored_tomorrow(reader, zone, at_ms)
    tomorrow: list[str] = []
    if stored is not None:
        *foreseen, age = tomorrow_sentences(stored, zone, at_ms)
        tomorrow = [*foreseen, *stored.tonight, age]
    with record.together():
        record.event(at_ms, "letter.written", "info", date=now.date().isoformat())
        record.save_state(STATE_KEY, at_ms, {"date": now.date().isoformat()})
    alarms.send(letter(current.tent.name, now.date(), yesterday, alarms.alarms, tomorrow))
