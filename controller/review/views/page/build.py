"""The page: headline and what to change first, then the picture, why, and the figures."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib import resources

from controller import __version__
from controller.display import hours_and_minutes
from controller.pages.html import items, paragraph, prose, section
from controller.review.advice import Advice
from controller.review.phrases import counted
from controller.review.report import Review
from controller.review.series import Point
from controller.review.views.advice_words import advice_words
from controller.review.views.chart_events import ChartEvent
from controller.review.views.excursion_list import choose_entries, grouped_excursions
from controller.review.views.headline import also, headline
from controller.review.views.page import tables
from controller.review.views.page.day_chart import day_chart
from controller.review.views.page.flow_chart import flow_charts
from controller.review.views.page.layout import LAYOUTS
from controller.review.views.page.readout import readout_data
from controller.review.views.page.season_charts import season_section
from controller.review.views.page.worst_moment import worst_moment
from controller.review.views.trend_words import trend_sentences
from controller.stored_tomorrow import tomorrow_sentences
from controller.wording import rule_words

# Nothing may be loaded from anywhere: the page is the file.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
_EXCURSIONS = 40


def render_page(
    review: Review,
    series: Sequence[Point],
    chart_events: Sequence[ChartEvent],
    more_events: int,
    *,
    advice: Advice | None = None,
) -> str:
    """The whole page as text.

    Parameters
    ----------
    review : Review
        What is shown.
    series : sequence of Point
        The day's course; unused for more than one day.
    chart_events : sequence of ChartEvent
        Numbered events.
    more_events : int
        How many were left out of them.
    advice : Advice, optional
        What to change.
    """
    title = f"{review.settings.tent.name}, {review.period.title}"
    parts = [_header(review)]
    rest: list[str] = []
    if not review.is_empty:
        parts.append(tables.tiles(review))
        changes = items(advice_words(review, advice or Advice()))
        parts.append(section("What to change", changes, identity="change", css="change"))
        parts.append(section("Tomorrow", _tomorrow(review), identity="tomorrow", css="screen"))
        if review.is_one_day:
            parts.append(_day_figure(review, series, chart_events, more_events))
        else:
            parts.append(season_section(review) + _patterns(review))
        rest += _explanations(review)
        rest += _figures(review)
    rest.append(section("Alarms", tables.alarms_table(review), identity="alarms", css="flat"))
    rest.append(section("The data", tables.quality_list(review), identity="data", css="flat"))
    parts.append(f'<div class="rest">{"".join(rest)}</div>')
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<title>{escape(title)}</title><style>{_file('page.css')}</style></head>\n"
        f'<body><main class="{"day" if review.is_one_day else "season"}">{"".join(parts)}</main>'
        f"{_footer(review)}{_script(review, series)}</body></html>\n"
    )


def _file(name: str) -> str:
    return resources.files("controller.review.views.page").joinpath(name).read_text("utf-8")


def _header(review: Review) -> str:
    sentences = [*also(review)]
    mark = " · simulated: no real tent" if review.is_simulated else ""
    if review.quality.minutes_to_come >= 1.0:
        sentences.append(
            f"Not over yet: {hours_and_minutes(review.quality.minutes_to_come)} to come."
        )
    return (
        f'<header><p class="where">{escape(review.settings.tent.name)} · '
        f"{escape(review.period.title)}{mark}</p>"
        f"<h1>{prose(headline(review))}.</h1>"
        + "".join(paragraph(sentence) for sentence in sentences)
        + "</header>"
    )


def _day_figure(
    review: Review, series: Sequence[Point], chart_events: Sequence[ChartEvent], more_events: int
) -> str:
    return (
        '<section class="picture" aria-labelledby="course"><h2 id="course">The day</h2>'
        '<figure class="day-chart">'
        + "".join(day_chart(review, series, chart_events, layout) for layout in LAYOUTS)
        + _legend(review, series)
        + '<div class="readout" hidden><label for="moment">Look at a moment</label>'
        '<input id="moment" type="range" min="0" step="1" aria-describedby="moment-note">'
        '<output for="moment" aria-live="polite"></output>'
        f'<p id="moment-note" class="faint">{prose(worst_moment(review, series).note)}</p></div>'
        "</figure>"
        f"<details><summary>The day hour by hour, as a table</summary>{tables.hours_table(review)}"
        "</details>" + tables.events_table(review, chart_events, more_events) + "</section>"
    )


def _legend(review: Review, series: Sequence[Point]) -> str:
    """Names of lines, shades and patterns, with the chart's own strokes."""

    def key(drawing: str, label: str) -> str:
        return f'<li><svg viewBox="0 0 24 12" aria-hidden="true">{drawing}</svg>{prose(label)}</li>'

    keys = [key('<path d="M0 6h24" class="line tent"/>', "tent")]
    if any(point.intake_c is not None for point in series):
        keys.append(key('<path d="M0 6h24" class="line intake"/>', "intake air"))
    band = '<rect width="24" height="12" class="band"/><path d="M0 1h24M0 11h24" class="limit"/>'
    keys.append(key(band, "band in force"))
    for rule in sorted(review.figures.fan.minutes_by_rule):
        drawing = f'<rect width="24" height="12" fill="url(#k-{rule})" class="fan f-{rule}"/>'
        keys.append(key(drawing, f"fan: {rule_words(rule)}"))
    keys.append(key('<rect y="2" width="24" height="8" class="lamp"/>', "lamp lit"))
    keys.append(key('<rect y="2" width="24" height="8" class="fan-hours"/>', "fan hours"))
    keys.append(key('<g class="mark"><circle cx="12" cy="6" r="5.4"/></g>', "event, listed below"))
    return f'<ul class="keys">{"".join(keys)}</ul>{_patterns(review)}'


