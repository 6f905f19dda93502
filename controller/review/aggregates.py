"""Sums over hours, worked out by the database: one row an hour whatever the record's length."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from controller.review.source import LIT, RecordSource

# `dt` is the part of the reading's interval that lies in the hour from ?1 to ?2. The LIMIT keeps
# SQLite from folding the inner query into the outer one and working `dt` out again for every sum.
# One execution an hour: a single query grouped by hour would sort every reading, in memory.
_COLUMNS = {
    "readings": "count(*)",
    "config_and_lit": "max(key)",
    "covered_s": "total(dt)",
    "lit_s": "total(dt) FILTER (WHERE lit)",
    **{
        f"{name}_{column}": expression.format(value=value)
        for name, value in (("temperature", "t"), ("humidity", "h"), ("vpd", "v"), ("intake", "i"))
        for column, expression in (
            ("sum", "total(dt * {value})"),
            ("known_s", "total(dt) FILTER (WHERE {value} IS NOT NULL)"),
            ("lit_sum", "total(dt * {value}) FILTER (WHERE lit)"),
            ("lit_known_s", "total(dt) FILTER (WHERE lit AND {value} IS NOT NULL)"),
        )
        if name != "intake" or not column.startswith("lit_")
    },
    "temperature_c_lowest": "min(t_min)",
    "temperature_c_highest": "max(t_max)",
    "humidity_pct_lowest": "min(h_min)",
    "humidity_pct_highest": "max(h_max)",
    "vpd_pa_lowest": "min(v)",
    "vpd_pa_highest": "max(v)",
    "above_k_s": "total(dt * (t - t_high)) FILTER (WHERE t > t_high)",
    "below_k_s": "total(dt * (t_low - t)) FILTER (WHERE t < t_low)",
    "above_pct_s": "total(dt * (h - h_high)) FILTER (WHERE h > h_high)",
    "below_pct_s": "total(dt * (h_low - h)) FILTER (WHERE h < h_low)",
    "above_pa_s": "total(dt * (v - v_high)) FILTER (WHERE v > v_high)",
    "below_pa_s": "total(dt * (v_low - v)) FILTER (WHERE v < v_low)",
    "warning_s": "total(dt) FILTER (WHERE t > warn_c)",
    "speed_s": "total(dt * fan_speed)",
    "fan_s": "total(dt * on_share)",
    # The fan laws: power goes with the cube of the speed while it runs.
    "fan_j": "total(dt * fan_w * fan_speed * fan_speed * fan_speed "
    "/ (on_share * on_share)) FILTER (WHERE on_share > 0)",
    "lamp_s": "total(dt * lamp_share)",
    "lamp_j": "total(dt * lamp_share * lamp_w)",
    "always_on_j": "total(dt * fan_w)",
    "schedule_j": "total(CASE WHEN in_fan_hours THEN dt * open_w ELSE dt * shut_w END)",
}
_HOUR = f"""
FROM (
    SELECT (min(r.at_ms, ?2) - max(r.at_ms - r.interval_s * 1000.0, ?1)) / 1000.0 AS dt,
        m.id & 1 AS lit, m.id AS key,
        r.tent_temperature_c AS t, r.tent_humidity_pct AS h, r.tent_vpd_pa AS v,
        coalesce(r.tent_temperature_min_c, r.tent_temperature_c) AS t_min,
        coalesce(r.tent_temperature_max_c, r.tent_temperature_c) AS t_max,
        coalesce(r.tent_humidity_min_pct, r.tent_humidity_pct) AS h_min,
        coalesce(r.tent_humidity_max_pct, r.tent_humidity_pct) AS h_max,
        r.intake_temperature_c AS i,
        r.fan_speed AS fan_speed, r.fan_on_s / r.interval_s AS on_share,
        r.lamp_on_s / r.interval_s AS lamp_share, r.in_fan_hours AS in_fan_hours,
        m.t_low AS t_low, m.t_high AS t_high, m.h_low AS h_low, m.h_high AS h_high,
        m.v_low AS v_low, m.v_high AS v_high, m.warn_c AS warn_c, m.fan_w AS fan_w,
        m.lamp_w AS lamp_w, m.open_w AS open_w, m.shut_w AS shut_w
    FROM readings r CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
    WHERE r.at_ms > ?1 AND r.at_ms < min(?2 + ?3, ?4) AND r.at_ms - r.interval_s * 1000.0 < ?2
        AND r.interval_s > 0
    LIMIT -1 OFFSET 0
)
"""


@dataclass(slots=True)
class Weighted:
    """A sum of value × time and the time it was known [s]; `lit_` for the lamp's hours."""

    sum: float = 0.0
    known_s: float = 0.0
    lit_sum: float = 0.0
    lit_known_s: float = 0.0

    @property
    def mean(self) -> float | None:
        """Mean over the time the value was known."""
        return self.sum / self.known_s if self.known_s > 0 else None

    @property
    def day_mean(self) -> float | None:
        """Mean while the lamp was lit."""
        return self.lit_sum / self.lit_known_s if self.lit_known_s > 0 else None

    @property
    def night_mean(self) -> float | None:
        """Mean while the lamp was dark."""
        dark_s = self.known_s - self.lit_known_s
        return (self.sum - self.lit_sum) / dark_s if dark_s > 1e-6 else None

    def add(self, stretch: Weighted) -> None:
        """Take another stretch in."""
        self.sum += stretch.sum
        self.known_s += stretch.known_s
        self.lit_sum += stretch.lit_sum
        self.lit_known_s += stretch.lit_known_s


