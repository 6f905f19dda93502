"""The lowest panel: fan speed by reason, the lamp's hours and the fan hours."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review
from controller.review.segments import Segment
from controller.review.series import Point
from controller.review.views.page.layout import Layout, hour_grid
from controller.wording import rule_words


def fan_panel(review: Review, series: Sequence[Point], x: Scale, top: float, layout: Layout) -> str:
    """Speed over time, each stretch in the colour and pattern of its reason."""
    height = layout.heights[3]
    y = Scale(0.0, 1.0, top + height, top)
    parts = [svg.text(x.start, top - 6.0, "Fan speed, %, by reason", class_="panel-title")]
    for share in (0.0, 0.5, 1.0):
        parts.append(svg.line(x.start, y(share), x.end, y(share), class_="grid"))
        parts.append(
            svg.text(
                x.start - 6, y(share) + 4, f"{share * 100:.0f}", text_anchor="end", class_="tick"
            )
        )
    parts += hour_grid(review, x, top, top + height, layout)
    areas: dict[str, list[str]] = {}  # a path for each rule: more patterns print as megabytes
    for segment in _by_rule(review.segments):
        points = [
            (x(min(max(p.middle_ms, segment.start_ms), segment.end_ms)), y(p.fan_speed))
            for p in series
            if p.fan_speed is not None
            and p.end_ms > segment.start_ms
            and p.start_ms < segment.end_ms
        ]
        if all(at >= y(0.0) - 0.05 for _, at in points):
            continue  # at rest, or between two steps
        left, right = x(segment.start_ms), x(segment.end_ms)
        points = [(left, points[0][1]), *points, (right, points[-1][1])]
        base = [(left, y(0.0)), (right, y(0.0))]
        areas.setdefault(segment.rule, []).append(svg.area(points, base))
    for rule, paths in areas.items():
        parts.append(
            svg.element(
                "path",
                svg.element("title", escape(rule_words(rule))),
                d="".join(paths),
                fill=f"url(#{layout.prefix}-{rule})",
                class_=f"fan f-{rule}",
            )
        )
    return "".join(parts)


def _by_rule(segments: Sequence[Segment]) -> list[Segment]:
    """Segments joined as long as the same rule set the speed."""
    joined: list[Segment] = []
    for segment in segments:
        last = joined[-1] if joined else None
        if last is not None and last.rule == segment.rule and segment.start_ms - last.end_ms < 1:
            joined[-1] = last._replace(end_ms=segment.end_ms)
        else:
            joined.append(segment)
    return joined


def strips(review: Review, x: Scale, top: float) -> str:
    """The lamp's hours and the fan hours as two thin bars."""
    parts = []
    for row, (label, css, holds) in enumerate(
        (
            ("lamp", "lamp", lambda segment: segment.lit),
            ("fan hours", "fan-hours", lambda segment: segment.in_fan_hours),
        )
    ):
        y = top + 14.0 * row
        parts.append(svg.text(x.start - 6, y + 9.0, label, text_anchor="end", class_="tick"))
        parts.append(svg.line(x.start, y + 5.0, x.end, y + 5.0, class_="grid"))
        for start, end in _stretches_of(review.segments, holds):
            parts.append(svg.rect(x(start), y, x(end) - x(start), 9.0, class_=css))
    return "".join(parts)


def _stretches_of(
    segments: Sequence[Segment], holds: Callable[[Segment], bool]
) -> list[tuple[float, float]]:
    stretches: list[tuple[float, float]] = []
    for segment in segments:
        if not holds(segment):
            continue
        if stretches and segment.start_ms - stretches[-1][1] < 1:
            stretches[-1] = (stretches[-1][0], segment.end_ms)
        else:
            stretches.append((segment.start_ms, segment.end_ms))
    return stretches
