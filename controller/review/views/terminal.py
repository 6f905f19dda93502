"""The review on a terminal: one screen, the headline first."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence

from controller import display
from controller.review.figures import BandMinutes
from controller.review.period import short_date
from controller.review.phrases import (
    NAMES,
    counted,
    degree_hours_words,
    minutes_words,
    value_words,
)
from controller.review.report import Review
from controller.review.series import Point
from controller.review.views.cause_words import NO_CAUSE, override_effect, override_reason
from controller.review.views.excursion_list import chosen, grouped_excursions
from controller.review.views.glyphs import Glyphs
from controller.review.views.headline import also, headline
from controller.review.views.quality_words import quality_sentences
from controller.review.views.review_words import SIMULATED, light_words, missing_words
from controller.review.views.terminal_chart import chart_lines
from controller.wording import rule_words

_SHOWN = 8  # excursions and overrides named on the screen; `--html` and `--json` have them all
_QUANTITIES = ("temperature", "humidity", "vpd")


def screen(
    review: Review,
    series: Sequence[Point],
    glyphs: Glyphs,
    *,
    advice: Callable[[], Sequence[str]] = tuple,
    trends: Sequence[str] = (),
    width: int = 80,
) -> Iterator[str]:
    """The headline, then all the rest, in lines of at most `width` columns.

    In two parts, since advice may still be being worked out while the headline is read.
    """
    yield "\n".join(_head(review, glyphs, width))
    rest = _rest(review, series, glyphs, trends, width)
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


def _rest(
    review: Review, series: Sequence[Point], glyphs: Glyphs, trends: Sequence[str], width: int
) -> list[str]:
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
            lines += _section("Trends", trends, glyphs, width)
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
    found = list(body)
    if not found:
        return []
    lines = ["", glyphs.strong(title)]
    for line in found:
        lines += _wrapped(line, glyphs, width, "  ")
    return lines


def _air(review: Review) -> Iterator[str]:
    units, period = review.settings.units, review.period
    yield f"{'':12} {'lowest':>9}  {'':12} {'mean':>9}   {'highest':>9}"
    for name in _QUANTITIES:
        of = getattr(review.figures, name)
        low_at = "" if of.lowest_ms is None else period.when(of.lowest_ms)
        high_at = "" if of.highest_ms is None else period.when(of.highest_ms)
        yield (
            f"{NAMES[name]:12} {value_words(name, of.lowest, units):>9}  {low_at:12} "
            f"{value_words(name, of.mean, units):>9}   "
            f"{value_words(name, of.highest, units):>9}  {high_at}"
        ).rstrip()
    if review.figures.leaf_vpd is not None:
        mean = value_words("vpd", review.figures.leaf_vpd.mean, units)
        yield f"{'Leaf VPD':12} {'':9}  {'(modelled)':12} {mean:>9}"
    if review.figures.intake_mean_c is not None:
        mean = value_words("temperature", review.figures.intake_mean_c, units)
        yield f"{'Intake air':12} {'':9}  {'':12} {mean:>9}"


def _bands(review: Review) -> Iterator[str]:
    figures, units = review.figures, review.settings.units
    missing = missing_words(review)
    yield f"{'':19} {'below':>13} {'in band':>14} {'above':>13}" + (
        f" {missing:>13}" if figures.temperature.minutes.missing >= 0.5 else ""
    )
    for name in _QUANTITIES:
        of = getattr(figures, name)
        for phase, minutes in (("day", of.day.minutes), ("night", of.night.minutes)):
            if minutes.all >= 0.5:
                label = f"{NAMES[name] if phase == 'day' else '':12} {phase}"
                yield _band_row(label, minutes, figures.temperature.minutes.missing >= 0.5)
    if figures.degree_hours_above >= 0.05:
        amount = degree_hours_words(figures.degree_hours_above, units)
        yield f"Degree-hours above the band: {amount}"


def _band_row(label: str, minutes: BandMinutes, with_missing: bool) -> str:
    def cell(value: float, columns: int) -> str:
        return f"{'–' if value < 0.5 else minutes_words(value):>{columns}}"

    row = f"{label:19} {cell(minutes.below, 13)} {cell(minutes.within, 14)} "
    row += cell(minutes.above, 13)
    return row + (f" {cell(minutes.missing, 13)}" if with_missing else "")


def _excursions(review: Review) -> Iterator[str]:
    shown, rest = chosen(grouped_excursions(review), _SHOWN)
    for one in shown:
        yield one.title(review)
        yield "  " + ("; ".join(one.causes(review)) or NO_CAUSE)
    if rest:
        minutes = minutes_words(sum(excursion.minutes for excursion in rest))
        yield f"and {counted(len(rest), 'shorter spell')}, {minutes} together"


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
    by_rule = sorted(fan.minutes_by_rule.items(), key=lambda item: -item[1])
    if by_rule:
        yield "Running by reason: " + ", ".join(
            f"{rule_words(rule)} {minutes_words(minutes)}" for rule, minutes in by_rule
        )
    if review.figures.locked_out_minutes >= 1.0:
        locked_out = minutes_words(review.figures.locked_out_minutes)
        yield (f"Outside air could not help for {locked_out} (override locked out)")


def _overrides(review: Review) -> Iterator[str]:
    longest = sorted(review.overrides, key=lambda one: -one.minutes)
    for one in sorted(longest[:_SHOWN], key=lambda one: one.start_ms):
        yield (
            f"{review.period.when(one.start_ms)}, {minutes_words(one.minutes)}: "
            f"{override_reason(review, one)}; {override_effect(review, one)}"
        )
    if len(longest) > _SHOWN:
        rest = sum(one.minutes for one in longest[_SHOWN:])
        more = counted(len(longest) - _SHOWN, "shorter one")
        yield f"and {more}, {minutes_words(rest)} together"


def _energy(review: Review) -> Iterator[str]:
    energy, currency = review.figures.energy, review.settings.energy.currency

    def amount(kwh: float | None, cost: float | None) -> str:
        if kwh is None:
            return "not known: the config does not give the fan's power"
        text = display.energy(kwh)
        return text if cost is None else f"{text}, {display.money(cost, currency)}"

    yield f"{'Lamp':28} {amount(energy.lamp_kwh, energy.lamp_cost)}"
    yield f"{'Fan':28} {amount(energy.fan_kwh, energy.fan_cost)}"
    if energy.fan_kwh is not None:
        alone = amount(energy.schedule_kwh, energy.schedule_cost)
        yield f"{'Fan by the schedule alone':28} {alone}"
        yield (
            f"{'Fan at full speed all along':28} "
            f"{amount(energy.always_on_kwh, energy.always_on_cost)}"
        )


def _days(review: Review) -> Iterator[str]:
    units = review.settings.units
    yield (
        f"{'':10} {'mean':>7} {'highest':>7} {'at':>5} {'too hot':>11} {'too humid':>11} "
        f"{'fan':>10} {'missing':>8}"
    )
    days = list(zip(review.period.days, review.counted.days, strict=True))
    for day, figures in days[-31:]:
        of = figures.temperature
        at = "" if of.highest_ms is None else f"{review.period.local(of.highest_ms):%H:%M}"

        def cell(minutes: float) -> str:
            hours, rest = divmod(round(minutes), 60)
            return "–" if minutes < 0.5 else f"{hours} h {rest:02d}" if hours else f"{rest} min"

        yield (
            f"{short_date(day.date)} {value_words('temperature', of.mean, units):>7} "
            f"{value_words('temperature', of.highest, units):>7} {at:>5} "
            f"{cell(of.minutes.above):>11} {cell(figures.humidity.minutes.above):>11} "
            f"{cell(figures.fan.hours * 60.0):>10} {cell(of.minutes.missing):>8}"
        )
    if len(days) > 31:
        yield f"the last 31 of {len(days)} days; --html and --json have them all"


def _alarms(review: Review) -> Iterator[str]:
    for alarm in review.alarms:
        text = f"{review.period.when(alarm.start_ms)} {alarm.words}"
        if alarm.detail:
            text += f" ({alarm.detail})"
        text += f", stood {minutes_words(alarm.minutes)}"
        if alarm.is_active:
            text += ", not cleared"
        if alarm.acknowledged_ms is not None:
            text += f", acknowledged {review.period.when(alarm.acknowledged_ms)}"
        yield text


def _data(review: Review) -> Iterator[str]:
    yield from quality_sentences(review)
