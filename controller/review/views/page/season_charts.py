"""Weeks and seasons: heat maps of hour × day, and each day's range."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from controller import display
from controller.pages import svg
from controller.pages.svg import Scale
from controller.review.aggregates import Hour, Weighted
from controller.review.report import Review
from controller.review.views.page.day_chart import temperature_in

# Steps of the scale beyond the band, in the quantity's unit: [K] and [Pa].
_STEPS = {"temperature": (1.0, 3.0), "vpd": (150.0, 500.0)}
_ROW = 11.0


def season_section(review: Review) -> str:
    """The charts of several days, each for a wide and a narrow screen."""
    charts = []
    for name in ("temperature", "vpd"):
        charts.append(f"<h3>{escape(_TITLES[name])}</h3>" + _legend(review, name))
        charts += [heat_map(review, name, prefix, width) for prefix, width in _RENDITIONS]
    charts.append("<h3>Each day's range of temperature</h3>")
    charts += [range_chart(review, prefix, width) for prefix, width in _RENDITIONS]
    stages = stage_changes(review)
    note = "".join(
        f"<li>{escape(review.period.when(at_ms))}: {escape(words_)}</li>"
        for at_ms, words_ in stages
    )
    return (
        '<section class="picture" aria-labelledby="course"><h2 id="course">Hour by day</h2>'
        f'<figure>{"".join(charts)}<figcaption class="faint">The same by day in the table under '
        "“Days”.</figcaption></figure>"
        + (f"<h3>Crop stages</h3><ul>{note}</ul>" if note else "")
        + "</section>"
    )


_TITLES = {"temperature": "Temperature against its band", "vpd": "Air VPD against its band"}
_RENDITIONS = (("w", 960.0), ("n", 366.0))


def _css(prefix: str) -> str:
    return f"chart {'wide' if prefix == 'w' else 'narrow'}"


def _axis(width: float) -> tuple[float, float]:
    """Left end and right end of the days."""
    return (46.0, width - 8.0) if width > 500 else (32.0, width - 4.0)


def heat_map(review: Review, name: str, prefix: str, width: float) -> str:
    """Days across, hours down; each hour's mean against the band then in force."""
    left, right = _axis(width)
    days = review.period.days
    x = Scale(0.0, float(len(days)), left, right)
    top = 8.0
    bottom = top + 24 * _ROW
    classes: dict[str, list[str]] = {}
    cold: list[str] = []
    cell = x(1.0) - x(0.0)
    gap = 0.6 if cell > 5 else 0.0
    for day in range(len(days)):
        classes.setdefault("gap", []).append(_box(x(day), top, cell - gap, 24 * _ROW))
        for clock in _hours_skipped(review, day):
            classes.setdefault("void", []).append(
                _box(x(day), top + clock * _ROW, cell - gap, _ROW)
            )
    for hour in review.hours:
        step = _class_of(review, hour, name)
        if step is None:
            continue
        y = top + _row_of(review, hour) * _ROW
        classes.setdefault(str(step), []).append(_box(x(hour.day), y, cell - gap, _ROW))
        if step < 3 and cell > 5:
            middle = svg.num(y + _ROW / 2)
            cold.append(f"M{svg.num(x(hour.day) + cell * 0.25)} {middle}h{svg.num(cell * 0.5)}")
    body = "".join(
        svg.element("path", d="".join(boxes), class_=f"heat{step}")
        for step, boxes in sorted(classes.items(), key=lambda item: item[0] != "gap")
    )
    body += svg.element("path", d="".join(cold), class_="cold-marks") if cold else ""
    for clock in range(0, 25, 6):
        y = top + clock * _ROW
        body += svg.text(left - 6, y + 4, f"{clock:02d}", text_anchor="end", class_="tick")
    body += _day_labels(review, x, bottom + 14.0, width) + _stage_lines(review, x, top, bottom)
    return _figure(
        body, prefix, width, bottom + 22.0, f"{name}-heat", _TITLES[name], _describe(review, name)
    )


def _box(x: float, y: float, width: float, height: float) -> str:
    return f"M{svg.num(x)} {svg.num(y)}h{width:.2f}v{svg.num(height)}h{-width:.2f}z"


def _hours_skipped(review: Review, day: int) -> list[int]:
    """Clock hours that a day of less than 24 hours did not have."""
    span = review.period.days[day]
    if span.minutes >= 24 * 60:
        return []
    lived = {
        review.period.local(at_ms).hour for at_ms in range(span.start_ms, span.end_ms, 1_800_000)
    }
    return [hour for hour in range(24) if hour not in lived]


def _row_of(review: Review, hour: Hour) -> float:
    """The row of its local clock hour; the hour lived twice in autumn shares its row."""
    return float(review.period.local(hour.start_ms).hour)


def _class_of(review: Review, hour: Hour, name: str) -> int | None:
    """0 far below the band … 3 inside … 6 far above it; None where nothing was known."""
    aggregates = hour.aggregates
    weighted: Weighted = getattr(aggregates, name)
    mean = weighted.mean
    if mean is None:
        return None
    lit = aggregates.lit_s * 2.0 >= aggregates.covered_s
    bands = review.terms.in_force(hour.config_id).bands(lit)
    low, high = bands.temperature_c if name == "temperature" else bands.vpd_pa
    near, far = _STEPS[name]
    if mean > high:
        return 4 + (mean > high + near) + (mean > high + far)
    if mean < low:
        return 2 - (mean < low - near) - (mean < low - far)
    return 3


