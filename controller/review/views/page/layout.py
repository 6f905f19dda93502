"""The sizes of a day chart's renditions, and its hours."""

from __future__ import annotations

from dataclasses import dataclass

from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review


@dataclass(frozen=True, slots=True)
class Layout:
    """The sizes of one rendition [px]: for a wide screen, a narrow one, or paper."""

    prefix: str
    css: str
    width: float
    left: float
    right: float
    heights: tuple[float, float, float, float]  # temperature, humidity, VPD, fan
    gap: float
    hours: int  # between labels of the time axis
    font: float
    most_events: int


WIDE = Layout("w", "wide", 960.0, 54.0, 92.0, (210.0, 130.0, 110.0, 84.0), 30.0, 2, 12.0, 24)
NARROW = Layout("n", "narrow", 366.0, 60.0, 6.0, (190.0, 130.0, 110.0, 84.0), 34.0, 6, 11.5, 24)
# 700 px fill a page's width: a pixel is 0.74 pt on A4, and text 7.4 pt and more.
PAPER = Layout("p", "printed", 700.0, 60.0, 56.0, (92.0, 52.0, 46.0, 38.0), 23.0, 2, 11.0, 24)
LAYOUTS = (WIDE, NARROW, PAPER)


def hours(review: Review, every: int) -> list[tuple[int, str]]:
    """Local full hours at which to draw, with their labels; 23 and 25 h days come out right."""
    period = review.period
    hours_shown: list[tuple[int, str]] = []
    for at_ms in range(period.start_ms, period.end_ms, 3_600_000):
        local = period.local(at_ms)
        # An hour that comes twice is labelled once: the labels would lie on each other.
        is_again = bool(hours_shown) and at_ms - hours_shown[-1][0] < min(every, 2) * 3_600_000
        if local.minute == 0 and local.hour % every == 0 and not is_again:
            hours_shown.append((at_ms, f"{local.hour:02d}"))
    return [*hours_shown, (period.end_ms, "24")]


def hour_grid(review: Review, x: Scale, top: float, bottom: float, layout: Layout) -> list[str]:
    """Thin upright lines at the labelled hours."""
    return [
        svg.line(x(at_ms), top, x(at_ms), bottom, class_="grid hour")
        for at_ms, _ in hours(review, layout.hours)
    ]
