"""The values behind the cursor, as words ready to be shown."""

from __future__ import annotations

import json
from collections.abc import Sequence

from controller import display
from controller.display import unbroken
from controller.review.report import Review
from controller.review.segments import Segment
from controller.review.series import Point
from controller.review.views.page.worst_moment import worst_moment
from controller.wording import rule_words

_STEPS = 288


def readout_data(review: Review, series: Sequence[Point]) -> str:
    """JSON safe inside a script element: [instant, words] of each step, and which comes first."""
    every = max(1, -(-len(series) // _STEPS))
    worst = worst_moment(review, series).step
    chosen = sorted({*range(0, len(series), every), worst})
    data = {
        "first": chosen.index(worst),
        "start": review.period.start_ms,
        "end": review.period.end_ms,
        "steps": [[round(series[n].middle_ms), _words(review, series[n])] for n in chosen],
    }
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


def _words(review: Review, point: Point) -> str:
    units = review.settings.units
    parts = [f"{review.period.local(point.middle_ms):%H:%M}"]
    if point.temperature_c is not None:
        parts.append(display.temperature(point.temperature_c, units))
    if point.humidity_pct is not None:
        parts.append(display.humidity(point.humidity_pct))
    if point.vpd_pa is not None:
        parts.append(f"VPD {display.vpd(point.vpd_pa)}")
    if point.intake_c is not None:
        parts.append(f"intake {display.temperature(point.intake_c, units)}")
    segment = _run_at(review.segments, point.middle_ms)
    if point.fan_speed is not None:
        reason = (
            f" ({rule_words(segment.rule)})" if segment is not None and point.fan_speed > 0 else ""
        )
        parts.append(f"fan {display.speed(point.fan_speed)}{reason}")
    if segment is not None:
        parts.append("lamp lit" if segment.lit else "lamp dark")
    return unbroken(" · ".join(parts))


def _run_at(segments: Sequence[Segment], at_ms: float) -> Segment | None:
    from bisect import bisect_right

    index = bisect_right(segments, at_ms, key=lambda segment: segment.start_ms) - 1
    return segments[index] if index >= 0 and segments[index].end_ms > at_ms else None
