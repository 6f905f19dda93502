"""A letter comes each day, also when nothing is the matter: yesterday, what stands, tomorrow."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from daemon_builders import CONFIG, utc_s

from controller.alarms.letter import letter
from controller.alarms.notifications import Message
from controller.alarms.states import Alarm, AlarmState
from controller.alarms.watch import AlarmWatch
from controller.config import Settings, settings_from_text
from controller.daemon.calendar import calendar_jobs
from controller.daemon.scheduler import SteppedCalendar
from controller.record import InlineRecord

ROME = ZoneInfo("Europe/Rome")
FIGURES = {
    "readings": 1440, "temperature_lowest_c": 19.0, "temperature_mean_c": 23.0,
    "temperature_highest_c": 27.5, "humidity_lowest_pct": 45.0, "humidity_highest_pct": 70.0,
    "too_hot_minutes": 90.0, "fan_hours": 16.5, "locked_out_minutes": 0.0,
}  # fmt: skip


class Box:
    """An outbox that keeps what it is handed."""

    def __init__(self) -> None:
        self.letters: list[Message] = []

    def put(self, message: Message) -> None:
        self.letters.append(message)


def settings_in(folder: Path, more: str) -> Settings:
    text = f"{CONFIG}record: {{path: {folder / 'tent.sqlite3'}}}\nnotify: {{{more}}}\n"
    return settings_from_text(text).settings


def days(
    settings: Settings, record: InlineRecord, box: Box | None, first: str, hours: float
) -> None:
    """Step the calendar through some days."""
    watch = AlarmWatch(settings, [] if box is None else [box])  # type: ignore[list-item]

    def summarise(_: Settings, date: dt.date) -> dict[str, Any]:
        return {"date": date.isoformat(), **FIGURES}

    at_s = utc_s(first)
    jobs = calendar_jobs(lambda: settings, record, summarise, alarms=watch)
    calendar = SteppedCalendar([job for job in jobs if job.name == "letter"], ROME, at_s)
    for _ in range(round(hours * 12)):
        at_s += 300.0
        calendar.step(at_s)


def test_one_comes_each_day_at_its_time_over_clock_changes_and_restarts(tmp_path: Path) -> None:
    settings = settings_in(tmp_path, "command: /bin/true, letter: 07:30")
    record, box = InlineRecord(tmp_path / "tent.sqlite3"), Box()
    days(settings, record, box, "2025-03-29 12:00", 21.0)  # the clocks go forward on the 30th
    days(settings, record, box, "2025-03-30 09:00", 30.0)  # and again from a restart on
    record.close()
    # Noon's is made up for: nobody wrote one that morning.
    titles = [message.title for message in box.letters]
    assert titles == [
        f"bench: letter of {day}" for day in ("Saturday 29 March", "Sunday 30 March",
                                              "Monday 31 March")
    ]  # fmt: skip
    assert box.letters[0].text.splitlines() == [
        "Day 2025-03-28: 19.0 °C to 27.5 °C, mean 23.0 °C; 45 % to 70 %; too hot for 1 h 30 min; "
        "fan on for 16 h 30 min.",
        "No alarm stands.",
    ]


def test_tomorrow_stands_in_it_with_its_age_and_what_helps(tmp_path: Path) -> None:
    settings = settings_in(tmp_path, "command: /bin/true, letter: 07:30")
    record, box = InlineRecord(tmp_path / "tent.sqlite3"), Box()
    record.config(1000, CONFIG, "sha")
    sentences = {"headline": ["Tomorrow: about 27 °C."], "tonight": ["Tonight would help: A."]}
    foreseen = {"date": "2025-06-02", "sentences": {**sentences, "grounds": ["The tent."]}}
    night_ms = round(utc_s("2025-06-01 01:10") * 1000)
    record.learning(night_ms, {"refused": "too few days", "tomorrow": foreseen})
    days(settings, record, box, "2025-06-01 05:00", 1.0)
    record.close()
    assert box.letters[0].text.splitlines()[1:] == [
        "No alarm stands.",
        "Tomorrow: about 27 °C.",
        "Tonight would help: A.",
        "Worked out at 03:10, 4 h 20 min ago.",
    ]


def test_none_comes_unasked_or_where_nobody_is_reached(tmp_path: Path) -> None:
    record, box = InlineRecord(tmp_path / "tent.sqlite3"), Box()
    days(settings_in(tmp_path, "command: /bin/true"), record, box, "2025-06-01 05:00", 24.0)
    letter_alone = settings_in(tmp_path, "letter: 07:30")
    days(letter_alone, record, None, "2025-06-01 05:00", 24.0)
    record.close()
    assert box.letters == []
    warnings = settings_from_text(f"{CONFIG}notify: {{letter: 07:30}}\n").warnings
    assert any("the letter goes to nobody" in str(warning) for warning in warnings)


def test_what_stands_is_named() -> None:
    alarms = {
        "heat": Alarm("heat", AlarmState.ACTIVE, 0.0, 1000),
        "cold": Alarm("cold", AlarmState.OVER, 0.0, 1000),
    }
    text = letter("x", dt.date(2025, 6, 1), "Day", alarms, []).text
    assert text.splitlines()[1] == "Stands: hotter than the heat warning."
