"""The tables of the page: what the charts show, in figures and words."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from controller import display
from controller.review import cause_words as words
from controller.review.chart_events import Mark
from controller.review.excursion_groups import ReportedExcursion
from controller.review.figures import BandMinutes, QuantityFigures
from controller.review.period import short_date
from controller.review.report import Review
from controller.review.views.page.html import (
    all_but_greatest,
    folded_table,
    items,
    left_out,
    paragraph,
    table,
)
from controller.review.views.quality_words import quality_sentences
from controller.wording import rule_words

# Rows of a long list that are seen before it is unfolded, and on paper.
_SHOWN = 15
_PRINTED = 6
_SPELLS_PRINTED = 6
_DAYS_PRINTED = 31
_PRIORITIES = {"high": 2, "medium": 1}
_MOST = 200
_QUANTITIES = ("temperature", "humidity", "vpd")


def tiles(review: Review) -> str:
    """The day's key figures, large."""
    figures, units = review.figures, review.settings.units
    of = figures.temperature
    shown = [
        ("Highest", words.value_words("temperature", of.highest, units),
         "" if of.highest_ms is None else review.period.when(of.highest_ms)),
        ("Too hot", words.minutes_words(of.minutes.above),
         words.degree_hours_words(figures.degree_hours_above, units)),
        ("Too humid", words.minutes_words(figures.humidity.minutes.above),
         f"highest {words.value_words('humidity', figures.humidity.highest, units)}"),
        ("Fan ran", words.minutes_words(figures.fan.hours * 60.0),
         words.counted(figures.fan.starts, "start") + (
             "" if figures.fan.mean_speed is None
             else f", mean {display.speed(figures.fan.mean_speed)}")),
        ("Energy", display.energy(figures.energy.total_kwh),
         "" if figures.energy.total_cost is None
         else display.money(figures.energy.total_cost, review.settings.energy.currency)),
        ("Not recorded", words.minutes_words(max(
            0.0, of.minutes.missing - review.quality.minutes_to_come)),
         words.counted(review.quality.readings_missed, "reading") + " missed"),
    ]  # fmt: skip
    return '<dl class="tiles">' + "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}<small>{escape(more)}</small></dd></div>"
        for name, value, more in shown
    ) + "</dl>"  # fmt: skip


def events_table(review: Review, marks: Sequence[Mark], more: int) -> str:
    """The numbered events."""
    if not marks:
        return ""
    rows = [(str(m.number), review.period.when(m.at_ms), m.words) for m in marks]
    body = table(
        "Events, numbered as in the chart", ("No.", "Time", "What"), rows, css="events",
    )  # fmt: skip
    if more:
        body += f'<p class="faint screen">and {more} more: <code>lungwort events</code></p>'
    return body


def spells_list(review: Review, told: Sequence[ReportedExcursion]) -> str:
    """Each spell, or several alike, with its causes."""
    found = []
    unprinted = all_but_greatest(
        [one.minutes for one in told], _SPELLS_PRINTED if review.is_one_day else 3
    )
    for count, one in enumerate(told):
        late = ' class="screen"' if count in unprinted else ""
        found.append(
            f"<li{late}><strong>{escape(one.title(review))}</strong>"
            + (items(one.causes(review)) or paragraph(words.NO_CAUSE, "faint"))
            + "</li>"
        )
    part = left_out(len(found) - len(unprinted), len(found))
    return f'<ol class="spells">{"".join(found)}</ol>{part}' if found else ""


def air_table(review: Review) -> str:
    """Extremes and means."""
    units, period = review.settings.units, review.period

    def moment(at_ms: float | None) -> str:
        return "" if at_ms is None else f", {period.when(at_ms)}"

    rows = []
    for name in _QUANTITIES:
        of: QuantityFigures = getattr(review.figures, name)

        def value(one: float | None, name: str = name) -> str:
            return words.value_words(name, one, units)

        rows.append(
            (
                words.NAMES[name],
                value(of.lowest) + moment(of.lowest_ms),
                value(of.day.mean),
                value(of.night.mean),
                value(of.mean),
                value(of.highest) + moment(of.highest_ms),
            )
        )
    leaf = review.figures.leaf_vpd
    if leaf is not None:
        by_day, by_night, mean = (
            words.value_words("vpd", one, units)
            for one in (leaf.day_mean, leaf.night_mean, leaf.mean)
        )
        rows.append(("Leaf VPD, modelled", "–", by_day, by_night, mean, "–"))
    heads = ("", "Lowest", "Mean by day", "Mean by night", "Mean", "Highest")
    return table("Lowest, mean and highest", heads, rows, numbers=(1, 2, 3, 4, 5), css="stack")