@dataclass(slots=True)
class Extremes:
    """The lowest and the highest value, and the index of the hour each fell in."""

    lowest: float | None = None
    highest: float | None = None
    lowest_in: int = -1
    highest_in: int = -1

    def add(self, stretch: Extremes) -> None:
        """Take another stretch in."""
        if stretch.lowest is not None and (self.lowest is None or stretch.lowest < self.lowest):
            self.lowest, self.lowest_in = stretch.lowest, stretch.lowest_in
        if stretch.highest is not None and (self.highest is None or stretch.highest > self.highest):
            self.highest, self.highest_in = stretch.highest, stretch.highest_in


@dataclass(slots=True)
class Aggregates:
    """What an hour, a day or a whole period adds up to; times [s], energies [J]."""

    readings: int = 0
    covered_s: float = 0.0
    lit_s: float = 0.0
    temperature: Weighted = field(default_factory=Weighted)
    humidity: Weighted = field(default_factory=Weighted)
    vpd: Weighted = field(default_factory=Weighted)
    temperature_c: Extremes = field(default_factory=Extremes)
    humidity_pct: Extremes = field(default_factory=Extremes)
    vpd_pa: Extremes = field(default_factory=Extremes)
    above_k_s: float = 0.0
    below_k_s: float = 0.0
    above_pct_s: float = 0.0
    below_pct_s: float = 0.0
    above_pa_s: float = 0.0
    below_pa_s: float = 0.0
    warning_s: float = 0.0
    speed_s: float = 0.0
    fan_s: float = 0.0
    fan_j: float = 0.0
    lamp_s: float = 0.0
    lamp_j: float = 0.0
    always_on_j: float = 0.0
    schedule_j: float = 0.0
    intake: Weighted = field(default_factory=Weighted)
    fan_cost_j: float = 0.0
    lamp_cost_j: float = 0.0
    always_on_cost_j: float = 0.0
    schedule_cost_j: float = 0.0

    def add(self, stretch: Aggregates) -> None:
        """Take another stretch in."""
        for name in _PLAIN:
            setattr(self, name, getattr(self, name) + getattr(stretch, name))
        for name in _NESTED:
            getattr(self, name).add(getattr(stretch, name))


_NESTED = ("temperature", "humidity", "vpd", "temperature_c", "humidity_pct", "vpd_pa", "intake")
_PLAIN = tuple(name for name in Aggregates.__slots__ if name not in _NESTED)
# Where a row of the query goes; an hour has so many columns that looking for names would cost.
_SUMMED = tuple(name for name in _PLAIN if name in _COLUMNS)
_COSTS = {name: name.replace("_cost_j", "_j") for name in _PLAIN if name.endswith("_cost_j")}
_WEIGHTED = {
    name: [f"{name}_{column}" for column in Weighted.__slots__ if f"{name}_{column}" in _COLUMNS]
    for name in ("temperature", "humidity", "vpd", "intake")
}
_EXTREMES = {
    name: (f"{name}_lowest", f"{name}_highest")
    for name in ("temperature_c", "humidity_pct", "vpd_pa")
}


class Hour(NamedTuple):
    """An hour of a local day, its sums, and the last config in force in it."""

    day: int
    start_ms: int
    end_ms: int
    aggregates: Aggregates
    config_id: int


def hourly_aggregates(source: RecordSource) -> list[Hour]:
    """The sums of every hour of the period that has a reading, in order.

    Costs `cost_j` are energies times the price then in force [J × money per kWh].
    """
    prices = {
        config_id: terms.price_per_kwh or 0.0 for config_id, terms in source.terms.by_config.items()
    }
    hours = []
    for index, (day, start_ms, end_ms) in enumerate(source.period.hours()):
        parameters = (start_ms, end_ms, source.longest_ms, source.beyond_ms)
        (row,) = source.select(_COLUMNS, _HOUR, *parameters)
        if row["readings"]:
            config_id = row["config_and_lit"] // 2
            aggregates = _aggregates(index, row, prices[config_id])
            hours.append(Hour(day, start_ms, end_ms, aggregates, config_id))
    return hours


def total(parts: Iterable[Aggregates]) -> Aggregates:
    """Everything added up."""
    whole = Aggregates()
    for part in parts:
        whole.add(part)
    return whole


def _aggregates(hour: int, row: dict[str, Any], price: float) -> Aggregates:
    parts: dict[str, Any] = {name: row[name] for name in _SUMMED}
    for cost, energy in _COSTS.items():
        parts[cost] = price * row[energy]
    for name, columns in _WEIGHTED.items():
        parts[name] = Weighted(*[row[column] for column in columns])
    for name, (lowest, highest) in _EXTREMES.items():
        parts[name] = Extremes(row[lowest], row[highest], hour, hour)
    return Aggregates(**parts)
