"""How far the record can be trusted, and the alarms of the period."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from controller.record import EventRow, RecordError
from controller.record.reader import MOST_SENSORS
from controller.review.segments import Gap
from controller.review.source import LIT, RecordSource

if TYPE_CHECKING:
    from controller.review.figures import Counted

# A stretch without readings counts as missed readings from half an interval on.
_MISSED_FROM = 0.5
# The most lenient judgement finds a sensor that sticks within this.
_LONGEST_UNMOVED_MS = 2 * 86_400_000
_LOOK_BACK_MS = 30 * 86_400_000
_NAMES = (
    *("daemon.started", "daemon.stopped", "clock.stepped", "sensor.failed", "sensor.recovered"),
    *(
        "lamp.cut",
        "lamp.restored",
        "record.set_aside",
        "record.failed",
        "config.reloaded",
        "config.loaded",
        "config.rejected",
    ),
)


class ActiveSpan(NamedTuple):
    """Something that began and, perhaps, ended: an alarm or a sensor's fault.

    Attributes
    ----------
    what : str
        Its name: of the alarm, or of the sensor.
    detail : str
        Priority or fault.
    start_ms, end_ms : float
        Cut at the period's ends [Unix ms].
    is_active : bool
        Whether it had not ended by the end of the period.
    acknowledged_ms : float or None
        When a person acknowledged it [Unix ms].
    title : str
        What is the matter, as recorded; may be empty.
    unmoved_ms : float or None
        Of a sensor that sticks: since when its values have not moved [Unix ms].
    """

    what: str
    detail: str
    start_ms: float
    end_ms: float
    is_active: bool = False
    acknowledged_ms: float | None = None
    title: str = ""
    unmoved_ms: float | None = None

    @property
    def words(self) -> str:
        """What it is, for people."""
        return self.title or self.what.replace("_", " ")

    @property
    def minutes(self) -> float:
        """How long it was active in the period [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0


class Co2Span(NamedTuple):
    """Carbon dioxide of a period: mean, lowest, highest [ppm], lit minutes of too little of it."""

    mean: float
    lowest: float
    highest: float
    low_minutes: float = 0.0


@dataclass(slots=True)
class Quality:
    """What is known about the data itself.

    Attributes
    ----------
    gaps : list of Gap
        Stretches without readings, those still to come left out.
    minutes_to_come : float
        What is left of a period that is not over [min].
    minutes_jumped_over : float
        What of the gaps a clock that was set forward jumped over [min]: time that did not pass, or
        in which the daemon did not run.
    minutes_twice : float
        What a clock that was set back let come again [min]: once in the time in and out of band.
    readings_missed : int
        How many readings would have filled the gaps.
    failures, tried : dict
        Failed or refused measurements, and all that were tried, by sensor.
    tried_estimated : set of str
        Sensors of which the record does not count what was tried, in part at least.
    co2_ppm : dict
        Carbon dioxide, by the sensors that measured it.
    beyond_range : dict
        For how long a sensor read the upper end of its range [min], by sensor.
    """

    gaps: list[Gap] = field(default_factory=list)
    minutes_to_come: float = 0.0
    minutes_jumped_over: float = 0.0
    minutes_twice: float = 0.0
    readings: int = 0
    readings_missed: int = 0
    failures: dict[str, int] = field(default_factory=dict)
    tried: dict[str, int] = field(default_factory=dict)
    tried_estimated: set[str] = field(default_factory=set)
    co2_ppm: dict[str, Co2Span] = field(default_factory=dict)
    beyond_range: dict[str, float] = field(default_factory=dict)
    sensor_faults: list[ActiveSpan] = field(default_factory=list)
    lamp_cuts: list[ActiveSpan] = field(default_factory=list)
    starts_ms: list[int] = field(default_factory=list)
    unclean_starts: int = 0
    clock_steps: list[tuple[int, float]] = field(default_factory=list)
    config_changes_ms: list[int] = field(default_factory=list)
    configs_unreadable: int = 0
    record_begins_ms: int | None = None


def judge(source: RecordSource, counted: Counted, now_ms: float) -> Quality:
    """Gather what is known about the data of the period.

    Parameters
    ----------
    source : RecordSource
        The record.
    counted : Counted
        The figures, and the stretches without readings.
    now_ms : float
        The present [Unix ms]: what lies after it is not missing.
    """
    period = source.period
    interval_ms = 1000.0 * source.terms.present.settings.record.interval_s
    whole, gaps = counted.whole, counted.gaps
    quality = Quality(readings=whole.readings, configs_unreadable=len(source.terms.unreadable))
    quality.minutes_to_come = max(0.0, period.end_ms - max(now_ms, period.start_ms)) / 60_000.0
    for gap in gaps:
        past = Gap(gap.start_ms, min(gap.end_ms, now_ms))
        if past.end_ms - past.start_ms >= _MISSED_FROM * interval_ms:
            quality.gaps.append(past)
            quality.readings_missed += round((past.end_ms - past.start_ms) / interval_ms)
    span = source.reader.span()
    quality.record_begins_ms = span[0] if span else None
    _count_measurements(source, quality)
    _take_events(source, quality)
    quality.minutes_jumped_over = sum(
        max(0.0, min(gap.end_ms, at_ms) - max(gap.start_ms, at_ms - 1000.0 * by_s)) / 60_000.0
        for at_ms, by_s in quality.clock_steps
        for gap in quality.gaps
    )
    read_min = whole.minutes - sum(gap.minutes for gap in gaps)
    quality.minutes_twice = max(0.0, whole.covered_minutes - read_min)
    return quality


_LOW_CO2_MINUTES = f"""
SELECT s.sensor, sum(r.interval_s) / 60.0
FROM sensor_readings s JOIN readings r ON r.at_ms = s.at_ms
    JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
WHERE s.at_ms > ? AND s.at_ms <= ? AND s.co2_ppm < m.low_ppm
GROUP BY s.sensor
"""
_BEYOND_RANGE = """
SELECT total(r.interval_s) / 60.0
FROM sensor_readings s JOIN readings r ON r.at_ms = s.at_ms
WHERE s.at_ms > ? AND s.at_ms <= ? AND s.sensor = ? AND s.temperature_c >= ?
"""


def _count_measurements(source: RecordSource, quality: Quality) -> None:
    """What each sensor was asked and failed to say."""
    from controller.sensors.data_sheets import reads_to_c
    from controller.sensors.open_sensors import read_period_s

    ends_ms = source.period.start_ms, source.period.end_ms
    settings = source.terms.present.settings
    in_tent = {sensor.name for sensor in settings.sensors if sensor.role == "tent"}
    low_minutes = {
        str(name): minutes
        for name, minutes in source.rows(_LOW_CO2_MINUTES, *ends_ms)
        if name in in_tent
    }
    end_c = {sensor.name: reads_to_c(sensor) for sensor in settings.sensors}
    periods_s = {sensor.name: read_period_s(sensor) for sensor in settings.sensors}
    sensors = source.rows(
        "SELECT sensor, sum(failures), total(attempts), sum(attempts IS NULL), max(temperature_c), "
        "avg(co2_ppm), min(co2_ppm), max(co2_ppm) "
        "FROM sensor_readings WHERE at_ms > ? AND at_ms <= ? GROUP BY sensor",
        *ends_ms,
    )
    for number, (sensor, failures, tried, uncounted, hottest_c, *co2) in enumerate(sensors, 1):
        if number > MOST_SENSORS:
            raise RecordError(f"{source.reader.path}: {number} sensors and more can't be a tent's")
        name = str(sensor)
        if hottest_c is not None and hottest_c >= end_c.get(name, math.inf):
            quality.beyond_range[name] = source.value(_BEYOND_RANGE, *ends_ms, name, end_c[name])
        if co2[0] is not None:
            quality.co2_ppm[name] = Co2Span(*co2)._replace(low_minutes=low_minutes.get(name, 0.0))
        if failures:
            quality.failures[name] = int(failures)
        if uncounted:
            if name not in periods_s:
                continue  # of another config, and nobody knows how often it was asked
            tried += uncounted * settings.record.interval_s / periods_s[name]
            quality.tried_estimated.add(name)
        quality.tried[name] = round(max(tried, failures))


def _unmoved_ms(source: RecordSource, fault: ActiveSpan) -> float | None:
    """Since when the values of a sensor that sticks have not moved, before it was found out."""
    rows = source.rows(
        "SELECT at_ms, temperature_c, humidity_pct FROM sensor_readings WHERE sensor = ? "
        "AND at_ms <= ? AND at_ms > ? AND temperature_c IS NOT NULL ORDER BY at_ms DESC",
        fault.what,
        fault.start_ms,
        fault.start_ms - _LONGEST_UNMOVED_MS,
    )
    since_ms = last = None
    for at_ms, temperature_c, humidity_pct in rows:
        last = last or (temperature_c, humidity_pct)
        if (temperature_c, humidity_pct) != last:
            break
        since_ms = float(at_ms)
    return since_ms


def _take_events(source: RecordSource, quality: Quality) -> None:
    period = source.period
    stopped_cleanly = True
    faults, cuts = [], []
    for event in source.reader.events(period.start_ms - _LOOK_BACK_MS, period.end_ms, _NAMES):
        inside = event.at_ms >= period.start_ms
        if event.name == "daemon.stopped":
            stopped_cleanly = True
        elif event.name == "daemon.started":
            if inside:
                quality.starts_ms.append(event.at_ms)
                quality.unclean_starts += not stopped_cleanly
            stopped_cleanly = False
        elif event.name.startswith("sensor."):
            faults.append(event)
        elif event.name.startswith("lamp."):
            cuts.append(event)
        elif inside and event.name == "clock.stepped":
            by_s = event.data.get("by_s")
            quality.clock_steps.append(
                (event.at_ms, float(by_s) if isinstance(by_s, int | float) else 0.0)
            )
    quality.sensor_faults = [
        fault._replace(unmoved_ms=_unmoved_ms(source, fault)) if fault.detail == "stuck" else fault
        for fault in _active_spans(source, faults, "sensor.failed", "sensor.recovered", "sensor")
    ]
    quality.lamp_cuts = _active_spans(source, cuts, "lamp.cut", "lamp.restored", "lamp")
    quality.config_changes_ms = [
        config.at_ms
        for config in source.reader.configs()[1:]
        if period.start_ms <= config.at_ms < period.end_ms
    ]


def find_alarms(source: RecordSource) -> list[ActiveSpan]:
    """The alarms that were active in the period."""
    period = source.period
    events = list(source.reader.events(period.start_ms - _LOOK_BACK_MS, period.end_ms, ["alarm.*"]))
    return _active_spans(source, events, "alarm.raised", "alarm.cleared", "alarm")


def _active_spans(
    source: RecordSource, events: Sequence[EventRow], begins: str, ends: str, key: str
) -> list[ActiveSpan]:
    """Pair beginnings with endings by the field `key`."""
    period = source.period
    ongoing: dict[str, ActiveSpan] = {}
    spans = []
    for event in events:
        what = str(event.data.get(key, event.data.get("name", key)))
        if event.name == begins:
            detail = event.data.get("fault") or event.data.get("priority") or ""
            title = str(event.data.get("title") or "")
            began = event.data.get("began_ms")  # an alarm is raised its on-delay later
            start_ms = min(event.at_ms, began) if isinstance(began, int) else event.at_ms
            ongoing.setdefault(
                what, ActiveSpan(what, str(detail), start_ms, event.at_ms, title=title)
            )
        elif what in ongoing and event.name == ends:
            spans.append(ongoing.pop(what)._replace(end_ms=float(event.at_ms)))
        elif what in ongoing and event.name.endswith(".acknowledged"):
            ongoing[what] = ongoing[what]._replace(acknowledged_ms=float(event.at_ms))
    newest = source.reader.span()
    until_ms = float(min(period.end_ms, newest[1] if newest else period.end_ms))
    spans += [
        span._replace(end_ms=max(until_ms, span.start_ms), is_active=True)
        for span in ongoing.values()
    ]
    cut = [
        span._replace(
            start_ms=max(span.start_ms, float(period.start_ms)),
            end_ms=min(span.end_ms, float(period.end_ms)),
        )
        for span in spans
        if span.end_ms >= period.start_ms
    ]
    return sorted(cut, key=lambda span: span.start_ms)
