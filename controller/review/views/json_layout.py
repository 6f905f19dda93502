"""The layout of `lungwort review --json`: every key, what it means and where it comes from.

SI units, units in the keys or beside them. Getters take the review and the described item.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.review.advice import Advice
from controller.review.cause_conditions import CODES
from controller.review.excursions import Cause, Excursion
from controller.review.report import Review
from controller.review.suggestion import HOURS_UNITS
from controller.review.views.cause_words import cause_words, override_effect, override_reason
from controller.review.views.deviation_words import deviation_sentence
from controller.review.views.headline import also, headline
from controller.review.views.json_fields import (
    Field,
    Getter,
    Layout,
    choice,
    count,
    date,
    flag,
    nested,
    number,
    numbers_by_name,
    objects,
    spread,
    text,
    texts,
    time,
    times,
)
from controller.review.views.json_figures import FIGURES, UNITS
from controller.review.views.json_speed_effect import SPEED_EFFECT

FORMAT = "lungwort.review/2"


class ReviewDocument(NamedTuple):
    """What the document is made of."""

    review: Review
    advice: Advice


_OVERRIDE: Layout = (
    text("rule", "too_hot, too_humid, too_stale, too_cold or too_dry.", lambda _, o: o.rule),
    text("quantity", "temperature, humidity, vpd or dew_point.", lambda _, o: o.quantity),
    time("start", "When it engaged", lambda _, o: o.start_ms),
    time("end", "When it released, or the end of what is known", lambda _, o: o.end_ms),
    number("minutes", "Its length in the period.", lambda _, o: o.minutes, 3, least=0),
    choice("ended", ("released", "stands", "unknown"), lambda _, o: o.ended),
    number("value", "The value that engaged it, in `unit`.", lambda _, o: o.value, null=True),
    number("limit", "Its limit, in `unit`.", lambda _, o: o.limit, null=True),
    text("unit", "Unit of value and limit.", lambda _, o: o.unit),
    number("locked_out_minutes", "Minutes in which outside air could not help.",
           lambda _, o: o.locked_out_minutes, 3),
    number("deciding_minutes", "Minutes in which its rule set the fan's speed.",
           lambda _, o: o.deciding_minutes, 3, least=0),
    number("before", "The quantity when it began.", lambda _, o: o.before, 4, null=True),
    number("after", "The quantity when it ended.", lambda _, o: o.after, 4, null=True),
    number("extreme", "Its worst value in between.", lambda _, o: o.extreme, 4, null=True),
    text("extreme_unit", "Unit of before, after and extreme.", lambda _, o: o.quantity_unit),
    text("reason", "Why, in words.", override_reason),
    text("effect", "What it did, in words.", override_effect),
    SPEED_EFFECT,
)  # fmt: skip


class _CauseOfExcursion(NamedTuple):
    """A cause with the excursion it belongs to, which its words depend on."""

    excursion: Excursion
    cause: Cause


_CAUSE: Layout = (
    choice("cause", CODES, lambda _, c: c.cause.code,
           "; ".join(f"{code}: {meaning}" for code, meaning in CODES.items())),
    number("minutes", "How long it held [min].", lambda _, c: c.cause.minutes, 3, least=0),
    time("since", "First moment it held", lambda _, c: c.cause.since_ms),
    time("until", "Last moment it held", lambda _, c: c.cause.until_ms),
    number("value", "A number to go with it; see the cause.",
           lambda _, c: c.cause.value, 4, null=True),
    text("text", "In words.", lambda r, c: cause_words(r, c.cause, [c.excursion])),
)  # fmt: skip

_EXCURSION: Layout = (
    time("start", "First minute out of band", lambda _, e: e.start_ms),
    time("end", "Last minute out of band", lambda _, e: e.end_ms),
    choice("quantity", UNITS, lambda _, e: e.quantity),
    choice("side", ("above", "below"), lambda _, e: e.side),
    number("minutes", "Minutes out of band in it; shorter returns are bridged.",
           lambda _, e: e.minutes, 4, least=0),
    number("extreme", "Worst value, in `unit`.", lambda _, e: e.extreme, 4, null=True),
    time("extreme_time", "When", lambda _, e: e.extreme_ms, null=True),
    number("limit", "The limit in force then, in `unit`.", lambda _, e: e.limit, 4, null=True),
    text("unit", "Unit of extreme and limit.", lambda _, e: UNITS[e.quantity]),
    objects("causes", _CAUSE, lambda _, e: [_CauseOfExcursion(e, cause) for cause in e.causes],
            "What held meanwhile, longest first; never guessed."),
)  # fmt: skip


def _item(values: Sequence[float] | None, i: int) -> float | None:
    return None if values is None else values[i]


_DEVIATION: Layout = (
    choice("kind", ("less_air", "little_rise", "heat_while_dark", "lit_out_of_hours",
                    "reduced_transpiration", "sensor_drift"),
           lambda _, d: d.kind),
    time("start", "First moment", lambda _, d: d.start_ms),
    time("end", "Last moment", lambda _, d: d.end_ms),
    number("minutes", "Its length in the period.", lambda _, d: d.minutes, 3, least=0),
    number("rise_k", "Tent over intake air where it was furthest off.",
           lambda _, d: d.observed_k, 4, null=True),
    number("expected_lowest_k", "What was to be expected then at least.",
           lambda _, d: d.low_k, 4, null=True),
    number("expected_highest_k", "What was to be expected then at most.",
           lambda _, d: d.high_k, 4, null=True),
    number("air_share", "Share of the expected air that would explain it.",
           lambda _, d: d.air_share, 4, null=True),
    number("moisture_g_kg", "Humidity ratio over the intake's, by the tent as learned.",
           lambda _, d: _item(d.moisture_g_kg, 0), 3, null=True),
    number("expected_lowest_g_kg", "What was to be expected then at least.",
           lambda _, d: _item(d.moisture_g_kg, 1), 3, null=True),
    number("expected_highest_g_kg", "What was to be expected then at most.",
           lambda _, d: _item(d.moisture_g_kg, 2), 3, null=True),
    number("water_share", "Share of their water that plants and soil gave off.",
           lambda _, d: d.water_share, 3, null=True),
    number("sensor_off_k", "What the tent's sensor read more than it did beside the intake's.",
           lambda _, d: _item(d.sensor_off, 0), 3, null=True),
    number("sensor_off_pct", "The same of humidity.",
           lambda _, d: _item(d.sensor_off, 1), 3, null=True),
    text("compared_with", "What told what was to be expected: config, or the days that were "
         "learned from as an interval of ISO 8601.", lambda _, d: d.compared_with),
    flag("or_sensor", "Whether a sensor that reads otherwise would show the same.",
         lambda _, d: d.or_sensor),
    text("text", "In words, with what to look at.", deviation_sentence),
)  # fmt: skip


def _active_span(what: str, detail: str) -> Layout:
    return (
        text(what, "Which.", lambda _, s: s.what),
        text(detail, "Of what kind.", lambda _, s: s.detail),
        text("title", "What is the matter, in words.", lambda _, s: s.words),
        time("start", "Since when, cut at the period's start", lambda _, s: s.start_ms),
        time("end", "Until when; null if it had not ended",
             lambda _, s: None if s.is_active else s.end_ms, null=True),
        number("minutes", "How long it stood in the period.", lambda _, s: s.minutes, 3, least=0),
        time("acknowledged", "When a person acknowledged it",
             lambda _, s: s.acknowledged_ms, null=True),
    )  # fmt: skip


_GAP: Layout = (
    time("start", "Begin", lambda _, g: g.start_ms),
    time("end", "End", lambda _, g: g.end_ms),
    number("minutes", "Length.", lambda _, g: g.minutes, 3, least=0),
)

_CLOCK_STEP: Layout = (
    time("time", "When", lambda _, s: s[0]),
    number("by_s", "By how much, forward positive.", lambda _, s: s[1]),
)

_QUALITY: Layout = (
    count("readings", "Readings in the period.", lambda _, q: q.readings),
    count("readings_missed", "Readings that would fill the gaps.", lambda _, q: q.readings_missed),
    objects("gaps", _GAP, lambda _, q: q.gaps, "Stretches without readings."),
    numbers_by_name("measurements_failed", "integer", lambda _, q: q.failures),
    numbers_by_name("measurements_tried", "integer", lambda _, q: q.tried),
    numbers_by_name("co2_mean_ppm", "number",
                    lambda _, q: {name: co2.mean for name, co2 in q.co2_ppm.items()}),
    numbers_by_name("co2_low_minutes", "number",
                    lambda _, q: {name: co2.low_minutes for name, co2 in q.co2_ppm.items()}),
    numbers_by_name("co2_highest_ppm", "number",
                    lambda _, q: {name: co2.highest for name, co2 in q.co2_ppm.items()}),
    number("lamp_cut_minutes", "For how long the lamp was cut for heat.",
           lambda _, q: sum(cut.minutes for cut in q.lamp_cuts), 1, least=0),
    numbers_by_name("minutes_at_end_of_range", "number", lambda _, q: q.beyond_range),
    objects("sensor_faults", _active_span("sensor", "fault"), lambda _, q: q.sensor_faults,
            "Faults of sensors."),
    times("starts", "Starts of the daemon.", "A start of the daemon", lambda _, q: q.starts_ms),
    count("starts_after_crash_or_power_cut", "Starts without a stop before them.",
          lambda _, q: q.unclean_starts),
    objects("clock_steps", _CLOCK_STEP, lambda _, q: q.clock_steps, "Steps of the wall clock."),
    number("minutes_jumped_over", "Of the gaps, what a clock set forward jumped over.",
           lambda _, q: q.minutes_jumped_over, 2, least=0),
    number("minutes_twice", "What a clock set back let come again: counted once in and out of "
           "band, twice elsewhere.", lambda _, q: q.minutes_twice, 2, least=0),
    times("config_changes", "Changes of the config.", "A change",
          lambda _, q: q.config_changes_ms),
    count("configs_unreadable", "Configs this version cannot read.",
          lambda _, q: q.configs_unreadable),
)  # fmt: skip


def _hours_unit(quantity_of: Getter) -> Field:
    return choice("hours_unit", sorted(HOURS_UNITS.values()),
                  lambda review, item: HOURS_UNITS[quantity_of(review, item)])  # fmt: skip


# Of (kind, minutes more, distance from the band times time more).
_WORSE: Layout = (
    text("quantity", "What it would have made worse.", lambda _, w: w[0][0]),
    text("side", "above or below.", lambda _, w: w[0][1]),
    number("minutes_more", "Minutes more out of band.", lambda _, w: w[1], 1),
    number("hours_more", "Distance times time more, in `hours_unit`.", lambda _, w: w[2], 3),
    _hours_unit(lambda _, w: w[0][0]),
)

_WORST_DAY: Layout = (
    date("date", lambda _, d: d.date),
    number("minutes_more", "Minutes out of band, of all quantities added up.",
           lambda _, d: d.out_more_min, 1),
    number("weighted_minutes_more", "The same, weighted by how far out.", lambda _, d: d.harm, 1),
)  # fmt: skip

_SUGGESTION: Layout = (
    text("key", "The config's key, or what a plan is about.", lambda _, s: s.change.key),
    text("was", "Its value.", lambda _, s: s.change.was),
    text("to", "The value tried.", lambda _, s: s.change.to),
    flag("plan", "Whether it takes more than the config: another fan, another place.",
         lambda _, s: s.change.is_plan),
    text("quantity", "What it would have shortened.", lambda _, s: s.kind[0]),
    text("side", "above or below.", lambda _, s: s.kind[1]),
    number("minutes_saved", "Minutes less out of band in the period.",
           lambda _, s: s.minutes_saved, 1),
    number("hours_saved", "Distance from the band times time less, in `hours_unit`.",
           lambda _, s: s.hours_saved, 3),
    _hours_unit(lambda _, s: s.kind[0]),
    objects("worse", _WORSE, lambda _, s: s.worse,
            "Its price elsewhere in the period: ten weighted minutes a day and more."),
    number("peak_more_k", "How much higher the highest temperature of a day rises.",
           lambda _, s: s.peak_more_k, 3),
    number("fan_kwh_more", "Energy of the fan in the period.",
           lambda _, s: s.fan_kwh_more, 4, null=True),
    number("lamp_kwh_more", "Energy of the lamp in the period.",
           lambda _, s: s.lamp_kwh_more, 4),
    number("cost_more", "Price of both; null where not known.",
           lambda _, s: s.cost_more, 4, null=True),
    count("days_judged", "Days replayed: the period's and others around them.",
          lambda _, s: len(s.days)),
    count("days_better", "How many of them are better for it.", lambda _, s: s.days_better),
    count("days_worse", "How many are worse.", lambda _, s: s.days_worse),
    nested("worst_day", _WORST_DAY, lambda _, s: s.worst_day, "The day that comes off worst."),
    number("weighted_minutes_saved_all_days",
           "Minutes out of band weighted by how far, of all quantities on all days judged.",
           lambda _, s: -sum(day.harm for day in s.days), 1),
    number("highest_peak_more_k", "The most that the peak of a judged day rises.",
           lambda _, s: s.highest_peak_more_k, 3),
    number("light_mol_per_m2_per_day",
           "Daily light integral, estimated, where the lamp's hours change.",
           lambda _, s: None if s.light is None else s.light.best, 3, null=True),
)  # fmt: skip

_TREND: Layout = (
    text("kind", "fan_rpm, sensor_temperature or sensor_humidity.", lambda _, t: t.kind),
    text("subject", "The speed, or the two sensors.", lambda _, t: t.subject),
    text("unit", "Unit of first and last.", lambda _, t: t.unit),
    number("first", "The fitted line on the first day.", lambda _, t: t.first, 4),
    number("last", "The fitted line on the last day.", lambda _, t: t.last, 4),
    number("per_week", "Its slope a week.", lambda _, t: t.per_week, 5),
    count("days", "Days it rests on.", lambda _, t: t.days),
    flag("significant", "", lambda _, t: t.is_significant),
)

_LEARNED_FLOW: Layout = (
    time("time", "When it was learned, from the days before", lambda _, f: f.at_ms),
    number("flow_share", "Flow at full speed over that of the config's fan, duct and filter.",
           lambda _, f: f.share, 4, least=0),
    number("low", "Of its 90 % interval.", lambda _, f: f.low, 4, least=0),
    number("high", "Of its 90 % interval.", lambda _, f: f.high, 4, least=0),
)  # fmt: skip

_MODEL_ERROR: Layout = (
    number("temperature_mean_k", "Readings of the tent less the model's air.",
           lambda _, a: a.bias_k, 3),
    number("humidity_mean_pct", "The same of humidity.", lambda _, a: a.bias_pct, 2),
    number("temperature_spread_k", "Root mean square about the mean.", lambda _, a: a.error_k, 3),
    text("model", "Of which tent: as configured, or as learned, and when.", lambda _, a: a.model),
)  # fmt: skip

# Of (day, its figures).
_DAY: Layout = (date("date", lambda _, d: d[0].date), *spread(FIGURES, lambda d: d[1]))

DOCUMENT: Layout = (
    Field("format", {"const": FORMAT}, lambda _, d: FORMAT),
    text("tent", "The tent's name.", lambda r, _: r.settings.tent.name),
    text("record", "The record's file.", lambda r, _: str(r.record)),
    flag("simulated", "Whether a simulation wrote the record.", lambda r, _: r.is_simulated),
    text("timezone", "IANA zone of the local days.", lambda r, _: r.settings.place.timezone),
    date("from", lambda r, _: r.period.days[0].date, "First local day."),
    date("to", lambda r, _: r.period.days[-1].date, "Last local day."),
    time("start", "First instant", lambda r, _: r.period.start_ms),
    time("end", "End, not included", lambda r, _: r.period.end_ms),
    number("minutes", "Length of the period.", lambda r, _: r.period.minutes, least=0),
    number("minutes_to_come", "What of it lies in the future.",
           lambda r, _: r.quality.minutes_to_come, 2, least=0),
    text("headline", "What happened, in one sentence.", lambda r, _: headline(r)),
    texts("also", "What else a grower should know.", lambda r, _: also(r)),
    *spread(FIGURES, lambda d: d.review.figures),
    text("currency", "ISO 4217 code of every cost.", lambda r, _: r.settings.energy.currency),
    objects("deviations", _DEVIATION, lambda r, _: r.deviations,
            "When the tent was not as its config lets expect."),
    objects("overrides", _OVERRIDE, lambda r, _: r.overrides,
            "Overrides in the order of their start."),
    objects("excursions", _EXCURSION, lambda r, _: r.excursions, "Stretches out of band."),
    objects("suggestions", _SUGGESTION, lambda _, d: d.advice.suggestions,
            "What to change; only what a replay has shown."),
    text("suggestions_note",
         "What no change would have helped, or cannot be said, and why; may be empty.",
         lambda _, d: " ".join(filter(None, (d.advice.first, d.advice.note)))),
    count("changes_replayed", "How many changes were replayed.", lambda _, d: d.advice.tried),
    nested("model_error", _MODEL_ERROR, lambda _, d: d.advice,
           "How far the tent's readings are from the simulated tent; zeros where none was run."),
    objects("alarms", _active_span("alarm", "priority"), lambda r, _: r.alarms,
            "Alarms that stood."),
    nested("data_quality", _QUALITY, lambda r, _: r.quality),
    objects("days", _DAY, lambda r, _: zip(r.period.days, r.counted.days, strict=True),
            "The same figures by local day."),
    objects("trends", _TREND, lambda r, _: r.trends,
            "Slow changes; only for more than one day."),
    objects("learned_flows", _LEARNED_FLOW, lambda r, _: r.learned_flows,
            "What the fan moved, as learned within the period and four weeks before; none where "
            "fewer than two nights tell."),
)  # fmt: skip
