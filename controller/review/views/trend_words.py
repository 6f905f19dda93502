"""Significant trends in plain words."""

from __future__ import annotations

from controller import display
from controller.review.report import Review
from controller.review.trends import Trend

# How much a fan may lose at equal speed before a clogging filter is worth a look: common
# practice, no source.
_RPM_SHARE = 0.03


def trend_sentences(review: Review) -> list[str]:
    """One sentence for each significant trend."""
    return [_sentence(review, trend) for trend in review.trends if trend.is_significant]


def _sentence(review: Review, trend: Trend) -> str:
    units = review.settings.units
    if trend.kind == "fan_rpm":
        share = (trend.last - trend.first) / trend.first if trend.first else 0.0
        text = (
            f"Fan at {trend.subject}: {trend.first:.0f} → {trend.last:.0f} turns a minute over "
            f"{trend.days} days ({share * 100:+.1f} %)"
        )
        if share <= -_RPM_SHARE:
            return f"{text}; look for a clogging filter or a tired bearing."
        if share >= _RPM_SHARE:
            # A centrifugal fan that moves less air turns faster at the same setting.
            return f"{text}; a fan often turns faster when the filter or a duct lets less through."
        return f"{text}."
    if trend.kind == "sensor_temperature":
        first = display.temperature_difference(trend.first, units)
        last = display.temperature_difference(trend.last, units)
    else:
        first, last = f"{trend.first:+.1f} %", f"{trend.last:+.1f} %"
    what = "temperature" if trend.kind == "sensor_temperature" else "humidity"
    return (
        f"Sensor {trend.subject}: {what} differs by {first} → {last} over {trend.days} days; "
        "check both side by side and set the offset."
    )
