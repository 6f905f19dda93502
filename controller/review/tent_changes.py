"""What the daemon found to have changed in the tent within hours, or of its sensors.

Found by `controller.learning.sudden` and `controller.learning.drift`, and recorded with what was
expected and what was observed; here it is only read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, cast

from controller.review.deviations import Deviation, DeviationKind
from controller.review.segments import GAP_MS, Segment
from controller.review.source import RecordSource

_LOOK_BACK_MS = 30 * 86_400_000
_LEAST_MS = 60_000.0
_KINDS = ("reduced_transpiration", "little_rise", "less_air", "sensor_drift")


def find_tent_changes(
    source: RecordSource, known: Sequence[Deviation], segments: Sequence[Segment]
) -> list[Deviation]:
    """Every change of the period, in order of its start.

    One that stands over night was seen in the light alone: so many hours are told as were lit.

    Parameters
    ----------
    source : RecordSource
        The record and its period.
    known : sequence of Deviation
        What the config alone shows: the same is not said twice.
    segments : sequence of Segment
        When the lamp was lit.
    """
    lit = list(_lit_stretches(segments))
    period = source.period
    changes = [
        change._replace(
            start_ms=max(change.start_ms, float(period.start_ms)),
            end_ms=min(change.end_ms, float(period.end_ms)),
        )
        for whole in _spans(source)
        for change in _while_lit(whole, lit)
        if change.end_ms > period.start_ms and change.start_ms < period.end_ms
    ]
    return [change for change in changes if not any(_is_same(change, other) for other in known)]


def _lit_stretches(segments: Sequence[Segment]) -> Iterator[tuple[float, float]]:
    """From and until [Unix ms] of each stretch in which the lamp was lit."""
    begun: tuple[float, float] | None = None
    for segment in segments:
        if not segment.lit:
            continue
        if begun is not None and segment.start_ms <= begun[1] + GAP_MS:
            begun = begun[0], segment.end_ms
            continue
        if begun is not None:
            yield begun
        begun = segment.start_ms, segment.end_ms
    if begun is not None:
        yield begun


def _while_lit(whole: Deviation, lit: Sequence[tuple[float, float]]) -> Iterator[Deviation]:
    """The parts of a change that lie in the light; a sensor's drift as it is."""
    if whole.kind == "sensor_drift":
        yield whole
        return
    for from_ms, until_ms in lit:
        start_ms, end_ms = max(whole.start_ms, from_ms), min(whole.end_ms, until_ms)
        if end_ms - start_ms >= _LEAST_MS:
            yield whole._replace(start_ms=start_ms, end_ms=end_ms)


def _is_same(change: Deviation, other: Deviation) -> bool:
    return (
        change.kind == other.kind
        and change.start_ms < other.end_ms
        and other.start_ms < change.end_ms
    )


def _spans(source: RecordSource) -> Iterator[Deviation]:
    period = source.period
    newest = source.reader.span()
    until_ms = float(min(period.end_ms, newest[1] if newest else period.end_ms))
    ongoing: dict[str, Deviation] = {}
    names = ["tent.changed", "tent.recovered", "alarm.cleared"]
    for event in source.reader.events(period.start_ms - _LOOK_BACK_MS, period.end_ms, names):
        # A drift that was found by night ends with its alarm.
        kind = str(event.data.get("kind", event.data.get("alarm")))
        if event.name == "tent.changed":
            change = _change(kind, float(event.at_ms), event.data)
            if change is not None:
                ongoing.setdefault(kind, change)
        elif kind in ongoing and (event.name == "tent.recovered" or kind == "sensor_drift"):
            yield ongoing.pop(kind)._replace(end_ms=float(event.at_ms))
    for change in ongoing.values():
        yield change._replace(end_ms=max(until_ms, change.start_ms))


def _change(kind: str, at_ms: float, data: Mapping[str, Any]) -> Deviation | None:
    """One change as recorded; None where it is of another version or damaged."""
    if kind not in _KINDS:
        return None
    change = Deviation(
        cast("DeviationKind", kind),
        at_ms,
        at_ms,
        compared_with=str(data.get("compared_with", "")),
        or_sensor=data.get("or_sensor") is True,
    )
    try:
        if kind == "sensor_drift":
            return change._replace(sensor_off=(float(data["off_k"]), float(data["off_pct"])))
        (rise_k, low_k, high_k), moisture = _expected(data, "k"), _expected(data, "g_kg")
        return change._replace(
            observed_k=rise_k,
            low_k=low_k,
            high_k=high_k,
            moisture_g_kg=moisture,
            air_share=float(data["share"]) if kind == "less_air" else None,
            water_share=float(data["share"]) if kind == "reduced_transpiration" else None,
        )
    except (KeyError, TypeError, ValueError):
        return None


def _expected(data: Mapping[str, Any], unit: str) -> tuple[float, float, float]:
    """Observed, and expected at least and at most."""
    observed, expected, doubt = (
        float(data[f"{name}_{unit}"]) for name in ("observed", "expected", "doubt")
    )
    return observed, expected - doubt, expected + doubt
