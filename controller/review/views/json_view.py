"""The review as JSON: SI units, units in the keys or beside them, times RFC 3339 with offset."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from controller.review.advice import Advice
from controller.review.aggregates import Weighted
from controller.review.daily_light import DailyLight
from controller.review.deviations import Deviation
from controller.review.excursions import Cause, Excursion
from controller.review.figures import BandMinutes, EnergyFigures, Figures, Phase, QuantityFigures
from controller.review.overrides import Override
from controller.review.period import Period
from controller.review.quality import ActiveSpan, Quality
from controller.review.report import Review
from controller.review.trends import Trend
from controller.review.views.cause_words import cause_words, override_effect, override_reason
from controller.review.views.deviation_words import deviation_sentence
from controller.review.views.headline import also, headline

FORMAT = "lungwort.review/1"
UNITS = {"temperature": "°C", "humidity": "%", "vpd": "Pa"}

Json = dict[str, Any]


def document(review: Review, trends: Sequence[Trend] = (), advice: Advice | None = None) -> Json:
    """Everything the review knows; the layout is that of `controller.review.views.json_schema`."""
    period, settings = review.period, review.settings
    advice = advice or Advice()
    return {
        "format": FORMAT,
        "tent": settings.tent.name,
        "record": str(review.record),
        "simulated": review.is_simulated,
        "timezone": settings.place.timezone,
        "from": period.days[0].date.isoformat(),
        "to": period.days[-1].date.isoformat(),
        "start": period.rfc3339(period.start_ms),
        "end": period.rfc3339(period.end_ms),
        "minutes": period.minutes,
        "minutes_to_come": _round(review.quality.minutes_to_come, 2),
        "headline": headline(review),
        "also": also(review),
        **_figures(review.figures, period),
        "currency": settings.energy.currency,
        "deviations": [_deviation(review, one) for one in review.deviations],
        "overrides": [_override(review, one) for one in review.overrides],
        "spells": [_excursion(review, one) for one in review.excursions],
        "suggestions": [one.as_json() for one in advice.suggestions],
        "suggestions_note": advice.note,
        "changes_replayed": advice.tried,
        "model_error": {
            "temperature_mean_k": _round(advice.bias_k, 3),
            "humidity_mean_pct": _round(advice.bias_pct, 2),
            "temperature_spread_k": _round(advice.error_k, 3),
        },
        "alarms": [_active_span(period, one, "alarm", "priority") for one in review.alarms],
        "data_quality": _quality(period, review.quality),
        "days": [
            {"date": day.date.isoformat(), **_figures(figures, period)}
            for day, figures in zip(period.days, review.counted.days, strict=True)
        ],
        "trends": [one.as_json() for one in trends],
    }


def _figures(figures: Figures, period: Period) -> Json:
    energy = figures.energy
    return {
        "readings": figures.readings,
        "minutes_recorded": _round(figures.covered_minutes, 3),
        "temperature": _quantity(figures.temperature, period, "temperature"),
        "humidity": _quantity(figures.humidity, period, "humidity"),
        "vpd": _quantity(figures.vpd, period, "vpd"),
        "leaf_vpd_estimate": _leaf_vpd(figures.leaf_vpd),
        "intake_mean_c": _round(figures.intake_mean_c, 3),
        "degree_hours_above": _round(figures.degree_hours_above, 4),
        "degree_hours_below": _round(figures.degree_hours_below, 4),
        "heat_warning_minutes": _round(figures.minutes_above_warning, 3),
        "fan_hours": _round(figures.fan.hours, 4),
        "mean_speed": _round(figures.fan.mean_speed, 5),
        "fan_starts": figures.fan.starts,
        "fan_hours_by_rule": {
            rule: _round(minutes / 60.0, 4)
            for rule, minutes in sorted(figures.fan.minutes_by_rule.items())
        },
        "lamp_hours": _round(figures.lamp_hours, 4),
        "daily_light_estimate": _light(figures.daily_light),
        "locked_out_minutes": _round(figures.locked_out_minutes, 3),
        **_energy(energy),
    }


def _leaf_vpd(leaf: Weighted | None) -> Json | None:
    if leaf is None:
        return None
    return {
        "mean_pa": _round(leaf.mean, 1),
        "day_mean_pa": _round(leaf.day_mean, 1),
        "night_mean_pa": _round(leaf.night_mean, 1),
    }


def _light(light: DailyLight | None) -> Json | None:
    if light is None:
        return None
    return {
        "mol_per_m2_per_day": _round(light.best, 3),
        "lowest": _round(light.low, 3),
        "highest": _round(light.high, 3),
    }


def _energy(energy: EnergyFigures) -> Json:
    """The fan's under the names that a rehearsal uses; the lamp's and their sum beside them."""
    return {
        "energy_kwh": _round(energy.fan_kwh, 6),
        "cost": _round(energy.fan_cost, 6),
        "energy_always_on_kwh": _round(energy.always_on_kwh, 6),
        "cost_always_on": _round(energy.always_on_cost, 6),
        "energy_schedule_alone_kwh": _round(energy.schedule_kwh, 6),
        "cost_schedule_alone": _round(energy.schedule_cost, 6),
        "lamp_energy_kwh": _round(energy.lamp_kwh, 6),
        "lamp_cost": _round(energy.lamp_cost, 6),
        "total_energy_kwh": _round(energy.total_kwh, 6),
        "total_cost": _round(energy.total_cost, 6),
    }


def _quantity(of: QuantityFigures, period: Period, name: str) -> Json:
    return {
        "unit": UNITS[name],
        "lowest": _round(of.lowest, 4),
        "lowest_time": _time(period, of.lowest_ms),
        "mean": _round(of.mean, 4),
        "highest": _round(of.highest, 4),
        "highest_time": _time(period, of.highest_ms),
        **_minutes(of.minutes),
        "day": _phase(of.day),
        "night": _phase(of.night),
    }


def _phase(phase: Phase) -> Json:
    return {"mean": _round(phase.mean, 4), **_minutes(phase.minutes)}


def _minutes(minutes: BandMinutes) -> Json:
    return {
        "minutes_below": _round(minutes.below, 4),
        "minutes_in": _round(minutes.within, 4),
        "minutes_above": _round(minutes.above, 4),
        "minutes_missing": _round(minutes.missing, 4),
    }


def _override(review: Review, one: Override) -> Json:
    period = review.period
    return {
        "rule": one.rule,
        "quantity": one.quantity,
        "start": period.rfc3339(one.start_ms),
        "end": period.rfc3339(one.end_ms),
        "minutes": _round(one.minutes, 3),
        "ended": one.ended,
        "value": one.value,
        "limit": one.limit,
        "unit": one.unit,
        "locked_out_minutes": _round(one.locked_out_minutes, 3),
        "ruled_minutes": _round(one.ruled_minutes, 3),
        "before": _round(one.before, 4),
        "after": _round(one.after, 4),
        "extreme": _round(one.extreme, 4),
        "extreme_unit": one.quantity_unit,
        "reason": override_reason(review, one),
        "effect": override_effect(review, one),
    }


def _excursion(review: Review, one: Excursion) -> Json:
    period = review.period
    return {
        "start": period.rfc3339(one.start_ms),
        "end": period.rfc3339(one.end_ms),
        "quantity": one.quantity,
        "side": one.side,
        "minutes": _round(one.minutes, 4),
        "extreme": _round(one.extreme, 4),
        "extreme_time": _time(period, one.extreme_ms),
        "limit": _round(one.limit, 4),
        "unit": UNITS[one.quantity],
        "causes": [_cause(review, one, cause) for cause in one.causes],
    }


def _cause(review: Review, excursion: Excursion, cause: Cause) -> Json:
    period = review.period
    return {
        "cause": cause.code,
        "minutes": _round(cause.minutes, 3),
        "since": period.rfc3339(cause.since_ms),
        "until": period.rfc3339(cause.until_ms),
        "value": _round(cause.value, 4),
        "text": cause_words(review, cause, [excursion]),
    }


def _deviation(review: Review, one: Deviation) -> Json:
    period = review.period
    return {
        "kind": one.kind,
        "start": period.rfc3339(one.start_ms),
        "end": period.rfc3339(one.end_ms),
        "minutes": _round(one.minutes, 3),
        "rise_k": _round(one.observed_k, 4),
        "expected_lowest_k": _round(one.low_k, 4),
        "expected_highest_k": _round(one.high_k, 4),
        "air_share": _round(one.air_share, 4),
        "text": deviation_sentence(review, one),
    }


def _active_span(period: Period, one: ActiveSpan, what: str, detail: str) -> Json:
    return {
        what: one.what,
        detail: one.detail,
        "title": one.words,
        "start": period.rfc3339(one.start_ms),
        "end": None if one.is_active else period.rfc3339(one.end_ms),
        "minutes": _round(one.minutes, 3),
        "acknowledged": _time(period, one.acknowledged_ms),
    }


def _quality(period: Period, quality: Quality) -> Json:
    return {
        "readings": quality.readings,
        "readings_missed": quality.readings_missed,
        "gaps": [
            {
                "start": period.rfc3339(gap.start_ms),
                "end": period.rfc3339(gap.end_ms),
                "minutes": _round(gap.minutes, 3),
            }
            for gap in quality.gaps
        ],
        "measurements_failed": quality.failures,
        "measurements_tried": quality.tried,
        "sensor_faults": [
            _active_span(period, one, "sensor", "fault") for one in quality.sensor_faults
        ],
        "starts": [period.rfc3339(at_ms) for at_ms in quality.starts_ms],
        "starts_after_crash_or_power_cut": quality.unclean_starts,
        "clock_steps": [
            {"time": period.rfc3339(at_ms), "by_s": by_s} for at_ms, by_s in quality.clock_steps
        ],
        "config_changes": [period.rfc3339(at_ms) for at_ms in quality.config_changes_ms],
        "configs_unreadable": quality.configs_unreadable,
    }


def _time(period: Period, at_ms: float | None) -> str | None:
    return None if at_ms is None else period.rfc3339(at_ms)


def _round(value: float | None, digits: int) -> float | None:
    """Rounded; and never a negative zero."""
    return None if value is None else round(value, digits) + 0.0
