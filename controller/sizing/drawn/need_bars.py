"""The four needs as bars, each with its range, against what the fan delivers."""

from __future__ import annotations

import math
from collections.abc import Iterator

from controller.display import Units
from controller.pages import svg
from controller.pages.svg import Scale
from controller.sizing import amounts as show
from controller.sizing.assess import Sizing
from controller.sizing.drawn.scales import CHART_SIZES, ChartSize, drawing, flow_unit
from controller.sizing.needs import NeedName
from controller.sizing.page import needed_flow

_LABELS: dict[NeedName, str] = {
    "air_change": "air change, the rule of thumb",
    "heat": "heat",
    "moisture": "moisture",
    "co2": "CO2",
}
_ROW = 46.0
_BAR = 14.0
_TOP = 24.0


def need_bars(sizing: Sizing, units: Units) -> str:
    """The bars in both sizes."""
    return "".join(_bars(sizing, units, size) for size in CHART_SIZES)


def _bars(sizing: Sizing, units: Units, size: ChartSize) -> str:
    bottom = _TOP + _ROW * len(_LABELS)
    x = Scale(0.0, _longest_m3_s(sizing), 4.0, size.width - 16.0)
    needs_words = ", ".join(
        f"{_LABELS[name]} {needed_flow(span, units)}"
        for name, span in sizing.need_spans_m3_s.items()
    )
    return drawing(
        size,
        bottom + 38.0,
        f"Flow needed by day: {needs_words}.",
        *_axis(x, bottom, units, size),
        *_delivered(sizing, x, bottom, units),
        *_rows(sizing, x, units),
    )


def _longest_m3_s(sizing: Sizing) -> float:
    """End of the scale: what is delivered and needed, with ranges as far as they stay in sight."""
    spans = sizing.need_spans_m3_s.values()
    best = [span.best for span in spans if math.isfinite(span.best)]
    flow = sizing.delivered_m3_s
    most = max([*best, flow.high if flow else 0.0, 1e-6])
    ranges = [min(span.high, 1.8 * most) for span in spans]
    return 1.04 * max(most, *ranges)


def _axis(x: Scale, bottom: float, units: Units, size: ChartSize) -> Iterator[str]:
    unit = flow_unit(units)
    for value in svg.round_ticks(0.0, x.high / unit.si, 4 if size.is_narrow else 8):
        at = x(value * unit.si)
        yield svg.line(at, _TOP, at, bottom, class_="grid")
        anchor = "start" if value == 0.0 else "middle"
        yield svg.text(at, bottom + 16, f"{value:g}", class_="tick", text_anchor=anchor)
    yield svg.text(x.end, bottom + 32, f"flow [{unit.name}]", class_="axis", text_anchor="end")


def _delivered(sizing: Sizing, x: Scale, bottom: float, units: Units) -> Iterator[str]:
    flow = sizing.delivered_m3_s
    if flow is None:
        return
    low, high = x(flow.low), x.clamped(flow.high)
    yield svg.rect(low, _TOP, high - low, bottom - _TOP, class_="doubt fan")
    at = x(flow.best)
    yield svg.line(at, _TOP, at, bottom, class_="line fan")
    is_late = at > (x.start + x.end) / 2
    yield svg.text(
        at,
        _TOP - 9,
        f"the fan delivers {show.computed_flow(flow.best, units)}",
        class_="name fan",
        text_anchor="end" if is_late else "start",
    )


def _rows(sizing: Sizing, x: Scale, units: Units) -> Iterator[str]:
    ruled_by = sizing.needs().ruled_by
    for number, (name, span) in enumerate(sizing.need_spans_m3_s.items()):
        top = _TOP + number * _ROW
        bar = top + 22.0
        label = f"{_LABELS[name]}: {needed_flow(span, units)}"
        css = "label rules" if name == ruled_by else "label"
        yield svg.text(x.start + 2, top + 15, label, class_=css)
        is_endless = math.isinf(span.best)
        end = x.end if is_endless else x(span.best)
        kind = "bar endless" if is_endless else "bar"
        yield svg.rect(x.start, bar, max(1.0, end - x.start), _BAR, class_=kind)
        if span.is_known or is_endless:
            continue
        middle = bar + _BAR / 2
        low, high = x.clamped(span.low), x.clamped(span.high)
        yield svg.line(low, middle, high, middle, class_="whisker")
        yield svg.line(low, middle - 5, low, middle + 5, class_="whisker")
        if span.high <= x.high:
            yield svg.line(high, middle - 5, high, middle + 5, class_="whisker")
        else:  # it goes on beyond the scale
            d = f"M{svg.num(high)} {svg.num(middle - 5)}l8 5l-8 5Z"
            yield svg.element("path", d=d, class_="beyond")
