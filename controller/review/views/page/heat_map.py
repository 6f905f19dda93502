"""Heat maps of hour by day: each hour's mean against the band then in force."""

from __future__ import annotations

from controller.pages import svg
from controller.pages.html import paragraph, prose
from controller.review.aggregates import Hour, Weighted
from controller.review.report import Review
from controller.review.views.page.day_chart import temperature_in
from controller.review.views.page.heat_classes import HeatScale, HourMean, Measure, heat_scale
from controller.review.views.page.season_layout import (
    SEASON_LAYOUTS,
    SeasonLayout,
    day_labels,
    season_chart,
    stage_lines,
)

TITLES = {"temperature": "Temperature against its band", "vpd": "Air VPD against its band"}
# The shades of hours below their band, which bear a dash as well.
_BELOW = ("heat0", "heat1", "heat2")


def heat_map(review: Review, name: str) -> str:
    """The legend and every layout of the map of "temperature" or "vpd"."""
    scale = heat_scale([_mean(review, hour, name) for hour in review.hours], _measure(review, name))
    maps = "".join(_drawn(review, name, scale, layout) for layout in SEASON_LAYOUTS)
    return _legend(review, scale) + maps


def _measure(review: Review, name: str) -> Measure:
    if name == "vpd":
        return Measure("kPa", "kPa", 0.05, 2)
    # Data sheets of common sensors promise half a kelvin at best.
    return (
        Measure("°F", "°F", 1.0, 1) if review.settings.units == "us" else Measure("°C", "K", 0.5, 1)
    )


def _mean(review: Review, hour: Hour, name: str) -> HourMean | None:
    aggregates = hour.aggregates
    weighted: Weighted = getattr(aggregates, name)
    mean = weighted.mean
    if mean is None:
        return None
    lit = aggregates.lit_s * 2.0 >= aggregates.covered_s
    bands = review.terms.in_force(hour.config_id).bands(lit)
    if name == "vpd":
        low, high = bands.vpd_pa
        return HourMean(mean / 1000.0, low / 1000.0, high / 1000.0)
    units = review.settings.units
    low, high = (temperature_in(units, limit) for limit in bands.temperature_c)
    return HourMean(temperature_in(units, mean), low, high)


def _drawn(review: Review, name: str, scale: HeatScale, layout: SeasonLayout) -> str:
    """Days across, hours down."""
    row, left = layout.row, layout.left
    days = review.period.days
    x = layout.axis(review)
    top = 8.0
    bottom = top + 24 * row
    boxes: dict[str, list[str]] = {"heatgap": []}
    below: list[str] = []
    cell = x(1.0) - x(0.0)
    gap = 0.6 if cell > 5 else 0.0
    for day in range(len(days)):
        boxes["heatgap"].append(_box(x(day), top, cell - gap, 24 * row))
        boxes.setdefault("heatvoid", []).extend(
            _box(x(day), top + clock * row, cell - gap, row)
            for clock in _hours_skipped(review, day)
        )
    for hour, shade in zip(review.hours, scale.shades, strict=True):
        if shade is None:
            continue
        y = top + _row_of(review, hour) * row
        boxes.setdefault(shade, []).append(_box(x(hour.day), y, cell - gap, row))
        if shade in _BELOW and cell > 5:
            middle = svg.num(y + row / 2)
            below.append(f"M{svg.num(x(hour.day) + cell * 0.25)} {middle}h{svg.num(cell * 0.5)}")
    body = "".join(
        svg.element("path", d="".join(parts), class_=shade)
        for shade, parts in sorted(boxes.items(), key=lambda item: item[0] != "heatgap")
        if parts
    )
    body += svg.element("path", d="".join(below), class_="cold-marks") if below else ""
    for clock in range(0, 25, 6):
        y = top + clock * row
        body += svg.text(left - 6, y + 4, f"{clock:02d}", text_anchor="end", class_="tick")
    body += day_labels(review, x, bottom + 14.0) + stage_lines(review, x, top, bottom)
    words = _describe(review, name, scale)
    return season_chart(body, layout, bottom + 22.0, f"{name}-heat", TITLES[name], words)


def _box(x: float, y: float, width: float, height: float) -> str:
    return f"M{svg.num(x)} {svg.num(y)}h{width:.2f}v{svg.num(height)}h{-width:.2f}z"


def _hours_skipped(review: Review, day: int) -> list[int]:
    """Clock hours that a day of less than 24 hours did not have."""
    span = review.period.days[day]
    if span.minutes >= 24 * 60:
        return []
    existing = {
        review.period.local(at_ms).hour for at_ms in range(span.start_ms, span.end_ms, 1_800_000)
    }
    return [hour for hour in range(24) if hour not in existing]


def _row_of(review: Review, hour: Hour) -> float:
    """The row of its local clock hour; the hour that comes twice in autumn shares its row."""
    return float(review.period.local(hour.start_ms).hour)


def _legend(review: Review, scale: HeatScale) -> str:
    keys = "".join(
        '<li><svg viewBox="0 0 14 14" aria-hidden="true"><rect width="14" height="14" '
        f'class="{shade.css}"/>'
        + ('<path d="M3.5 7h7" class="cold-marks"/>' if shade.css in _BELOW else "")
        + f"</svg>{prose(shade.label)}</li>"
        for shade in scale.legend
    )
    hours = sum(round(day.minutes / 60.0) for day in review.period.days)
    if sum(shade is not None for shade in scale.shades) < hours:
        keys += (
            '<li><svg viewBox="0 0 14 14" aria-hidden="true">'
            '<rect width="14" height="14" class="heatgap"/></svg>no reading</li>'
        )
    return f'<ul class="keys">{keys}</ul>{paragraph(scale.note, "faint note")}'


def _describe(review: Review, name: str, scale: HeatScale) -> str:
    minutes = review.figures.quantity(name).minutes
    return (
        f"Of {len(review.period.days)} days, {minutes.below / 60.0:.1f} hours below the band, "
        f"{minutes.within / 60.0:.1f} in it, {minutes.above / 60.0:.1f} above it and "
        f"{minutes.missing / 60.0:.1f} without a value. {scale.note} "
        "The table under Days has each day."
    )