def bands_table(review: Review) -> str:
    """BandMinutes below, in and above the bands."""

    def cells(minutes: BandMinutes) -> tuple[str, ...]:
        return tuple(
            "–" if value < 0.5 else words.minutes_words(value)
            for value in (minutes.below, minutes.within, minutes.above, minutes.missing)
        )

    rows = []
    for name in _QUANTITIES:
        of: QuantityFigures = getattr(review.figures, name)
        for phase, minutes in (("by day", of.day.minutes), ("by night", of.night.minutes)):
            if minutes.all >= 0.5:
                rows.append((f"{words.NAMES[name]} {phase}", *cells(minutes)))
    heads = ("", "Below", "In band", "Above", words.missing_words(review).capitalize())
    return table(
        "Time below, in and above the band", heads, rows, numbers=(1, 2, 3, 4), css="stack"
    )


def overrides_table(review: Review) -> str:
    """The overrides, the longest on paper."""
    rows = [
        (
            review.period.when(one.start_ms),
            words.minutes_words(one.minutes),
            words.override_reason(review, one),
            words.override_effect(review, one),
        )
        for one in review.overrides[:_MOST]
    ]
    if not rows:
        return ""
    body = folded_table(
        "Overrides",
        ("Start", "Length", "Reason", "Effect"),
        rows,
        [one.minutes for one in review.overrides[:_MOST]],
        shown=_SHOWN,
        printed=_PRINTED,
        numbers=(1,),
        css="stack",
    )
    if len(review.overrides) > len(rows):
        body += paragraph(f"and {len(review.overrides) - len(rows)} more in --json", "faint")
    return body


def fan_table(review: Review, prefix: str) -> str:
    """Hours by reason, with the chart's colours and patterns."""
    by_rule = sorted(review.figures.fan.minutes_by_rule.items(), key=lambda item: -item[1])
    if not by_rule:
        return paragraph("The fan did not run.")
    whole = sum(minutes for _, minutes in by_rule)
    rows = "".join(
        '<tr><th scope="row"><svg class="key" viewBox="0 0 22 12" aria-hidden="true">'
        f'<rect width="22" height="12" fill="url(#{prefix}-{escape(rule)})" '
        f'class="fan f-{escape(rule)}"/></svg>{escape(rule_words(rule))}</th>'
        f'<td class="n">{escape(words.minutes_words(minutes))}</td>'
        f'<td class="n">{minutes / whole * 100:.0f} %</td></tr>'
        for rule, minutes in by_rule
    )
    locked_out = ""
    if review.figures.locked_out_minutes >= 1.0:
        for_long = words.minutes_words(review.figures.locked_out_minutes)
        locked_out = paragraph(
            f"An override was locked out for {for_long}: outside air can't help."
        )
    lit = words.minutes_words(review.figures.lamp_hours * 60.0)
    light = words.light_words(review)
    lamp = paragraph(f"Lamp lit {lit}." + (f" {light}." if light else ""))
    return (
        '<div class="scroll"><table class="legend"><caption>Running time by reason</caption>'
        '<thead><tr><th scope="col">Reason</th><th scope="col" class="n">Running</th>'
        f'<th scope="col" class="n">Share</th></tr></thead><tbody>{rows}</tbody></table></div>'
        + locked_out
        + lamp
    )