def _tomorrow(review: Review) -> str:
    """What the last night foresaw; nothing where it is no longer tomorrow's."""
    tomorrow = review.tomorrow
    if tomorrow is None:
        return ""
    *sentences, age = tomorrow_sentences(tomorrow, review.period.zone, review.now_ms)
    body = "".join(map(paragraph, sentences)) + items(tomorrow.tonight)
    if not tomorrow.grounds:
        return body + paragraph(age, "faint")
    grounds = items(tomorrow.grounds)
    return (
        f"{body}{paragraph(age, 'faint')}"
        f"<details><summary>What it rests on</summary>{grounds}</details>"
    )


def _explanations(review: Review) -> list[str]:
    entries, rest = choose_entries(grouped_excursions(review), _EXCURSIONS)
    body = tables.excursions_list(review, entries)
    if rest:
        minutes = hours_and_minutes(sum(excursion.minutes for excursion in rest))
        body += paragraph(
            f"and {counted(len(rest), 'shorter excursion')}, {minutes} together", "faint"
        )
    return [
        section("Why it was out of band", body, identity="why", css="full"),
        section("Overrides", tables.overrides_table(review), identity="overrides", css="full long"),
    ]


def _figures(review: Review) -> list[str]:
    air = tables.air_table(review) + tables.bands_table(review)
    sections = [
        section("Air", air, identity="air", css="full pair"),
        section("Fan and lamp", tables.fan_table(review, "k"), identity="fan", css="half"),
        section("Energy", tables.energy_table(review), identity="energy", css="half"),
    ]
    if not review.is_one_day:
        sections.append(section("Days", tables.days_table(review), identity="days", css="full"))
        sections.append(section("Trends", items(trend_sentences(review)), identity="trends"))
    # Not on paper: there it would fill a third page.
    flow = flow_charts(review) + tables.learned_flow_table(review)
    sections.append(section("The fan's flow, as learned", flow, identity="flow", css="screen"))
    return sections


def _patterns(review: Review) -> str:
    """The patterns of the keys: those of a chart that is not shown don't paint."""
    from controller.pages.svg import pattern_defs

    rules = sorted(review.figures.fan.minutes_by_rule)
    patterns = pattern_defs("k", rules)
    return f'<svg class="defs" aria-hidden="true" width="0" height="0">{patterns}</svg>'


def _footer(review: Review) -> str:
    made = review.period.local(review.now_ms)
    return (
        f"<footer><p>Made {made:%Y-%m-%d %H:%M} by lungwort {escape(__version__)} from "
        f"{escape(review.record.name)}. Times are those of "
        f"{escape(review.settings.place.timezone)}.</p></footer>"
    )


def _script(review: Review, series: Sequence[Point]) -> str:
    if not review.is_one_day or not series:
        return ""
    data = readout_data(review, series)
    return (
        f'<script type="application/json" id="series">{data}</script>'
        f"<script>{_file('page.js')}</script>"
    )
