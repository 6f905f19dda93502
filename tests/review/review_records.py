"""Records built by hand, reading by reading, so that every figure of a review is known."""

from __future__ import annotations

import datetime as dt
import math
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from controller.config import Loaded, settings_from_text
from controller.record import RecordWriter
from controller.record.rows import ReadingRow, SensorRow
from controller.review.open_record import Asked, open_source
from controller.review.report import Review, build

ROME = ZoneInfo("Europe/Rome")
DAY = dt.date(2013, 7, 18)

CONFIG = """\
tent: {name: test tent, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, power: 20 W, free_flow: 187 m³/h, max_pressure: 150 Pa}
schedule: {pre_run: 15 min, run_on: 15 min, day_speed: 50 %, night_speed: 0 %}
sensors:
  - {name: canopy, role: tent, driver: simulated}
  - {name: shelf, role: tent, driver: simulated}
  - {name: inlet, role: intake, driver: simulated}
targets:
  day: {temperature: [21 °C, 25 °C], humidity: [40 %, 70 %], vpd: [0.6 kPa, 1.6 kPa]}
  night: {temperature: [16 °C, 22 °C], humidity: [40 %, 80 %], vpd: [0.3 kPa, 1.6 kPa]}
overrides: {temperature: {hysteresis: 1 K, delay: 60 s, speed: 100 %}}
energy: {price: 0.30, currency: EUR}
"""


def loaded(text: str = CONFIG) -> Loaded:
    return settings_from_text(text)


def at(clock: str, day: dt.date = DAY, zone: ZoneInfo = ROME) -> int:
    """A local clock time as Unix ms; "24:00" is the end of the day."""
    hour, minute = (int(part) for part in clock.split(":"))
    days, hour = divmod(hour, 24)
    time = dt.datetime.combine(day + dt.timedelta(days), dt.time(hour, minute), tzinfo=zone)
    return round(time.timestamp() * 1000)


class HandRecord:
    """A record that is written a stretch at a time."""

    def __init__(self, folder: Path, config: str = CONFIG, day: dt.date = DAY) -> None:
        self.path = folder / "record.sqlite3"
        self.loaded = loaded(config)
        self.zone = ZoneInfo(self.loaded.settings.place.timezone)
        self.day = day
        self.writer = RecordWriter(self.path, durable=False)
        weakref.finalize(self, self.writer.close)
        self.config(0, config)

    def config(self, at_ms: int, text: str) -> None:
        self.writer.config(at_ms, text, loaded(text).sha256)

    def at(self, clock: str) -> int:
        return at(clock, self.day, self.zone)

    def stretch(self, start: str, end: str, **values: Any) -> None:
        """Readings once a minute between two clock times, all alike."""
        self.span(self.at(start), self.at(end), **values)

    def span(self, start_ms: int, end_ms: int, interval_s: float = 60.0, **values: Any) -> None:
        """The same between two instants."""
        step = round(interval_s * 1000)
        with self.writer.together():
            for at_ms in range(start_ms + step, end_ms + 1, step):
                self.writer.reading(reading(at_ms, interval_s, **values))

    def event(self, clock: str, name: str, level: str = "info", **data: Any) -> None:
        self.writer.event(self.at(clock), name, level, **data)

    def review(self, asked: Asked | None = None, now_ms: float | None = None) -> Review:
        wanted = asked or Asked(day=self.day.isoformat())
        with open_source(self.loaded, self.path, wanted, now_ms) as source:
            return build(source, self.loaded.settings, now_ms)


def reading(
    at_ms: int,
    interval_s: float = 60.0,
    *,
    temperature: float | None = 23.0,
    humidity: float | None = 55.0,
    vpd: float | None = 1260.0,
    speed: float = 0.5,
    lit: bool = True,
    in_fan_hours: bool | None = None,
    rule: str = "schedule",
    sensors: dict[str, float] | None = None,
    **more: Any,
) -> ReadingRow:
    return ReadingRow(
        at_ms=at_ms,
        interval_s=interval_s,
        tent_temperature_c=temperature,
        tent_humidity_pct=humidity,
        tent_vpd_pa=vpd,
        fan_speed=speed,
        fan_on_s=interval_s if speed > 0 else 0.0,
        lamp_on=lit,
        lamp_on_s=interval_s if lit else 0.0,
        in_fan_hours=lit if in_fan_hours is None else in_fan_hours,
        rule=rule,
        sensors=tuple(SensorRow(name, value, 50.0) for name, value in (sensors or {}).items()),
        **more,
    )


def known_day(record: HandRecord) -> None:
    """The day whose figures are worked out in the tests."""
    dark: dict[str, Any] = {"lit": False, "speed": 0.0}
    record.stretch("00:00", "02:00", temperature=18.0, **dark)
    record.stretch("02:00", "02:10", temperature=18.0, lit=False, speed=1.0, rule="purge")
    record.stretch("02:10", "05:45", temperature=18.0, **dark)
    record.stretch("05:45", "06:00", temperature=18.0, lit=False, in_fan_hours=True)
    record.stretch("06:00", "08:00", temperature=20.0)
    record.stretch("08:00", "12:00", temperature=23.0)
    hot: dict[str, Any] = {"speed": 1.0, "rule": "too_hot", "vpd": 1700.0}
    record.stretch("12:00", "15:00", temperature=27.0, humidity=38.0, **hot)
    record.stretch("15:00", "22:00", temperature=24.0)
    record.stretch("22:00", "22:15", temperature=23.0, lit=False, in_fan_hours=True)
    record.stretch("22:15", "24:00", temperature=23.0, **dark)


def noisy_month(days: int = 30) -> Iterator[ReadingRow]:
    """A month that wanders through every band, with gaps, faults and odd intervals."""
    start = at("00:00", dt.date(2013, 3, 15))  # the 31st has 23 hours
    at_ms = start
    n = 0
    while at_ms < start + days * 86_400_000:
        n += 1
        chance = math.sin(n * 12.9898) * 43758.5453 % 1.0
        if chance < 0.002:
            at_ms += round(chance * 1e10) % 7_200_000
        interval_s = 47.0 if 0.5 < chance < 0.52 else 60.0
        at_ms += round(interval_s * 1000)
        hour = (at_ms - start) / 3_600_000 % 24
        lit = 6 <= hour < 22
        temperature = 22 + 5 * math.sin((hour - 9) / 24 * 2 * math.pi) + 2 * (chance - 0.5)
        temperature += 2 * math.sin(at_ms / 3e8)
        humidity = 60 + 25 * math.sin(at_ms / 4e7) + 3 * chance
        missing = 0.7 < chance < 0.71
        hot = temperature > 25
        yield reading(
            at_ms,
            interval_s,
            temperature=None if missing else temperature,
            humidity=None if missing else humidity,
            vpd=None if missing else 27.0 * (100 - humidity),
            speed=1.0 if hot else 0.5 if lit else 0.0,
            lit=lit,
            rule="sensor_failsafe" if missing else "too_hot" if hot else "schedule",
        )
