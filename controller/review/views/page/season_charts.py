"""Weeks and seasons: heat maps of hour by day, each day's range, and the fan's hours."""

from __future__ import annotations

from controller.pages import svg
from controller.pages.html import paragraph, prose
from controller.pages.svg import Scale
from controller.review.report import Review
from controller.review.views.page.day_chart import temperature_in
from controller.review.views.page.fan_hours_chart import TITLE as FAN_TITLE
from controller.review.views.page.fan_hours_chart import fan_hours_chart
from controller.review.views.page.heat_map import TITLES, heat_map
from controller.review.views.page.season_layout import (
    SEASON_LAYOUTS,
    SeasonLayout,
    day_labels,
    season_chart,
    stage_changes,
    stage_lines,
    y_grid,
)
from controller.review.views.tables import running_by_rule


def season_section(review: Review) -> str:
    """The charts of several days, each for a wide screen, a narrow one and paper."""
    parts = [_block(TITLES[name], heat_map(review, name)) for name in ("temperature", "vpd")]
    ranges = "".join(range_chart(review, layout) for layout in SEASON_LAYOUTS)
    parts.append(
        _block(
            "Each day's range of temperature",
            ranges or paragraph("No trustworthy temperature was measured.", "faint"),
        )
    )
    parts.append(_block(FAN_TITLE, _fan(review)))
    note = "".join(
        f"<li>{prose(f'{review.period.when(at_ms)}: {words}')}</li>"
        for at_ms, words in stage_changes(review)
    )
    return (
        '<section class="picture" aria-labelledby="course"><h2 id="course">Hour by day</h2>'
        f'<figure>{"".join(parts)}<figcaption class="faint">The same by day in the table under '
        "“Days”.</figcaption></figure>"
        + (f"<h3>Crop stages</h3><ul>{note}</ul>" if note else "")
        + "</section>"
    )


def _block(title: str, body: str) -> str:
    """A chart with its heading, which paper keeps together."""
    return f'<div class="block"><h3>{prose(title)}</h3>{body}</div>'


def _fan(review: Review) -> str:
    by_rule = running_by_rule(review)
    if not by_rule:
        return paragraph("The fan did not run.", "faint")
    keys = "".join(
        f'<li><svg viewBox="0 0 24 12" aria-hidden="true"><rect width="24" height="12" '
        f'fill="url(#k-{row.rule})" class="fan f-{row.rule}"/></svg>{prose(row.name)}</li>'
        for row in by_rule
    )
    charts = "".join(fan_hours_chart(review, layout) for layout in SEASON_LAYOUTS)
    return f'<ul class="keys">{keys}</ul>{charts}'


def range_chart(review: Review, layout: SeasonLayout) -> str:
    """Lowest to highest of each day, with its mean; nothing where none was measured."""
    units = review.settings.units
    x = layout.axis(review)
    known = [
        (n, f.temperature)
        for n, f in enumerate(review.counted.days)
        if f.temperature.lowest is not None
    ]
    if not known:
        return ""
    values = [
        temperature_in(units, v) for _, t in known for v in (t.lowest, t.highest) if v is not None
    ]
    low, high = svg.padded(values)
    top, bottom = 8.0, 8.0 + layout.bars
    y = Scale(low, high, bottom, top)
    body = y_grid(y, svg.round_ticks(low, high, 4 if layout.bars > 100 else 3), layout)
    band = review.terms.present.day.temperature_c
    upper, lower = (y.clamped(temperature_in(units, v)) for v in (band.high, band.low))
    body += svg.rect(x.start, upper, x.end - x.start, max(0.0, lower - upper), class_="band")
    thick = max(1.0, min(9.0, 0.5 * (x(1.0) - x(0.0))))
    bars, means = [], []
    for n, t in known:
        at = x(n + 0.5)
        assert t.lowest is not None and t.highest is not None and t.mean is not None
        lowest, highest, mean = (temperature_in(units, v) for v in (t.lowest, t.highest, t.mean))
        bars.append(f"M{svg.num(at)} {svg.num(y(lowest))}V{svg.num(y(highest))}")
        means.append(svg.rect(at - thick, y(mean) - 1, 2 * thick, 2.0, class_="meandot"))
    body += svg.element(
        "path",
        d="".join(bars),
        class_="range",
        stroke_width=thick,
        stroke_opacity=0.45,
        fill="none",
    )
    body += "".join(means)
    body += day_labels(review, x, bottom + 16.0) + stage_lines(review, x, top, bottom)
    degree = "°F" if units == "us" else "°C"
    return season_chart(
        body, layout, bottom + 24.0, "range", f"Range of temperature, {degree}",
        "Each day's lowest, mean and highest temperature; shaded: the present band by day. "
        "The table under Days has the same values.",
    )  # fmt: skip
