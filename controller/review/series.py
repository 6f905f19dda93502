"""The course of a day for its charts: means over short steps, worked out by the database."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from controller.review.source import LIT, RecordSource

_COLUMNS = {
    "step": "(r.at_ms - 1 - ?1) / ?3",
    "temperature_c": "avg(tent_temperature_c)",
    "temperature_min_c": "min(coalesce(tent_temperature_min_c, tent_temperature_c))",
    "temperature_max_c": "max(coalesce(tent_temperature_max_c, tent_temperature_c))",
    "humidity_pct": "avg(tent_humidity_pct)",
    "vpd_pa": "avg(tent_vpd_pa)",
    "intake_c": "avg(intake_temperature_c)",
    "intake_pct": "avg(intake_humidity_pct)",
    "dew_point_c": "avg(tent_dew_point_c)",
    "fan_speed": "avg(fan_speed)",
    "temperature_low": "max(m.t_low)",
    "temperature_high": "min(m.t_high)",
    "humidity_low": "max(m.h_low)",
    "humidity_high": "min(m.h_high)",
    "vpd_low": "max(m.v_low)",
    "vpd_high": "min(m.v_high)",
}
_SERIES = f"""
FROM readings r CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
WHERE r.at_ms > ?1 AND r.at_ms <= ?2 AND r.interval_s > 0
GROUP BY 1 ORDER BY 1
"""


@dataclass(slots=True)
class Point:
    """A step of the series; None where nothing was known.

    `start_ms` and `end_ms` are its ends [Unix ms]; the `_low` and `_high` are the bands in force.
    """

    start_ms: float
    end_ms: float
    temperature_c: float | None
    temperature_min_c: float | None
    temperature_max_c: float | None
    humidity_pct: float | None
    vpd_pa: float | None
    intake_c: float | None
    intake_pct: float | None
    dew_point_c: float | None
    fan_speed: float | None
    temperature_low: float
    temperature_high: float
    humidity_low: float
    humidity_high: float
    vpd_low: float
    vpd_high: float

    @property
    def middle_ms(self) -> float:
        """Where to draw it [Unix ms]."""
        return (self.start_ms + self.end_ms) / 2.0


def read_series(source: RecordSource, steps: int) -> list[Point]:
    """The course of the period in at most so many steps; steps without readings are left out."""
    start, end = source.period.start_ms, source.period.end_ms
    shortest = max(1, source.longest_ms)
    step = max(shortest, -(-(end - start) // steps))
    step = -(-step // shortest) * shortest  # whole readings in every step, or they would flicker
    points = []
    for row in source.select(_COLUMNS, _SERIES, start, end, step):
        start_ms = start + row.pop("step") * step
        points.append(Point(start_ms, min(start_ms + step, end), **row))
    return points


def stretches(
    points: Iterable[Point], value: Callable[[Point], float | None]
) -> list[list[tuple[float, float]]]:
    """A value's course as unbroken pieces of (instant [Unix ms], value)."""
    pieces: list[list[tuple[float, float]]] = []
    piece: list[tuple[float, float]] = []
    last_ms: float | None = None
    for point in points:
        known = value(point)
        broken = last_ms is not None and point.start_ms > last_ms + 1
        if piece and (known is None or broken):
            pieces.append(piece)
            piece = []
        if known is not None:
            piece.append((point.middle_ms, known))
        last_ms = point.end_ms
    if piece:
        pieces.append(piece)
    return pieces
