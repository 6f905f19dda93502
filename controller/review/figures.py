"""The figures of a day or a period: how far out of band, what the fan did, what it cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from controller.review.aggregates import Aggregates, Extremes, Hour, Weighted, total
from controller.review.config_terms import J_PER_KWH
from controller.review.daily_light import DailyLight, daily_light, photons_mol_m2
from controller.review.excursions import Kind
from controller.review.fan_starts import fan_starts, speed_changes
from controller.review.leaf_vpd import leaf_vpd, leaf_vpd_total
from controller.review.period import Period
from controller.review.segments import (
    ABOVE,
    BELOW,
    HUMIDITY,
    IN_BAND,
    TEMPERATURE,
    VPD,
    Gap,
    Segment,
    find_gaps,
)
from controller.review.source import RecordSource

if TYPE_CHECKING:
    from controller.timetable import Timetable


@dataclass(slots=True)
class BandMinutes:
    """How long a quantity was where [min]; together the whole length of the time counted."""

    below: float = 0.0
    within: float = 0.0
    above: float = 0.0
    missing: float = 0.0

    def add(self, position: int, minutes: float) -> None:
        """Count a stretch."""
        if position == IN_BAND:
            self.within += minutes
        elif position == ABOVE:
            self.above += minutes
        elif position == BELOW:
            self.below += minutes
        else:
            self.missing += minutes

    @property
    def all(self) -> float:
        """The sum of the four."""
        return self.below + self.within + self.above + self.missing

    @property
    def out(self) -> float:
        """Below and above."""
        return self.below + self.above


@dataclass(slots=True)
class Phase:
    """A quantity by day or by night."""

    mean: float | None = None
    minutes: BandMinutes = field(default_factory=BandMinutes)


@dataclass(slots=True)
class QuantityFigures:
    """One quantity, in its own SI unit; instants [Unix ms]."""

    lowest: float | None = None
    lowest_ms: float | None = None
    mean: float | None = None
    highest: float | None = None
    highest_ms: float | None = None
    minutes: BandMinutes = field(default_factory=BandMinutes)
    day: Phase = field(default_factory=Phase)
    night: Phase = field(default_factory=Phase)


@dataclass(slots=True)
class FanFigures:
    """What the fan did."""

    hours: float = 0.0
    mean_speed: float | None = None
    starts: int = 0
    speed_changes: int = 0
    minutes_by_rule: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class EnergyFigures:
    """Energy [kWh] and its cost in the config's currency; None where the config does not say.

    The fan's goes by `assumed_fan_w` [W] at full speed where the config does not give its power.
    """

    assumed_fan_w: float | None = None
    fan_kwh: float | None = None
    lamp_kwh: float = 0.0
    always_on_kwh: float | None = None
    schedule_kwh: float | None = None
    fan_cost: float | None = None
    lamp_cost: float | None = None
    always_on_cost: float | None = None
    schedule_cost: float | None = None

    @property
    def total_kwh(self) -> float:
        """Lamp and, if its power is known, fan."""
        return self.lamp_kwh + (self.fan_kwh or 0.0)

    @property
    def total_cost(self) -> float | None:
        """Lamp and fan."""
        if self.lamp_cost is None:
            return None
        return self.lamp_cost + (self.fan_cost or 0.0)


class Excess(NamedTuple):
    """How far a quantity was out of band times for how long: %·h or kPa·h."""

    above: float = 0.0
    below: float = 0.0


@dataclass(slots=True)
class Figures:
    """Everything counted for one stretch of time."""

    minutes: float
    readings: int = 0
    covered_minutes: float = 0.0
    temperature: QuantityFigures = field(default_factory=QuantityFigures)
    humidity: QuantityFigures = field(default_factory=QuantityFigures)
    vpd: QuantityFigures = field(default_factory=QuantityFigures)
    leaf_vpd: Weighted | None = None
    degree_hours_above: float = 0.0
    degree_hours_below: float = 0.0
    humidity_excess: Excess = field(default_factory=Excess)
    vpd_excess: Excess = field(default_factory=Excess)
    minutes_above_warning: float = 0.0
    intake_mean_c: float | None = None
    fan: FanFigures = field(default_factory=FanFigures)
    lamp_hours: float = 0.0
    daily_light: DailyLight | None = None
    locked_out_minutes: float = 0.0
    energy: EnergyFigures = field(default_factory=EnergyFigures)

    def quantity(self, name: str) -> QuantityFigures:
        """The figures of "temperature", "humidity" or "vpd"."""
        quantities = {"temperature": self.temperature, "humidity": self.humidity, "vpd": self.vpd}
        return quantities[name]

    def hours_out(self, kind: Kind) -> float:
        """How far a quantity was on one side of its band times for how long [K·h, %·h or Pa·h]."""
        name, side = kind
        above, below = {
            "temperature": (self.degree_hours_above, self.degree_hours_below),
            "humidity": self.humidity_excess,
            "vpd": (1000.0 * self.vpd_excess.above, 1000.0 * self.vpd_excess.below),
        }[name]
        return above if side == "above" else below

    def minutes_out(self, kind: Kind) -> float:
        """How long a quantity was on one side of its band [min]."""
        name, side = kind
        minutes = self.quantity(name).minutes
        return minutes.above if side == "above" else minutes.below


class Counted(NamedTuple):
    """The figures of the period and of each of its days."""

    whole: Figures
    days: tuple[Figures, ...]
    gaps: tuple[Gap, ...]


_QUANTITIES = (("temperature", TEMPERATURE), ("humidity", HUMIDITY), ("vpd", VPD))


def count(
    source: RecordSource, hours: Sequence[Hour], segments: Sequence[Segment], timetable: Timetable
) -> Counted:
    """Work out the figures.

    Parameters
    ----------
    source : RecordSource
        The record, for the moments of the extremes.
    hours, segments
        What the database added up.
    timetable : Timetable
        The present one: tells day from night where the record has no readings.
    """
    period = source.period
    gaps = find_gaps(segments, period.start_ms, period.end_ms)
    parts_of_days: list[list[Hour]] = [[] for _ in period.days]
    for hour in hours:
        parts_of_days[hour.day].append(hour)
    by_day = [[hour.aggregates for hour in parts] for parts in parts_of_days]
    days = [Figures(day.minutes) for day in period.days]
    _count_segments(period, days, segments)
    _count_gaps(period, days, gaps, timetable)
    for figures, starts in zip(days, fan_starts(source, segments), strict=True):
        figures.fan.starts = starts
    for figures, changes in zip(days, speed_changes(source), strict=True):
        figures.fan.speed_changes = changes
    fan_known = source.terms.present.fan_w is not None or any(
        terms.fan_w is not None for terms in source.terms.by_config.values()
    )
    priced = any(t.price_per_kwh is not None for t in source.terms.by_config.values())
    spans = [(hour.start_ms, hour.end_ms) for hour in hours]
    index_of = {hour.aggregates.temperature_c.highest_in: n for n, hour in enumerate(hours)}
    daily_aggregates = [total(parts) for parts in by_day]
    photons = [photons_mol_m2(source, parts) for parts in parts_of_days]
    by_day_leaf_vpd = [leaf_vpd_total(source, parts) for parts in parts_of_days]
    for figures, aggregates, light, leaves in zip(
        days, daily_aggregates, photons, by_day_leaf_vpd, strict=True
    ):
        figures.daily_light = daily_light(light, 1 if aggregates.readings else 0)
        figures.leaf_vpd = leaf_vpd(leaves, aggregates)
        _take(figures, aggregates, fan_known, priced)
        figures.temperature.highest_ms = _moment(
            source, _HIGHEST["temperature"], aggregates.temperature_c.highest,
            aggregates.temperature_c.highest_in, spans, index_of,
        )  # fmt: skip
    whole = Figures(period.minutes)
    for figures in days:
        _merge(whole, figures)
    aggregates = total(daily_aggregates)
    _take(whole, aggregates, fan_known, priced)
    leaves = Weighted()
    for leaves_of_day in by_day_leaf_vpd:
        leaves.add(leaves_of_day)
    present = source.terms.present
    if present.fan_w_is_assumed:
        for figures in (whole, *days):
            figures.energy.assumed_fan_w = present.fan_w
    whole.leaf_vpd = leaf_vpd(leaves, aggregates)
    whole.daily_light = daily_light(
        sum(photons), sum(1 for aggregates in daily_aggregates if aggregates.readings)
    )
    for name, _ in _QUANTITIES:
        quantity: QuantityFigures = getattr(whole, name)
        extremes: Extremes = getattr(aggregates, _EXTREMES[name])
        quantity.lowest_ms = _moment(
            source, _LOWEST[name], extremes.lowest, extremes.lowest_in, spans, index_of
        )
        quantity.highest_ms = _moment(
            source, _HIGHEST[name], extremes.highest, extremes.highest_in, spans, index_of
        )
    return Counted(whole, tuple(days), tuple(gaps))


_EXTREMES = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
_LOWEST = {
    "temperature": "coalesce(tent_temperature_min_c, tent_temperature_c)",
    "humidity": "coalesce(tent_humidity_min_pct, tent_humidity_pct)",
    "vpd": "tent_vpd_pa",
}
_HIGHEST = {
    "temperature": "coalesce(tent_temperature_max_c, tent_temperature_c)",
    "humidity": "coalesce(tent_humidity_max_pct, tent_humidity_pct)",
    "vpd": "tent_vpd_pa",
}


def _moment(
    source: RecordSource,
    column: str,
    value: float | None,
    hour: int,
    spans: Sequence[tuple[int, int]],
    index_of: dict[int, int],
) -> float | None:
    """The end of the first interval in the hour that had the value [Unix ms]."""
    if value is None:
        return None
    start, end = spans[index_of[hour]]
    for (at_ms,) in source.rows(
        f"SELECT at_ms FROM readings WHERE at_ms > ? AND at_ms < ? AND {column} = ? LIMIT 1",
        start,
        end + source.longest_ms,
        value,
    ):
        return min(float(at_ms), float(end))
    return None


def _pieces(
    period: Period, start_ms: float, end_ms: float, from_day: int
) -> list[tuple[int, float]]:
    """A stretch as (day, minutes) of each day it touches, looking from `from_day` on."""
    pieces = []
    day = from_day
    while day < len(period.days) and period.days[day].start_ms < end_ms:
        span = period.days[day]
        minutes = (min(end_ms, span.end_ms) - max(start_ms, span.start_ms)) / 60_000.0
        if minutes > 0:
            pieces.append((day, minutes))
        day += 1
    return pieces


def _count_segments(period: Period, days: Sequence[Figures], segments: Sequence[Segment]) -> None:
    day = 0
    for segment in segments:
        while period.days[day].end_ms <= segment.start_ms:
            day += 1
        for index, minutes in _pieces(period, segment.start_ms, segment.end_ms, day):
            figures = days[index]
            lit = segment.lit
            for name, bits in _QUANTITIES:
                quantity: QuantityFigures = getattr(figures, name)
                position = segment.position(bits)
                quantity.minutes.add(position, minutes)
                (quantity.day if lit else quantity.night).minutes.add(position, minutes)
            if segment.fan_on:
                by_rule = figures.fan.minutes_by_rule
                by_rule[segment.rule] = by_rule.get(segment.rule, 0.0) + minutes
            if segment.locked_out:
                figures.locked_out_minutes += minutes


def _count_gaps(
    period: Period, days: Sequence[Figures], gaps: Sequence[Gap], timetable: Timetable
) -> None:
    day = 0
    for gap in gaps:
        while period.days[day].end_ms <= gap.start_ms:
            day += 1
        for start_ms, end_ms, lit in gap.by_phase(timetable):
            for index, minutes in _pieces(period, start_ms, end_ms, day):
                for name, _ in _QUANTITIES:
                    quantity: QuantityFigures = getattr(days[index], name)
                    quantity.minutes.missing += minutes
                    (quantity.day if lit else quantity.night).minutes.missing += minutes


def _merge(whole: Figures, day: Figures) -> None:
    """Add a day's minutes and counts to the period's."""
    whole.locked_out_minutes += day.locked_out_minutes
    whole.fan.starts += day.fan.starts
    whole.fan.speed_changes += day.fan.speed_changes
    for rule, minutes in day.fan.minutes_by_rule.items():
        by_rule = whole.fan.minutes_by_rule
        by_rule[rule] = by_rule.get(rule, 0.0) + minutes
    for name, _ in _QUANTITIES:
        of_period, of_day = getattr(whole, name), getattr(day, name)
        pairs = (
            (of_period.minutes, of_day.minutes),
            (of_period.day.minutes, of_day.day.minutes),
            (of_period.night.minutes, of_day.night.minutes),
        )
        for target, added in pairs:
            target.below += added.below
            target.within += added.within
            target.above += added.above
            target.missing += added.missing


def _take(figures: Figures, aggregates: Aggregates, fan_known: bool, priced: bool) -> None:
    """Fill in what follows from sums."""
    figures.readings = aggregates.readings
    figures.covered_minutes = aggregates.covered_s / 60.0
    for name, _ in _QUANTITIES:
        quantity: QuantityFigures = getattr(figures, name)
        weighted: Weighted = getattr(aggregates, name)
        extremes: Extremes = getattr(aggregates, _EXTREMES[name])
        quantity.lowest, quantity.highest = extremes.lowest, extremes.highest
        quantity.mean = weighted.mean
        quantity.day.mean, quantity.night.mean = weighted.day_mean, weighted.night_mean
    figures.degree_hours_above = aggregates.above_k_s / 3600.0
    figures.degree_hours_below = aggregates.below_k_s / 3600.0
    figures.humidity_excess = Excess(
        aggregates.above_pct_s / 3600.0, aggregates.below_pct_s / 3600.0
    )
    figures.vpd_excess = Excess(aggregates.above_pa_s / 3.6e6, aggregates.below_pa_s / 3.6e6)
    figures.minutes_above_warning = aggregates.warning_s / 60.0
    figures.intake_mean_c = aggregates.intake.mean
    figures.fan.hours = aggregates.fan_s / 3600.0
    figures.fan.mean_speed = (
        aggregates.speed_s / aggregates.covered_s if aggregates.covered_s > 0 else None
    )
    figures.lamp_hours = aggregates.lamp_s / 3600.0
    energy = figures.energy
    energy.lamp_kwh = aggregates.lamp_j / J_PER_KWH
    if fan_known:
        energy.fan_kwh = aggregates.fan_j / J_PER_KWH
        energy.always_on_kwh = aggregates.always_on_j / J_PER_KWH
        energy.schedule_kwh = aggregates.schedule_j / J_PER_KWH
    if priced:
        energy.lamp_cost = aggregates.lamp_cost_j / J_PER_KWH
        if fan_known:
            energy.fan_cost = aggregates.fan_cost_j / J_PER_KWH
            energy.always_on_cost = aggregates.always_on_cost_j / J_PER_KWH
            energy.schedule_cost = aggregates.schedule_cost_j / J_PER_KWH
