"""The tables of the page, drawn as HTML; `controller.review.views.tables` makes them."""

from __future__ import annotations

from collections.abc import Container, Sequence
from html import escape

from controller import display
from controller.display import hours_and_minutes
from controller.pages.html import (
    all_but_greatest,
    folded_table,
    items,
    left_out,
    paragraph,
    prose,
    table,
)
from controller.review.excursions import furthest
from controller.review.phrases import counted, degree_hours_words, value_words
from controller.review.report import Review
from controller.review.views import tables
from controller.review.views.cause_words import NO_CAUSE
from controller.review.views.chart_events import ChartEvent
from controller.review.views.excursion_list import ReportedExcursion
from controller.review.views.quality_words import quality_sentences
from controller.review.views.review_words import lamp_hours_words, light_words
from controller.review.views.table_cells import Table

# Rows of a long list that are seen before it is unfolded, and on paper.
_SHOWN = 15
_PRINTED = 4
_EXCURSIONS_PRINTED = 6
_DAYS_PRINTED = 31
_MOST = 200


def tiles(review: Review) -> str:
    """The day's key figures, large."""
    figures, units = review.figures, review.settings.units
    temperature = figures.temperature
    humid = furthest(review.excursions, ("humidity", "above"))
    shown = [
        ("Highest", value_words("temperature", temperature.highest, units),
         "" if temperature.highest_ms is None else review.period.when(temperature.highest_ms)),
        ("Too hot", hours_and_minutes(temperature.minutes.above),
         degree_hours_words(figures.degree_hours_above, units)),
        ("Too humid", hours_and_minutes(figures.humidity.minutes.above),
         f"highest {value_words('humidity', figures.humidity.highest, units)}" if humid is None
         else f"up to {value_words('humidity', humid.extreme, units)}"),
        ("Fan ran", hours_and_minutes(figures.fan.hours * 60.0),
         counted(figures.fan.starts, "start") + (
             "" if figures.fan.mean_speed is None
             else f", mean {display.speed(figures.fan.mean_speed)}")),
        ("Energy", display.energy(figures.energy.total_kwh),
         "" if figures.energy.total_cost is None
         else display.money(figures.energy.total_cost, review.settings.energy.currency)),
        ("Not recorded", hours_and_minutes(max(
            0.0, temperature.minutes.missing - review.quality.minutes_to_come)),
         counted(review.quality.readings_missed, "reading") + " missed"),
    ]  # fmt: skip
    return '<dl class="tiles">' + "".join(
        f"<div><dt>{prose(name)}</dt><dd>{prose(value)}<small>{prose(more)}</small></dd></div>"
        for name, value, more in shown
    ) + "</dl>"  # fmt: skip


def events_table(review: Review, chart_events: Sequence[ChartEvent], more: int) -> str:
    """The numbered events."""
    if not chart_events:
        return ""
    body = _drawn(review, tables.events_table(chart_events), "events")
    if more:
        body += f'<p class="faint screen">and {more} more: <code>lungwort events</code></p>'
    return body


def _drawn(review: Review, made: Table, css: str, unprinted: Container[int] = ()) -> str:
    """A table as HTML."""
    return table(
        made.title,
        made.page_heads(),
        made.page_rows(review),
        numbers=made.page_numbers(),
        unprinted=unprinted,
        css=css,
    )


def _folded(review: Review, made: Table, css: str, printed: int) -> str:
    """A long table as HTML, of which the rows that matter most are seen at once."""
    return folded_table(
        made.title,
        made.page_heads(),
        made.page_rows(review),
        made.page_weights(),
        shown=_SHOWN,
        printed=printed,
        numbers=made.page_numbers(),
        css=css,
    )


def excursions_list(review: Review, entries: Sequence[ReportedExcursion]) -> str:
    """Each excursion, or several alike, with its causes."""
    parts = []
    unprinted = all_but_greatest(
        [entry.minutes for entry in entries], _EXCURSIONS_PRINTED if review.is_one_day else 3
    )
    for count, entry in enumerate(entries):
        late = ' class="screen"' if count in unprinted else ""
        parts.append(
            f"<li{late}><strong>{prose(entry.title(review))}</strong>"
            + (items(entry.causes(review)) or paragraph(NO_CAUSE, "faint"))
            + "</li>"
        )
    part = left_out(len(parts) - len(unprinted), len(parts))
    return f'<ol class="excursions">{"".join(parts)}</ol>{part}' if parts else ""


def air_table(review: Review) -> str:
    """Extremes and means."""
    return _drawn(review, tables.air_table(review), "stack")


def bands_table(review: Review) -> str:
    """Minutes below, in and above the bands."""
    return _drawn(review, tables.bands_table(review), "stack")


def overrides_table(review: Review) -> str:
    """The overrides, the longest on paper."""
    shown = review.overrides[:_MOST]
    if not shown:
        return ""
    body = _folded(review, tables.overrides_table(review, shown), "stack", _PRINTED)
    if len(review.overrides) > len(shown):
        body += paragraph(f"and {len(review.overrides) - len(shown)} more in --json", "faint")
    return body


def fan_table(review: Review, prefix: str) -> str:
    """Hours by reason, with the chart's colours and patterns."""
    by_rule = tables.running_by_rule(review)
    if not by_rule:
        return paragraph("The fan did not run.")
    rows = "".join(
        '<tr><th scope="row"><svg class="key" viewBox="0 0 22 12" aria-hidden="true">'
        f'<rect width="22" height="12" fill="url(#{prefix}-{escape(row.rule)})" '
        f'class="fan f-{escape(row.rule)}"/></svg>{prose(row.name)}</th>'
        f'<td class="n">{prose(hours_and_minutes(row.minutes))}</td>'
        f'<td class="n">{prose(f"{row.share * 100:.0f} %")}</td></tr>'
        for row in by_rule
    )
    locked_out = ""
    if review.figures.locked_out_minutes >= 1.0:
        for_long = hours_and_minutes(review.figures.locked_out_minutes)
        locked_out = paragraph(
            f"An override was locked out for {for_long}: outside air can't help."
        )
    lit = hours_and_minutes(review.figures.lamp_hours * 60.0) + lamp_hours_words(review)
    light = light_words(review)
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
    body = _drawn(review, tables.energy_table(review), "")
    sentence = tables.fan_power_sentence(review)
    return body if sentence is None else body + paragraph(sentence, "faint")


def alarms_table(review: Review) -> str:
    """The alarms, by priority and then by length on paper."""
    if not review.alarms:
        return ""
    printed = 5 if review.is_one_day else 3
    return _folded(review, tables.alarms_table(review), "alarms", printed)


def quality_list(review: Review) -> str:
    """How far the data can be trusted."""
    return items(quality_sentences(review))


def hours_table(review: Review) -> str:
    """The chart's values hour by hour, for those who cannot see it."""
    return _drawn(review, tables.hours_table(review), "hours")


def learned_flow_table(review: Review) -> str:
    """What the fan moved, as learned from night to night."""
    if not review.learned_flows:
        return ""
    drawn = _drawn(review, tables.learned_flow_table(review), "")
    return drawn + "".join(paragraph(note, "faint") for note in tables.learned_flow_note(review))


def days_table(review: Review) -> str:
    """A row a day, a month of them on paper."""
    unprinted = range(_DAYS_PRINTED, len(review.period.days))
    return _drawn(review, tables.days_table(review), "days", unprinted)
