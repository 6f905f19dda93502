"""The day as a small chart of characters: temperature with its band, lamp and fan below."""

from __future__ import annotations

from collections.abc import Sequence

from controller import display
from controller.review.report import Review
from controller.review.segments import Segment
from controller.review.series import Point
from controller.review.views.glyphs import Canvas, Glyphs

_LABEL = 9
_ROWS = 9


def chart_lines(
    review: Review, series: Sequence[Point], glyphs: Glyphs, width: int = 80
) -> list[str]:
    """The chart, one line a row.

    Parameters
    ----------
    review : Review
        The day.
    series : sequence of Point
        Its course; best in twice as many steps as there are columns.
    glyphs : Glyphs
        What the terminal shows.
    width : int
        Columns to fill.
    """
    known = [p for p in series if p.temperature_c is not None]
    if not known:
        return []
    columns = max(20, width - _LABEL - 1)
    canvas = Canvas(columns, _ROWS, fancy=glyphs.fancy)
    start, end = review.period.start_ms, review.period.end_ms
    low, high = _range(known)

    def x_of(at_ms: float) -> int:
        return int((at_ms - start) / (end - start) * canvas.width)

    def y_of(value: float) -> int:
        return round((high - value) / (high - low) * (canvas.height - 1))

    last_y: int | None = None
    last_x = -2
    for point in series:
        x = x_of(point.middle_ms)
        if x % 4 == 0:
            canvas.set(x, y_of(point.temperature_low), faint=True)
            canvas.set(x, y_of(point.temperature_high), faint=True)
        if point.temperature_c is None:
            last_y = None
            continue
        y = y_of(point.temperature_c)
        near = last_y if last_y is not None and x - last_x <= 3 else y
        for step in range(min(y, near), max(y, near) + 1):
            canvas.set(x, step)
        last_x, last_y = x, y
    labels = _labels(review, low, high)
    lines = [
        f"{labels.get(row, ''):>{_LABEL - 1}} │{line}" for row, line in enumerate(canvas.lines())
    ]
    lines.append(
        f"{'lamp':>{_LABEL - 1}} │{_strip(review, columns, lambda segment: segment.lit, glyphs)}"
    )
    lines.append(f"{'fan':>{_LABEL - 1}} │{_fan(review, series, columns, glyphs)}")
    lines.append(_axis(review, columns))
    return [glyphs.text(line.rstrip()) for line in lines]


def _range(points: Sequence[Point]) -> tuple[float, float]:
    values = [p.temperature_c for p in points if p.temperature_c is not None]
    values += [points[0].temperature_low, *(p.temperature_high for p in points)]
    low, high = min(values), max(values)
    margin = max(0.5, 0.04 * (high - low))
    return low - margin, high + margin


def _labels(review: Review, low: float, high: float) -> dict[int, str]:
    units = review.settings.units
    return {
        0: display.temperature(high, units),
        _ROWS // 2: display.temperature((low + high) / 2.0, units),
        _ROWS - 1: display.temperature(low, units),
    }


def _share(segments: Sequence[Segment], start: float, end: float, holds: object) -> float | None:
    known = held = 0.0
    for segment in segments:
        overlap = min(segment.end_ms, end) - max(segment.start_ms, start)
        if overlap > 0:
            known += overlap
            held += overlap if holds(segment) else 0.0  # type: ignore[operator]
    return held / known if known else None


def _strip(review: Review, columns: int, holds: object, glyphs: Glyphs) -> str:
    start, end = review.period.start_ms, review.period.end_ms
    step = (end - start) / columns
    cells = []
    for column in range(columns):
        share = _share(review.segments, start + column * step, start + (column + 1) * step, holds)
        cells.append(glyphs.bar(None) if share is None else "━" if share >= 0.5 else " ")
    return "".join(cells)


def _fan(review: Review, series: Sequence[Point], columns: int, glyphs: Glyphs) -> str:
    start, end = review.period.start_ms, review.period.end_ms
    aggregates: list[list[float]] = [[] for _ in range(columns)]
    for point in series:
        if point.fan_speed is not None:
            column = int((point.middle_ms - start) / (end - start) * columns)
            aggregates[min(columns - 1, column)].append(point.fan_speed)
    return "".join(glyphs.bar(sum(part) / len(part) if part else None) for part in aggregates)


def _axis(review: Review, columns: int) -> str:
    """Local hours under the chart, every third one."""
    start, end = review.period.start_ms, review.period.end_ms
    cells = [" "] * (columns + 3)
    for at_ms in range(start, end, 3_600_000):
        local = review.period.local(at_ms)
        if local.hour % 3 == 0 and local.minute == 0:
            column = round((at_ms - start) / (end - start) * columns)
            cells[column : column + 2] = f"{local.hour:02d}"
    return " " * (_LABEL + 1) + "".join(cells[:columns])
