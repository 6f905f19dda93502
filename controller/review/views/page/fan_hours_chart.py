"""Bars of the hours a day in which the fan ran, by reason."""

from __future__ import annotations

from html import escape

from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review
from controller.review.views.page.season_layout import (
    SeasonLayout,
    day_labels,
    season_chart,
    stage_lines,
    y_grid,
)
from controller.review.views.tables import running_by_rule

TITLE = "Fan, hours a day by reason"


def fan_hours_chart(review: Review, layout: SeasonLayout) -> str:
    """A bar a day: each reason's hours on top of those of the reasons that are more in all."""
    x = layout.axis(review)
    top, bottom = 8.0, 8.0 + layout.bars
    longest = max(24.0, *(day.minutes / 60.0 for day in review.period.days))
    y = Scale(0.0, longest, bottom, top)
    body = y_grid(y, (0.0, 6.0, 12.0, 18.0, 24.0) if layout.bars > 100 else (0.0, 12.0, 24.0),
                  layout)  # fmt: skip
    by_rule = running_by_rule(review)
    cell = x(1.0) - x(0.0)
    width = cell * (0.72 if cell > 5 else 1.0)
    stacked_h = [0.0] * len(review.counted.days)
    for row in by_rule:
        bars = []  # in one path: a pattern for each bar makes a printed file of 30 MB
        for n, figures in enumerate(review.counted.days):
            hours = figures.fan.minutes_by_rule.get(row.rule, 0.0) / 60.0
            if hours <= 0.0:
                continue
            at = x(n) + (cell - width) / 2.0
            upper, lower = y(stacked_h[n] + hours), y(stacked_h[n])
            bars.append(f"M{svg.num(at)} {upper:.2f}h{width:.2f}V{lower:.2f}h{-width:.2f}z")
            stacked_h[n] += hours
        body += svg.element(
            "path",
            svg.element("title", escape(f"{row.name}, {row.minutes / 60.0:.1f} h")),
            d="".join(bars),
            fill=f"url(#{layout.prefix}-{row.rule})",
            class_=f"bar f-{row.rule}",
        )
    body = svg.pattern_defs(layout.prefix, [row.rule for row in by_rule]) + body
    body += day_labels(review, x, bottom + 16.0) + stage_lines(review, x, top, bottom)
    return season_chart(body, layout, bottom + 22.0, "fan-hours", TITLE, _describe(review))


def _describe(review: Review) -> str:
    shares = ", ".join(f"{row.name} {row.minutes / 60.0:.1f}" for row in running_by_rule(review))
    return (
        f"Hours a day in which the fan ran; in all {shares or 'none'}. "
        "The table under Days has each day."
    )
