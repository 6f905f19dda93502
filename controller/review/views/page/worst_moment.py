"""The moment of a day that was furthest out of band, where the slider starts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from controller import display
from controller.review.compare import FAR_OUT
from controller.review.phrases import NAMES
from controller.review.report import Review
from controller.review.series import Point


class WorstMoment(NamedTuple):
    """Which point of a series it is, and a sentence about why."""

    step: int
    note: str


class _OutOfBand(NamedTuple):
    """How far a quantity was out of band, in multiples of `FAR_OUT` and in its SI unit."""

    far: float
    step: int
    quantity: str
    by: float


def worst_moment(review: Review, series: Sequence[Point]) -> WorstMoment:
    """The point furthest out of band; the warmest where none was out.

    Distances of different quantities compare as in advice, by `FAR_OUT`.
    """
    units = review.settings.units
    worst = max(
        (out for step, point in enumerate(series) for out in _out_of_band(step, point)),
        key=lambda out: out.far,
        default=None,
    )
    if worst is not None:
        first, second, third = (_amount(name, by, review) for name, by in FAR_OUT.items())
        name = NAMES[worst.quantity]
        return WorstMoment(
            worst.step,
            "Shown first: the moment furthest out of band, "
            f"{name if name == 'VPD' else name.lower()} "
            f"{_amount(worst.quantity, abs(worst.by), review)} "
            f"{'above' if worst.by > 0 else 'below'} it "
            f"({first}, {second} and {third} count as equally far).",
        )
    known = [n for n, point in enumerate(series) if point.temperature_c is not None]
    if not known:
        return WorstMoment(0, "Shown first: the first reading; no temperature was measured.")
    warmest = max(known, key=lambda n: series[n].temperature_c or 0.0)
    highest = display.temperature(series[warmest].temperature_c or 0.0, units)
    return WorstMoment(warmest, f"Shown first: the highest temperature, {highest}.")


def _out_of_band(step: int, point: Point) -> Iterator[_OutOfBand]:
    for quantity, value, low, high in (
        ("temperature", point.temperature_c, point.temperature_low, point.temperature_high),
        ("humidity", point.humidity_pct, point.humidity_low, point.humidity_high),
        ("vpd", point.vpd_pa, point.vpd_low, point.vpd_high),
    ):
        if value is not None:
            by = max(0.0, value - high) + min(0.0, value - low)
            if by:
                yield _OutOfBand(abs(by) / FAR_OUT[quantity], step, quantity, by)


def _amount(quantity: str, by: float, review: Review) -> str:
    if quantity == "temperature":
        return display.temperature_difference(by, review.settings.units)
    return display.humidity(by) if quantity == "humidity" else display.vpd(by)