def _legend(review: Review, name: str) -> str:
    near, far = _STEPS[name]
    units = review.settings.units

    def amount(value: float) -> str:
        if name == "temperature":
            return display.temperature_difference(value, units)
        return display.vpd(value)

    labels = (
        f"over {amount(far)} below", f"to {amount(far)} below", f"to {amount(near)} below",
        "in band",
        f"to {amount(near)} above", f"to {amount(far)} above", f"over {amount(far)} above",
    )  # fmt: skip
    keys = "".join(
        '<li><svg viewBox="0 0 14 14" aria-hidden="true"><rect width="14" height="14" '
        f'class="heat{step}"/>'
        + ('<path d="M3.5 7h7" class="cold-marks"/>' if step < 3 else "")
        + f"</svg>{escape(label)}</li>"
        for step, label in enumerate(labels)
    )
    return (
        f'<ul class="keys">{keys}<li><svg viewBox="0 0 14 14" aria-hidden="true">'
        '<rect width="14" height="14" class="heatgap"/></svg>no reading</li></ul>'
    )


def range_chart(review: Review, prefix: str, width: float) -> str:
    """Lowest to highest of each day, with its mean."""
    units = review.settings.units
    left, right = _axis(width)
    x = Scale(0.0, float(len(review.period.days)), left, right)
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
    top, bottom = 8.0, 148.0
    y = Scale(low, high, bottom, top)
    body = ""
    for tick in svg.round_ticks(low, high, 4):
        body += svg.line(left, y(tick), right, y(tick), class_="grid")
        body += svg.text(left - 6, y(tick) + 4, f"{tick:g}", text_anchor="end", class_="tick")
    band = review.terms.present.day.temperature_c
    upper, lower = (y.clamped(temperature_in(units, v)) for v in (band.high, band.low))
    body += svg.rect(left, upper, right - left, max(0.0, lower - upper), class_="band")
    thick = max(1.0, min(9.0, 0.5 * (x(1.0) - x(0.0))))
    bars, dots = [], []
    for n, t in known:
        at = x(n + 0.5)
        assert t.lowest is not None and t.highest is not None and t.mean is not None
        lowest, highest, mean = (temperature_in(units, v) for v in (t.lowest, t.highest, t.mean))
        bars.append(f"M{svg.num(at)} {svg.num(y(lowest))}V{svg.num(y(highest))}")
        dots.append(svg.rect(at - thick, y(mean) - 1, 2 * thick, 2.0, class_="meandot"))
    body += svg.element(
        "path",
        d="".join(bars),
        class_="range",
        stroke_width=thick,
        stroke_opacity=0.45,
        fill="none",
    )
    body += "".join(dots)
    body += _day_labels(review, x, bottom + 16.0, width) + _stage_lines(review, x, top, bottom)
    degree = "°F" if units == "us" else "°C"
    return _figure(
        body, prefix, width, bottom + 24.0, "range", f"Range of temperature, {degree}",
        "Each day's lowest, mean and highest temperature; shaded: the present band by day. "
        "The table under Days has the same values.",
    )  # fmt: skip


def _figure(
    body: str, prefix: str, width: float, height: float, name: str, title: str, description: str
) -> str:
    identity = f"{prefix}-{name}"
    return svg.element(
        "svg",
        svg.element("title", escape(title), id=f"{identity}-title")
        + svg.element("desc", escape(description), id=f"{identity}-desc")
        + body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {svg.num(width)} {svg.num(height)}",
        role="img",
        aria_labelledby=f"{identity}-title {identity}-desc",
        class_=_css(prefix),
        font_size=12 if prefix == "w" else 11.5,
    )


def _describe(review: Review, name: str) -> str:
    minutes = review.figures.quantity(name).minutes
    return (
        f"Of {len(review.period.days)} days, {minutes.below / 60.0:.1f} hours below the band, "
        f"{minutes.within / 60.0:.1f} in it, {minutes.above / 60.0:.1f} above it and "
        f"{minutes.missing / 60.0:.1f} without a value. The table under Days has each day."
    )


def _day_labels(review: Review, x: Scale, y: float, width: float) -> str:
    """Dates under the columns, as many as there is room for."""
    days = review.period.days
    most = max(2, int((x.end - x.start) / 62.0))
    every = max(1, -(-len(days) // most))
    return "".join(
        svg.text(
            x(n + 0.5) if len(days) <= most else x(n),
            y,
            f"{day.date.day} {day.date:%b}" if width > 0 else "",
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


def _stage_lines(review: Review, x: Scale, top: float, bottom: float) -> str:
    return "".join(_stage_line(review, x, at_ms, top, bottom) for at_ms in _stage_times(review))


def _stage_times(review: Review) -> Iterator[int]:
    for at_ms, _ in stage_changes(review):
        yield at_ms


def _stage_line(review: Review, x: Scale, at_ms: int, top: float, bottom: float) -> str:
    day = _day_index(review, at_ms)
    return svg.line(x(day), top - 6, x(day), bottom, class_="stage")


def _day_index(review: Review, at_ms: int) -> int:
    starts: Sequence[int] = [day.start_ms for day in review.period.days]
    return max(n for n, start in enumerate(starts) if start <= at_ms)
