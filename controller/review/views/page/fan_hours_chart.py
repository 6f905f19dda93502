"""Bars of the hours a day in which the fan ran, by reason."""

from __future__ import annotations

from html import escape

from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review
from controller.review.views.page.season_layout import (
    Rendition,
    day_labels,
    season_chart,
    stage_lines,
    y_grid,
)
from controller.review.views.tables import running_by_rule
from controller.wording import rule_words

TITLE = "Fan, hours a day by reason"


def fan_hours_chart(review: Review, rendition: Rendition) -> str:
    """A bar a day: each reason's hours on top of those of the longer ones."""
    x = rendition.axis(review)
    top, bottom = 8.0, 8.0 + rendition.bars
    longest = max(24.0, *(day.minutes / 60.0 for day in review.period.days))
    y = Scale(0.0, longest, bottom, top)
    body = y_grid(y, (0.0, 6.0, 12.0, 18.0, 24.0) if rendition.bars > 100 else (0.0, 12.0, 24.0),
                  rendition)  # fmt: skip
    rules = [row.rule for row in running_by_rule(review)]
    cell = x(1.0) - x(0.0)
    width = cell * (0.72 if cell > 5 else 1.0)
    for n, figures in enumerate(review.counted.days):
        base_h = 0.0
        for rule in rules:
            hours = figures.fan.minutes_by_rule.get(rule, 0.0) / 60.0
            if hours <= 0.0:
                continue
            at = x(n) + (cell - width) / 2.0
            height = y(base_h) - y(base_h + hours)
            body += svg.element(
                "path",
                svg.element("title", escape(f"{rule_words(rule)}, {hours:.1f} h")),
                d=f"M{svg.num(at)} {y(base_h + hours):.2f}h{width:.2f}v{height:.2f}h{-width:.2f}z",
                fill=f"url(#{rendition.prefix}-{rule})",
                class_=f"bar f-{rule}",
            )
            base_h += hours
    body = svg.pattern_defs(rendition.prefix, rules) + body
    body += day_labels(review, x, bottom + 16.0) + stage_lines(review, x, top, bottom)
    return season_chart(body, rendition, bottom + 22.0, "fan-hours", TITLE, _describe(review))


def _describe(review: Review) -> str:
    shares = ", ".join(f"{row.name} {row.minutes / 60.0:.1f}" for row in running_by_rule(review))
    return (
        f"Hours a day in which the fan ran; in all {shares or 'none'}. "
        "The table under Days has each day."
    )
