"""Slow changes over weeks: a filter that clogs, a sensor that drifts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from controller.review.source import RecordSource

# A slope is reported when it is this many times its standard error, over at least so many days.
_TIMES_ERROR = 3.0
_LEAST_DAYS = 7
# Speeds within a twentieth count as the same speed.
_SPEED_STEP = 0.05
_HOUR_MS = 3_600_000


class Trend(NamedTuple):
    """A straight line through a daily value.

    Attributes
    ----------
    kind : {"fan_rpm", "sensor_temperature", "sensor_humidity"}
        What changed: the fan's turns at equal speed, or one sensor against its twin.
    subject : str
        The speed ("100 %"), or the two sensors.
    unit : str
        Of `first` and `last`: "1/min", "K" or "%".
    first, last : float
        The line's value on the first and on the last day.
    per_week : float
        Its slope [unit per week].
    days : int
        How many days it rests on.
    is_significant : bool
        Whether the slope is at least three times its standard error, over a week or more.
    """

    kind: str
    subject: str
    unit: str
    first: float
    last: float
    per_week: float
    days: int
    is_significant: bool


def find_trends(source: RecordSource) -> list[Trend]:
    """The trends of a period of several days."""
    if len(source.period.days) < 2:
        return []
    return [*_fan_trends(source), *_sensor_trends(source)]


def fit(kind: str, subject: str, unit: str, daily: Sequence[tuple[int, float]]) -> Trend | None:
    """A least-squares line through (day, value), or None for fewer than three days."""
    n = len(daily)
    if n < 3:
        return None
    mean_x = sum(x for x, _ in daily) / n
    mean_y = sum(y for _, y in daily) / n
    spread = sum((x - mean_x) ** 2 for x, _ in daily)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in daily) / spread
    rest = sum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in daily)
    error = math.sqrt(rest / (n - 2) / spread)
    first, last = daily[0][0], daily[-1][0]
    return Trend(
        kind,
        subject,
        unit,
        mean_y + slope * (first - mean_x),
        mean_y + slope * (last - mean_x),
        7.0 * slope,
        n,
        n >= _LEAST_DAYS and abs(slope) > _TIMES_ERROR * error + 1e-12,
    )


def _fan_trends(source: RecordSource) -> list[Trend]:
    """Turns at equal speed, for each speed that the fan kept for whole intervals."""
    by_speed: dict[int, list[tuple[int, float]]] = {}
    for index, day in enumerate(source.period.days if source.has_turns else ()):
        for step, rpm, count in source.rows(
            f"SELECT CAST(fan_speed / {_SPEED_STEP} + 0.5 AS INTEGER), avg(fan_rpm), count(*) "
            "FROM readings WHERE at_ms > ? AND at_ms <= ? AND fan_rpm > 0 "
            "AND fan_on_s >= interval_s GROUP BY 1",
            day.start_ms,
            day.end_ms,
        ):
            if count >= 10:
                by_speed.setdefault(step, []).append((index, rpm))
    trends = [
        fit("fan_rpm", f"{step * _SPEED_STEP * 100:.0f} %", "1/min", daily)
        for step, daily in sorted(by_speed.items())
    ]
    return [trend for trend in trends if trend is not None]


def _sensor_trends(source: RecordSource) -> list[Trend]:
    """Each further tent sensor against the first: a reading an hour is plenty for a day's mean."""
    settings = source.terms.present.settings
    names = [sensor.name for sensor in settings.sensors if sensor.role == "tent"]
    trends: list[Trend | None] = []
    for second in names[1:]:
        for kind, unit, column in (
            ("sensor_temperature", "K", "temperature_c"),
            ("sensor_humidity", "%", "humidity_pct"),
        ):
            daily = list(_daily_differences(source, names[0], second, column))
            trends.append(fit(kind, f"{second} against {names[0]}", unit, daily))
    return [trend for trend in trends if trend is not None]


def _daily_differences(
    source: RecordSource, first: str, second: str, column: str
) -> list[tuple[int, float]]:
    by_day: dict[int, list[float]] = {}
    query = (
        f"SELECT b.{column} - a.{column} FROM sensor_readings a JOIN sensor_readings b "
        "ON b.at_ms = a.at_ms AND b.sensor = ?1 WHERE a.sensor = ?2 "
        f"AND a.at_ms > ?3 AND a.at_ms <= ?4 AND b.{column} - a.{column} IS NOT NULL LIMIT 1"
    )
    for day, start_ms, end_ms in source.period.hours():
        for (difference,) in source.rows(query, second, first, start_ms, end_ms):
            by_day.setdefault(day, []).append(difference)
    return [(day, sum(values) / len(values)) for day, values in by_day.items()]
