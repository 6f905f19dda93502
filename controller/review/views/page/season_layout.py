"""The time axis that the charts of several days share, and their renditions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.report import Review


class SeasonLayout(NamedTuple):
    """The sizes of a chart for a wide screen, a narrow one, or paper.

    Attributes
    ----------
    prefix, css : str
        What its identities begin with, and its class.
    width, left, right : float
        Of the drawing, and its margins [px].
    row : float
        Height of an hour in a heat map [px].
    bars : float
        Height of a chart of bars [px].
    font : float
        Size of its text [px].
    """

    prefix: str
    css: str
    width: float
    left: float
    right: float
    row: float
    bars: float
    font: float

    def axis(self, review: Review) -> Scale:
        """Days to the right, from 0 to their number."""
        return Scale(0.0, float(len(review.period.days)), self.left, self.width - self.right)


SEASON_LAYOUTS = (
    SeasonLayout("w", "wide", 960.0, 46.0, 8.0, 11.0, 140.0, 12.0),
    SeasonLayout("n", "narrow", 366.0, 32.0, 4.0, 11.0, 140.0, 11.5),
    SeasonLayout("p", "printed", 700.0, 40.0, 8.0, 3.8, 66.0, 11.0),
)


def season_chart(
    body: str, layout: SeasonLayout, height: float, name: str, title: str, description: str
) -> str:
    """One layout of a chart as an SVG element with its name and description."""
    identity = f"{layout.prefix}-{name}"
    return svg.element(
        "svg",
        svg.element("title", escape(title), id=f"{identity}-title")
        + svg.element("desc", escape(description), id=f"{identity}-desc")
        + body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {svg.num(layout.width)} {svg.num(height)}",
        role="img",
        aria_labelledby=f"{identity}-title {identity}-desc",
        class_=f"chart {layout.css}",
        font_size=layout.font,
    )


def y_grid(y: Scale, ticks: Sequence[float], layout: SeasonLayout) -> str:
    """Level lines with their values at the left."""
    left, right = layout.left, layout.width - layout.right
    return "".join(
        svg.line(left, y(tick), right, y(tick), class_="grid")
        + svg.text(left - 6, y(tick) + 4, f"{tick:g}", text_anchor="end", class_="tick")
        for tick in ticks
    )


def day_labels(review: Review, x: Scale, y: float) -> str:
    """Dates under the columns, as many as there is room for."""
    days = review.period.days
    most = max(2, int((x.end - x.start) / 62.0))
    every = max(1, -(-len(days) // most))
    return "".join(
        svg.text(
            x(n + 0.5) if len(days) <= most else x(n),
            y,
            f"{day.date.day} {day.date:%b}",
            text_anchor="middle" if len(days) <= most else "start",
            class_="tick",
        )
        for n, day in enumerate(days)
        if n % every == 0 and (len(days) <= most or x(n) + 40 < x.end + 8)
    )


def stage_changes(review: Review) -> list[tuple[int, str]]:
    """When the config's crop stage or kind changed, with both in words."""
    changes = []
    last: str | None = None
    for hour in review.hours:
        crop = review.terms.in_force(hour.config_id).settings.crop
        stage = None if crop is None else f"{crop.kind}, {crop.stage or 'stage not given'}"
        if stage is not None and stage != last:
            if last is not None:
                changes.append((hour.start_ms, f"{last} → {stage}"))
            last = stage
    return changes


def stage_lines(review: Review, x: Scale, top: float, bottom: float) -> str:
    """An upright line at each change of stage."""
    return "".join(
        svg.line(x(day), top - 6, x(day), bottom, class_="stage") for day in _stage_days(review)
    )


def _stage_days(review: Review) -> Iterator[int]:
    starts = [day.start_ms for day in review.period.days]
    for at_ms, _ in stage_changes(review):
        yield max(n for n, start in enumerate(starts) if start <= at_ms)
