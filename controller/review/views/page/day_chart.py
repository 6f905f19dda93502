"""The day as a chart: panels over one time axis, drawn for a wide or a narrow screen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from controller import display
from controller.display import Units
from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review
from controller.review.series import Point, stretches
from controller.review.views.chart_events import ChartEvent
from controller.review.views.page.fan_panel import fan_panel, strips
from controller.review.views.page.layout import Layout, hour_grid, hours


@dataclass(frozen=True, slots=True)
class DayCurve:
    """One line of a panel."""

    label: str
    css: str
    value: Callable[[Point], float | None]


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity over the day."""

    title: str
    courses: tuple[DayCurve, ...]
    low: Callable[[Point], float]
    high: Callable[[Point], float]
    tick: Callable[[float], str]
    least: float
    floor: float | None = None
    ceiling: float | None = None


def temperature_in(units: Units, celsius: float) -> float:
    """A temperature [°C] as the axis counts it."""
    return celsius * 1.8 + 32.0 if units == "us" else celsius


def _optional(units: Units, celsius: float | None) -> float | None:
    return None if celsius is None else temperature_in(units, celsius)


def panels(review: Review, series: Sequence[Point]) -> list[Panel]:
    """The three panels of air."""
    units = review.settings.units
    degree = "°F" if units == "us" else "°C"
    has_intake = any(p.intake_c is not None for p in series)
    intake_t = DayCurve("intake", "intake", lambda p: _optional(units, p.intake_c))
    intake_h = DayCurve("intake", "intake", lambda p: p.intake_pct)
    tent_t = DayCurve("tent", "tent", lambda p: _optional(units, p.temperature_c))
    tent_h = DayCurve("tent", "humid", lambda p: p.humidity_pct)
    return [
        Panel(
            f"Temperature, {degree}",
            (intake_t, tent_t) if has_intake else (tent_t,),
            lambda p: temperature_in(units, p.temperature_low),
            lambda p: temperature_in(units, p.temperature_high),
            lambda value: f"{value:g}",
            1.0,
        ),
        Panel(
            "Relative humidity, %",
            (intake_h, tent_h) if has_intake else (tent_h,),
            lambda p: p.humidity_low,
            lambda p: p.humidity_high,
            lambda value: f"{value:g}",
            3.0,
            0.0,
            100.0,
        ),
        Panel(
            "Air VPD, kPa",
            (DayCurve("tent", "vpd", lambda p: None if p.vpd_pa is None else p.vpd_pa / 1000.0),),
            lambda p: p.vpd_low / 1000.0,
            lambda p: p.vpd_high / 1000.0,
            lambda value: f"{value:.1f}",
            0.1,
            0.0,
        ),
    ]


def day_chart(
    review: Review, series: Sequence[Point], chart_events: Sequence[ChartEvent], layout: Layout
) -> str:
    """The whole chart as one SVG element."""
    period = review.period
    x = Scale(period.start_ms, period.end_ms, layout.left, layout.width - layout.right)
    shown = chart_events[: layout.most_events]
    lanes = _lanes(x, shown)
    top = 20.0 + 17.0 * (max(lanes, default=-1) + 1)
    body: list[str] = []
    y = top + 26.0
    bottoms = []
    for panel, height in zip(panels(review, series), layout.heights, strict=False):
        body.append(_air_panel(panel, series, review, x, y, height, layout))
        y += height
        bottoms.append(y)
        y += layout.gap
    body.append(fan_panel(review, series, x, y, layout))
    y += layout.heights[3]
    bottoms.append(y)
    y += 8.0
    body.append(strips(review, x, y))
    y += 30.0
    body.append(_time_labels(review, x, y + 12.0, layout))
    height = y + 20.0
    lines = [_mark(mark, lane, x, top, bottoms[-1], layout) for mark, lane in
             zip(shown, lanes, strict=True)]  # fmt: skip
    rules = sorted({segment.rule for segment in review.segments if segment.fan_on})
    return svg.element(
        "svg",
        svg.element("title", escape(_title(review)), id=f"{layout.prefix}-title")
        + svg.element("desc", escape(describe(review)), id=f"{layout.prefix}-desc")
        + svg.pattern_defs(layout.prefix, rules)
        + "".join(body)
        + "".join(lines)
        + svg.line(x.start, top, x.start, bottoms[-1], class_="cursor"),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {svg.num(layout.width)} {svg.num(height)}",
        role="img",
        aria_labelledby=f"{layout.prefix}-title {layout.prefix}-desc",
        class_=f"chart {layout.css}",
        font_size=layout.font,
        data_left=x.start,
        data_right=x.end,
    )


def _title(review: Review) -> str:
    return f"The day of {review.settings.tent.name} over time"


def describe(review: Review) -> str:
    """What the chart shows, for those who cannot see it."""
    figures, units = review.figures, review.settings.units
    temperature = figures.temperature
    if temperature.lowest is None or temperature.highest is None:
        return "No trustworthy temperature was measured."
    text = (
        f"Temperature from {display.temperature(temperature.lowest, units)} to "
        f"{display.temperature(temperature.highest, units)}, "
        f"{round(temperature.minutes.above)} minutes above its band. "
    )
    if figures.humidity.lowest is not None and figures.humidity.highest is not None:
        text += (
            f"Humidity from {display.humidity(figures.humidity.lowest)} to "
            f"{display.humidity(figures.humidity.highest)}. "
        )
    return text + (
        f"The fan ran {figures.fan.hours:.1f} hours, the lamp was lit {figures.lamp_hours:.1f} "
        "hours. Tables with the same values follow below."
    )