def energy_table(review: Review) -> str:
    """Energy and money, against running without a controller."""
    energy, currency = review.figures.energy, review.settings.energy.currency
    rows = []
    for label, kwh, cost in (
        ("Lamp", energy.lamp_kwh, energy.lamp_cost),
        ("Fan", energy.fan_kwh, energy.fan_cost),
        ("Fan, had the schedule alone run it", energy.schedule_kwh, energy.schedule_cost),
        ("Fan, had it run at full speed all along", energy.always_on_kwh, energy.always_on_cost),
    ):
        if kwh is not None:
            rows.append(
                (label, display.energy(kwh), "" if cost is None else display.money(cost, currency))
            )
    priced = energy.lamp_cost is not None
    heads = ("", "Energy", "Cost") if priced else ("", "Energy")
    body = table("Energy", heads, [row if priced else row[:2] for row in rows], numbers=(1, 2))
    if energy.fan_kwh is None:
        body += paragraph("The config does not give the fan's power.", "faint")
    return body


def alarms_list(review: Review) -> str:
    """The alarms and how long each stood."""
    if not review.alarms:
        return ""
    rows = [
        (
            f"{alarm.words} ({alarm.detail})" if alarm.detail else alarm.words,
            review.period.when(alarm.start_ms),
            words.minutes_words(alarm.minutes) + (", not cleared" if alarm.stands else ""),
            "–" if alarm.acknowledged_ms is None else review.period.when(alarm.acknowledged_ms),
        )
        for alarm in review.alarms
    ]
    heads = ("Alarm", "Since", "Stood", "Acknowledged")
    return folded_table(
        "Alarms",
        heads,
        rows,
        # By priority, then by how long each stood.
        [1e6 * _PRIORITIES.get(alarm.detail, 0) + alarm.minutes for alarm in review.alarms],
        shown=_SHOWN,
        printed=5 if review.is_one_day else 3,
        css="alarms",
    )


def quality_list(review: Review) -> str:
    """How far the data can be trusted."""
    return items(quality_sentences(review))


def hours_table(review: Review) -> str:
    """The chart's values hour by hour, for those who cannot see it."""
    units = review.settings.units
    rows = []
    for hour in review.hours:
        sums = hour.sums
        intake = sums.intake.mean
        rows.append(
            (
                review.period.local(hour.start_ms).strftime("%H:%M"),
                words.value_words("temperature", sums.temperature.mean, units),
                words.value_words("temperature", sums.temperature_c.highest, units),
                words.value_words("humidity", sums.humidity.mean, units),
                words.value_words("vpd", sums.vpd.mean, units),
                words.value_words("temperature", intake, units),
                display.speed(sums.speed_s / sums.covered_s) if sums.covered_s else "–",
                display.duration(round(sums.lamp_s / 60.0) * 60.0) if sums.lamp_s > 30 else "–",
            )
        )
    heads = ("Hour", "Mean", "Highest", "Humidity", "VPD", "Intake", "Fan speed", "Lamp lit")
    return table("The day hour by hour", heads, rows, numbers=range(1, 8), css="hours")


def days_table(review: Review) -> str:
    """A row a day."""
    units, currency = review.settings.units, review.settings.energy.currency

    def cell(minutes: float) -> str:
        return "–" if minutes < 0.5 else words.minutes_words(minutes)

    rows = []
    for day, figures in zip(review.period.days, review.counted.days, strict=True):
        of = figures.temperature
        at = "" if of.highest_ms is None else f", {review.period.local(of.highest_ms):%H:%M}"
        cost = figures.energy.total_cost
        rows.append(
            (
                short_date(day.date),
                words.value_words("temperature", of.lowest, units),
                words.value_words("temperature", of.mean, units),
                words.value_words("temperature", of.highest, units) + at,
                cell(of.minutes.above),
                cell(figures.humidity.minutes.above),
                words.value_words("vpd", figures.vpd.mean, units),
                cell(figures.fan.hours * 60.0),
                display.energy(figures.energy.total_kwh)
                + ("" if cost is None else f", {display.money(cost, currency)}"),
                cell(of.minutes.missing),
            )
        )
    heads = (
        *("Day", "Lowest", "Mean", "Highest", "Too hot", "Too humid", "Mean VPD", "Fan ran"),
        *("Energy", "Missing"),
    )
    return table(
        "Day by day",
        heads,
        rows,
        numbers=range(1, 10),
        unprinted=range(_DAYS_PRINTED, len(rows)),
        css="days",
    )
