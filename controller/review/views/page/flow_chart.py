"""What the fan moved over the weeks, as learned: a mark and its interval for each night."""

from __future__ import annotations

import math

from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review
from controller.review.views.page.season_layout import (
    SEASON_LAYOUTS,
    SeasonLayout,
    season_chart,
    y_grid,
)

_DAY_MS = 86_400_000.0
_TITLE = "Flow, % of what the config's fan, duct and filter promise"


def flow_charts(review: Review) -> str:
    """The chart for a wide screen and for a narrow one; nothing where nothing was learned."""
    if not review.learned_flows:
        return ""
    on_screen = (layout for layout in SEASON_LAYOUTS if layout.css != "printed")
    return "".join(_chart(review, layout) for layout in on_screen)


def _chart(review: Review, layout: SeasonLayout) -> str:
    flows = review.learned_flows
    first_ms, last_ms = flows[0].at_ms - _DAY_MS / 2.0, flows[-1].at_ms + _DAY_MS / 2.0
    x = Scale(first_ms, last_ms, layout.left, layout.width - layout.right)
    top, bottom = 8.0, 8.0 + layout.bars
    highest = max(1.0, *(flow.high for flow in flows))
    step = 0.25 if highest <= 1.5 else 0.5 if highest <= 3.0 else 1.0
    steps = int(highest / step - 1e-9) + 1
    y = Scale(0.0, 100.0 * step * steps, bottom, top)
    body = y_grid(y, [100.0 * step * n for n in range(steps + 1)], layout)
    usual = flows[-1].usual
    if usual is not None:
        level = y(100.0 * usual)
        body += svg.line(x.start, level, x.end, level, class_="limit")
        # Above the end of its line: there the marks of a flow that fell are below it.
        body += svg.text(
            x.end - 4.0, level - 4.0, "reference week", text_anchor="end", class_="tick"
        )
    thick = max(1.0, min(9.0, 0.35 * (x(first_ms + _DAY_MS) - x.start)))
    bars, marks = [], []
    for flow in flows:
        at, lower, upper = x(float(flow.at_ms)), y(100.0 * flow.low), y(100.0 * flow.high)
        bars.append(f"M{svg.num(at)} {svg.num(lower)}V{svg.num(upper)}")
        marks.append(
            svg.rect(at - thick, y(100.0 * flow.share) - 1.0, 2.0 * thick, 2.0, class_="meandot")
        )
    body += svg.element(
        "path",
        d="".join(bars),
        class_="range",
        stroke_width=thick,
        stroke_opacity=0.45,
        fill="none",
    )
    body += "".join(marks) + _dates(review, x, bottom + 16.0)
    return season_chart(
        body, layout, bottom + 24.0, "flow", _TITLE,
        "A mark for each night and its 90 % interval. The table below has some of them.",
    )  # fmt: skip


def _dates(review: Review, x: Scale, y: float) -> str:
    """Dates under the nights, a week apart or more."""
    there_is_room_for = max(1, int((x.end - x.start) / 70.0))
    weeks = max(1, math.ceil((x.high - x.low) / _DAY_MS / 7.0 / there_is_room_for))
    labels: list[str] = []
    at_ms = x.low + _DAY_MS / 2.0
    while x(at_ms) + 20.0 < x.end or not labels:
        date = review.period.local(at_ms).date()
        labels.append(
            svg.text(x(at_ms), y, f"{date.day} {date:%b}", text_anchor="middle", class_="tick")
        )
        at_ms += 7.0 * weeks * _DAY_MS
    return "".join(labels)
