"""The review on a terminal: one screen, the headline first."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence

from controller import display
from controller.review.phrases import counted, degree_hours_words, minutes_words
from controller.review.report import Review
from controller.review.series import Point
from controller.review.views.cause_words import NO_CAUSE
from controller.review.views.excursion_list import choose_entries, grouped_excursions
from controller.review.views.glyphs import Glyphs
from controller.review.views.headline import also, headline
from controller.review.views.quality_words import quality_sentences
from controller.review.views.review_words import SIMULATED, light_words
from controller.review.views.tables import (
    air_table,
    alarms_table,
    bands_table,
    days_table,
    energy_table,
    overrides_table,
    running_by_rule,
)
from controller.review.views.terminal_chart import chart_lines
from controller.review.views.trend_words import trend_sentences

_SHOWN = 8  # excursions and overrides named on the screen; `--html` and `--json` have them all
_DAYS_SHOWN = 31


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
    lines: list[str] = []
    for line in textwrap.wrap(headline(review) + ".", width):
        lines.append(glyphs.strong(glyphs.text(line)))
    for sentence in also(review):
        lines += _wrapped(sentence, glyphs, width)
    if review.is_simulated:
        lines.append(SIMULATED)
    if review.quality.minutes_to_come >= 1.0:
        lines.append(f"Not over yet: {minutes_words(review.quality.minutes_to_come)} to come.")
    return lines


def _rest(review: Review, series: Sequence[Point], glyphs: Glyphs, width: int) -> list[str]:
    lines: list[str] = []
    if not review.is_empty:
        if review.is_one_day:
            chart = chart_lines(review, series, glyphs, width)
            lines += ["", *chart] if chart else []
        lines += _section("Air", _air(review), glyphs, width)
        lines += _section("Out of band", _bands(review), glyphs, width)
        lines += _section("Why", _excursions(review), glyphs, width)
        lines += _section("Fan and lamp", _fan(review), glyphs, width)
        lines += _section("Overrides", _overrides(review), glyphs, width)
        lines += _section("Energy", _energy(review), glyphs, width)
        if not review.is_one_day:
            lines += _section("Days", _days(review), glyphs, width)
            lines += _section("Trends", trend_sentences(review), glyphs, width)
    lines += _section("Alarms", _alarms(review), glyphs, width)
    return lines + _section("Data", _data(review), glyphs, width)


def _wrapped(text: str, glyphs: Glyphs, width: int, indent: str = "") -> list[str]:
    shown = glyphs.text(text)
    if len(shown) + len(indent) <= width:
        return [indent + shown]
    return textwrap.wrap(shown, width, initial_indent=indent, subsequent_indent=indent + "  ")


def _section(
    title: str, body: Sequence[str] | Iterator[str], glyphs: Glyphs, width: int
) -> list[str]:
    lines_of_body = list(body)
    if not lines_of_body:
        return []
    lines = ["", glyphs.strong(title)]
    for line in lines_of_body:
        lines += _wrapped(line, glyphs, width, "  ")
    return lines


def _air(review: Review) -> list[str]:
    table = air_table(review)
    return [table.terminal_heading(), *table.terminal_lines(review)]


def _bands(review: Review) -> Iterator[str]:
    table = bands_table(review)
    yield table.terminal_heading()
    yield from table.terminal_lines(review)
    degree_hours = review.figures.degree_hours_above
    if degree_hours >= 0.05:
        amount = degree_hours_words(degree_hours, review.settings.units)
        yield f"Degree-hours above the band: {amount}"


def _excursions(review: Review) -> Iterator[str]:
    shown, rest = choose_entries(grouped_excursions(review), _SHOWN)
    for entry in shown:
        yield entry.title(review)
        yield "  " + ("; ".join(entry.causes(review)) or NO_CAUSE)
    if rest:
        minutes = minutes_words(sum(excursion.minutes for excursion in rest))
        yield f"and {counted(len(rest), 'shorter excursion')}, {minutes} together"


def _fan(review: Review) -> Iterator[str]:
    fan = review.figures.fan
    mean = "–" if fan.mean_speed is None else display.speed(fan.mean_speed)
    starts = counted(fan.starts, "start")
    yield (
        f"{minutes_words(fan.hours * 60.0)} running, mean speed {mean}, {starts}"
        f"; lamp lit {minutes_words(review.figures.lamp_hours * 60.0)}"
    )
    light = light_words(review)
    if light is not None:
        yield light
    by_rule = running_by_rule(review)
    if by_rule:
        yield "Running by reason: " + ", ".join(
            f"{row.name} {minutes_words(row.minutes)}" for row in by_rule
        )
    if review.figures.locked_out_minutes >= 1.0:
        locked_out = minutes_words(review.figures.locked_out_minutes)
        yield (f"Outside air could not help for {locked_out} (override locked out)")


def _overrides(review: Review) -> Iterator[str]:
    longest = sorted(review.overrides, key=lambda override: -override.minutes)
    shown = sorted(longest[:_SHOWN], key=lambda override: override.start_ms)
    yield from overrides_table(review, shown).terminal_lines(review)
    if len(longest) > _SHOWN:
        rest = sum(override.minutes for override in longest[_SHOWN:])
        more = counted(len(longest) - _SHOWN, "shorter one")
        yield f"and {more}, {minutes_words(rest)} together"


def _energy(review: Review) -> list[str]:
    return energy_table(review).terminal_lines(review)


def _days(review: Review) -> Iterator[str]:
    table = days_table(review)
    lines = table.terminal_lines(review)
    yield table.terminal_heading()
    yield from lines[-_DAYS_SHOWN:]
    if len(lines) > _DAYS_SHOWN:
        yield f"the last {_DAYS_SHOWN} of {len(lines)} days; --html and --json have them all"


def _alarms(review: Review) -> Iterator[str]:
    for row in alarms_table(review).rows:
        alarm, since, length, acknowledged = (
            cell.text(review, terminal=True) for cell in row.cells
        )
        sentence = f"{since} {alarm}, stood {length}"
        yield f"{sentence}, acknowledged {acknowledged}" if acknowledged else sentence


def _data(review: Review) -> Iterator[str]:
    yield from quality_sentences(review)
