"""The review on a terminal: one screen, the headline first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from controller import display
from controller.display import hours_and_minutes
from controller.review.phrases import counted, degree_hours_words
from controller.review.quality import ActiveSpan
from controller.review.report import Review
from controller.review.series import Point
from controller.review.views.cause_words import NO_CAUSE
from controller.review.views.excursion_list import choose_entries, grouped_excursions
from controller.review.views.glyphs import Glyphs
from controller.review.views.headline import also, headline
from controller.review.views.quality_words import quality_sentences
from controller.review.views.review_words import SIMULATED, lamp_hours_words, light_words
from controller.review.views.table_cells import Table
from controller.review.views.tables import (
    air_table,
    alarm_words,
    alarms_table,
    bands_table,
    days_table,
    energy_table,
    fan_power_sentence,
    learned_flow_note,
    learned_flow_table,
    overrides_table,
    running_by_rule,
)
from controller.review.views.terminal_chart import chart_lines
from controller.review.views.trend_words import trend_sentences
from controller.tables import wrapped

_SHOWN = 8  # excursions and overrides named on the screen; `--html` and `--json` have them all
_DAYS_SHOWN = 31
_ALARMS_ALIKE = 3  # of one kind named singly
_INDENT = "  "


def screen(
    review: Review,
    series: Sequence[Point],
    glyphs: Glyphs,
    *,
    advice: Callable[[], Sequence[str]] = tuple,
    width: int = 80,
) -> Iterator[str]:
    """The headline, then all the rest, in lines of at most `width` columns.

    In two parts, since advice may still be being worked out while the headline is read.
    """
    yield "\n".join(_head(review, glyphs, width))
    rest = _rest(review, series, glyphs, width)
    yield "\n".join(_section("What to change", advice(), glyphs, width) + rest)


def _head(review: Review, glyphs: Glyphs, width: int) -> list[str]:
    """What a reader in a hurry wants to know."""
    lines = [glyphs.strong(line) for line in wrapped(glyphs.text(f"{headline(review)}."), width)]
    sentences = also(review)
    if review.is_simulated:
        sentences.append(SIMULATED)
    if review.quality.minutes_to_come >= 1.0:
        sentences.append(
            f"Not over yet: {hours_and_minutes(review.quality.minutes_to_come)} to come."
        )
    return lines + _sentences(sentences, glyphs, width)


def _rest(review: Review, series: Sequence[Point], glyphs: Glyphs, width: int) -> list[str]:
    lines: list[str] = []

    def table(made: Table) -> list[str]:
        indented = made.terminal_lines(review, glyphs, width - len(_INDENT))
        return [_INDENT + line for line in indented]

    def add(title: str, texts: Iterable[str], made: Table | None = None) -> None:
        body = [] if made is None else table(made)
        body += _sentences(texts, glyphs, width, _INDENT)
        if body:
            lines.extend(["", glyphs.strong(title), *body])

    if not review.is_empty:
        if review.is_one_day:
            chart = chart_lines(review, series, glyphs, width)
            lines += ["", *chart] if chart else []
        add("Air", [], air_table(review))
        add("Out of band", _degree_hours(review), bands_table(review))
        add("Why", _excursions(review))
        add("Fan and lamp", _fan(review))
        add("Overrides", _overrides(review))
        add("Energy", _energy(review), energy_table(review))
        if not review.is_one_day:
            days = days_table(review)
            shown = days._replace(rows=days.rows[-_DAYS_SHOWN:])
            add("Days", _earlier_days(len(days.rows)), shown)
            add("Trends", trend_sentences(review))
        if review.learned_flows:
            flows = learned_flow_table(review)
            add(flows.title, learned_flow_note(review), flows)
    add("Alarms", _alarms(review))
    add("Data", quality_sentences(review))
    return lines


def _sentences(texts: Iterable[str], glyphs: Glyphs, width: int, indent: str = "") -> list[str]:
    """Sentences in lines of at most `width` columns; one that is indented itself stays so."""
    lines: list[str] = []
    for text in texts:
        own = text[: len(text) - len(text.lstrip())]
        lines += wrapped(
            glyphs.text(text.lstrip()), width, first=indent + own, rest=f"{indent}{own}  "
        )
    return lines


def _section(title: str, texts: Iterable[str], glyphs: Glyphs, width: int) -> list[str]:
    body = _sentences(texts, glyphs, width, _INDENT)
    return ["", glyphs.strong(title), *body] if body else []


def _degree_hours(review: Review) -> Iterator[str]:
    degree_hours = review.figures.degree_hours_above
    if degree_hours >= 0.05:
        amount = degree_hours_words(degree_hours, review.settings.units)
        unbroken = amount.replace(" ", "\N{NO-BREAK SPACE}")
        yield f"Degree-hours above the band: {unbroken}"


def _excursions(review: Review) -> Iterator[str]:
    shown, rest = choose_entries(grouped_excursions(review), _SHOWN)
    for entry in shown:
        yield entry.title(review)
        yield "  " + ("; ".join(entry.causes(review)) or NO_CAUSE)
    if rest:
        minutes = hours_and_minutes(sum(excursion.minutes for excursion in rest))
        yield f"and {counted(len(rest), 'shorter excursion')}, {minutes} together"


def _fan(review: Review) -> Iterator[str]:
    fan = review.figures.fan
    mean = "–" if fan.mean_speed is None else display.speed(fan.mean_speed)
    starts = counted(fan.starts, "start")
    lit = hours_and_minutes(review.figures.lamp_hours * 60.0) + lamp_hours_words(review)
    ran = hours_and_minutes(fan.hours * 60.0)
    yield f"{ran} running, mean speed {mean}, {starts}; lamp lit {lit}"
    light = light_words(review)
    if light is not None:
        yield light
    by_rule = running_by_rule(review)
    if by_rule:
        yield "Running by reason: " + ", ".join(
            f"{row.name} {hours_and_minutes(row.minutes)}" for row in by_rule
        )
    if review.figures.locked_out_minutes >= 1.0:
        locked_out = hours_and_minutes(review.figures.locked_out_minutes)
        yield (f"Outside air could not help for {locked_out} (override locked out)")


def _overrides(review: Review) -> Iterator[str]:
    longest = sorted(review.overrides, key=lambda override: -override.minutes)
    shown = sorted(longest[:_SHOWN], key=lambda override: override.start_ms)
    for start, length, reason, effect in overrides_table(review, shown).terminal_rows(review):
        yield f"{start}, {length}: {reason}; {effect}"
    if len(longest) > _SHOWN:
        rest = sum(override.minutes for override in longest[_SHOWN:])
        more = counted(len(longest) - _SHOWN, "shorter one")
        yield f"and {more}, {hours_and_minutes(rest)} together"


def _energy(review: Review) -> Iterator[str]:
    sentence = fan_power_sentence(review)
    if sentence is not None:
        yield sentence


def _earlier_days(count: int) -> Iterator[str]:
    if count > _DAYS_SHOWN:
        yield f"the last {_DAYS_SHOWN} of {count} days; --html and --json have them all"


def _alarms(review: Review) -> Iterator[str]:
    by_kind: dict[tuple[str, str], list[ActiveSpan]] = {}
    for alarm in review.alarms:
        by_kind.setdefault((alarm.what, alarm.detail), []).append(alarm)
    often = [alike for alike in by_kind.values() if len(alike) > _ALARMS_ALIKE]
    seldom = [a for a in review.alarms if len(by_kind[a.what, a.detail]) <= _ALARMS_ALIKE]
    for what, since, length, acknowledged in alarms_table(review, seldom).terminal_rows(review):
        sentence = f"{since} {what}, active for {length}"
        yield sentence if acknowledged == "–" else f"{sentence}, acknowledged {acknowledged}"
    for alike in often:
        longest = max(alike, key=lambda alarm: alarm.minutes)
        together = hours_and_minutes(sum(alarm.minutes for alarm in alike))
        yield (
            f"{alarm_words(longest)} {len(alike)} times, "
            f"{together} together, the longest from "
            f"{review.period.when(longest.start_ms)} for {hours_and_minutes(longest.minutes)}"
            f"{', not cleared' if alike[-1].is_active else ''}"
        )