def _lanes(x: Scale, chart_events: Sequence[ChartEvent]) -> list[int]:
    """Which row each number stands in, so that none hides another; at most four rows."""
    ends = [-100.0] * 4
    lanes = []
    for mark in chart_events:
        at = x(mark.at_ms)
        free = [lane for lane, end in enumerate(ends) if at - end >= 17.0]
        lane = free[0] if free else ends.index(min(ends))
        ends[lane] = at
        lanes.append(lane)
    return lanes


def _mark(mark: ChartEvent, lane: int, x: Scale, top: float, bottom: float, layout: Layout) -> str:
    at = x(mark.at_ms)
    y = top - 8.0 - 17.0 * lane
    css = "grave" if mark.level == "error" else "mark"
    return svg.element(
        "g",
        svg.element("title", escape(f"{mark.number}: {mark.words}"))
        + svg.line(at, y + 7.5, at, bottom, class_="event")
        + svg.element("circle", cx=at, cy=y, r=7.5)
        + svg.text(at, y + 3.6, str(mark.number), text_anchor="middle", font_size=10.0),
        class_=css,
    )


def _air_panel(
    panel: Panel,
    series: Sequence[Point],
    review: Review,
    x: Scale,
    top: float,
    height: float,
    layout: Layout,
) -> str:
    values = [v for c in panel.courses for p in series if (v := c.value(p)) is not None]
    parts = [svg.text(x.start, top - 6.0, panel.title, class_="panel-title")]
    if not values:
        parts.append(svg.text(x.start + 8, top + height / 2, "nothing recorded", class_="faint"))
        return "".join(parts)
    low, high = svg.padded([*values, *_edges(panel, series, values)], least=panel.least)
    low = low if panel.floor is None else max(panel.floor, low)
    high = high if panel.ceiling is None else min(panel.ceiling, high)
    y = Scale(low, high, top + height, top)
    parts.append(_band(panel, series, x, y))
    for tick in svg.round_ticks(low, high, 4 if height > 120 else 3):
        parts.append(svg.line(x.start, y(tick), x.end, y(tick), class_="grid"))
        parts.append(
            svg.text(x.start - 6, y(tick) + 4, panel.tick(tick), text_anchor="end", class_="tick")
        )
    parts += hour_grid(review, x, top, top + height, layout)
    for course in panel.courses:
        pieces = stretches(series, course.value)
        data = "".join(
            svg.polyline([(x(at), y.clamped(value)) for at, value in piece]) for piece in pieces
        )
        parts.append(svg.element("path", d=data, class_=f"line {course.css}"))
    parts += _labels(panel, series, x, y, layout)
    return "".join(parts)


def _edges(panel: Panel, series: Sequence[Point], values: Sequence[float]) -> list[float]:
    """The limits to be seen: from outside the bands those nearest, from inside those close by."""
    lows, highs = {panel.low(p) for p in series}, {panel.high(p) for p in series}
    lowest, highest = min(values), max(values)
    near = max(2.0 * panel.least, highest - lowest)
    shown = [edge for edge in lows | highs if lowest - near <= edge <= highest + near]
    if lowest > max(highs):
        shown += highs
    if highest < min(lows):
        shown += lows
    return shown


def _band(panel: Panel, series: Sequence[Point], x: Scale, y: Scale) -> str:
    """The band in force, a step wherever it changed."""
    parts = []
    segments: list[list[float]] = []
    for point in series:
        limits = [panel.low(point), panel.high(point)]
        if segments and segments[-1][2:] == limits and point.start_ms <= segments[-1][1] + 1:
            segments[-1][1] = point.end_ms
        else:
            segments.append([point.start_ms, point.end_ms, *limits])
    for start, end, low, high in segments:
        upper, lower = y.clamped(high), y.clamped(low)
        left, right = x(start), x(end)
        parts.append(svg.rect(left, upper, right - left, max(0.0, lower - upper), class_="band"))
        for value in (low, high):
            if y.low < value < y.high:
                parts.append(svg.line(left, y(value), right, y(value), class_="limit"))
    return "".join(parts)


def _labels(panel: Panel, series: Sequence[Point], x: Scale, y: Scale, layout: Layout) -> list[str]:
    """Each line's name at its right end where there is room, else as a legend above."""
    parts = []
    if layout.right > 40:
        ends: list[tuple[float, DayCurve]] = []
        for course in panel.courses:
            known = [v for p in series if (v := course.value(p)) is not None]
            ends.append((y.clamped(known[-1]) if known else y.end, course))
        last = -100.0
        for wished, course in sorted(ends, key=lambda pair: pair[0]):
            last = max(wished, last + 14.0)
            parts.append(svg.text(x.end + 8, last + 4, course.label, class_=f"name {course.css}"))
        return parts
    at = x.end
    for course in panel.courses:
        width = 9.0 + 6.4 * len(course.label)
        parts.append(
            svg.text(at, y.end - 6.0, course.label, text_anchor="end", class_=f"name {course.css}")
        )
        parts.append(
            svg.element(
                "path",
                d=f"M{svg.num(at - width - 18)} {svg.num(y.end - 10)}h18",
                class_=f"line {course.css}",
            )
        )
        at -= width + 30.0
    return parts


def _time_labels(review: Review, x: Scale, y: float, layout: Layout) -> str:
    return "".join(
        svg.text(
            x(at_ms),
            y,
            f"{label}:00" if layout.right > 40 or label not in ("24",) else "24",
            text_anchor="end" if label == "24" and layout.right < 40 else "middle",
            class_="tick",
        )
        for at_ms, label in hours(review, layout.hours)
    )
