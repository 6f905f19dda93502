"""Recorded days run once more: the recorded intake air around a simulated tent, day by day.

A replay of the config that was in force stands beside replays of the same days with something
changed. The days are those under review and others recorded around them. Every replay decides and
counts by sensors that err as the recorded ones did on the days under review; on the other days, as
they did on average.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.review.excursions import KINDS, Kind
from controller.review.period import Day, Period

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record import ReadingRow
    from controller.review.changes import SettingChange
    from controller.review.source import RecordSource
    from controller.tent_physics import TentPhysics
    from simulators.fan import Fan
    from simulators.learned_tent import ModelledTent
    from simulators.rehearsal.recorded import Knot
    from simulators.rehearsal.recorded_errors import RecordedErrors

# Longer periods take longer than a reader waits for.
LONGEST_DAYS = 14
# How many days a change is judged on at most, those under review included.
MOST_JUDGED = 15
# How far from the reviewed days the others may be [days].
_REACH = 14
# The intake air is brought to means over this long, as fine as a room changes.
_STEP_S = 600
# The share of a day whose intake air has to be known.
_KNOWN_SHARE = 0.9
# A day's replay begins so long before it, for what the tent's contents keep of the hours before.
_BEFORE_S = 3 * 3600.0
_TICK_S = 60.0

_COLUMNS = {
    "at_s": "avg(at_ms / 1000.0 - 0.5 * interval_s)",
    "intake_c": "avg(intake_temperature_c)",
    "intake_pct": "avg(intake_humidity_pct)",
    "tent_c": "avg(tent_temperature_c)",
    "tent_pct": "avg(tent_humidity_pct)",
    "known_s": "sum(interval_s)",
}
_INTAKE = """
FROM readings
WHERE at_ms > ?1 AND at_ms <= ?2
    AND intake_temperature_c IS NOT NULL AND intake_humidity_pct IS NOT NULL
GROUP BY (at_ms - 1 - ?1) / ?3 ORDER BY 1
"""
_NEWEST_CONFIG = """
SELECT config_id FROM readings WHERE at_ms > ? AND at_ms <= ? ORDER BY at_ms DESC LIMIT 1
"""


class AirMean(NamedTuple):
    """Means over a step of the intake air, and of the tent's where it is known.

    Attributes
    ----------
    at_s : float
        The middle of what was recorded [Unix s].
    intake_c, intake_pct, tent_c, tent_pct : float or None
        Temperature [°C] and relative humidity [%].
    known_s : float
        The time recorded [s].
    """

    at_s: float
    intake_c: float
    intake_pct: float
    tent_c: float | None
    tent_pct: float | None
    known_s: float


class RecordedDay(NamedTuple):
    """A local day and its intake air.

    Attributes
    ----------
    date : datetime.date
        Which.
    start_s, end_s : float
        Its first instant and that of the next day [Unix s].
    air : sequence of AirMean
        Its intake air, with that of the hours before.
    """

    date: dt.date
    start_s: float
    end_s: float
    air: Sequence[AirMean]


class Days(NamedTuple):
    """What changes are judged on.

    Attributes
    ----------
    settings : Settings
        In force at the end of the period.
    reviewed : tuple of RecordedDay
        The days under review; empty where too much of their intake air is missing.
    around : tuple of RecordedDay
        Others, in order of time.
    model : ModelledTent
        Of the simulated tent: as learned where the record has a learning.
    """

    settings: Settings
    reviewed: tuple[RecordedDay, ...]
    around: tuple[RecordedDay, ...]
    model: ModelledTent


class ReplayedDay(NamedTuple):
    """What a day would have come to, as its sensors would have read it.

    Attributes
    ----------
    date : datetime.date
        Which day.
    minutes : dict
        Time out of each band, by `conditions.KINDS` [min].
    hours : dict
        Distance from the band times time, likewise [K·h, %·h or Pa·h].
    peak_c : float
        The highest temperature [°C].
    warning_min : float
        Time above the heat warning [min].
    fan_kwh, lamp_kwh : float
        Energy [kWh].
    """

    date: dt.date
    minutes: dict[Kind, float]
    hours: dict[Kind, float]
    peak_c: float
    warning_min: float
    fan_kwh: float
    lamp_kwh: float


def read_days(source: RecordSource) -> Days:
    """What the record has of the period and of the days around it."""
    from simulators.learned_tent import recorded_model

    period = source.period
    newest = source.rows(_NEWEST_CONFIG, period.start_ms, period.end_ms)
    settings = source.terms.in_force(next((config_id for (config_id,) in newest), None)).settings
    model = recorded_model(source.reader, settings, period.end_ms)
    reach = dt.timedelta(days=_REACH)
    wide = Period.between(period.zone, period.days[0].date - reach, period.days[-1].date + reach)
    first_ms = wide.start_ms - round(_BEFORE_S * 1000.0)
    rows = [
        AirMean(**row)
        for row in source.select(_COLUMNS, _INTAKE, first_ms, wide.end_ms, _STEP_S * 1000)
    ]
    known = [day for day in _known_days(wide.days, rows) if day is not None]
    dates = [day.date for day in period.days]
    reviewed = tuple(day for day in known if day.date in dates)
    newest_ms = rows[-1].at_s * 1000.0 + _STEP_S * 1000.0 if rows else 0.0
    over = [day for day in period.days if day.end_ms <= newest_ms]  # today is still to come
    if not reviewed or len(reviewed) < _KNOWN_SHARE * len(over):
        return Days(settings, (), (), model)
    middle = dates[0] + (dates[-1] - dates[0]) / 2
    others = sorted(
        (day for day in known if day.date not in dates), key=lambda day: abs(day.date - middle)
    )
    around = others[: max(0, MOST_JUDGED - len(reviewed))]
    return Days(settings, reviewed, tuple(sorted(around, key=lambda day: day.date)), model)


def _known_days(days: Sequence[Day], rows: Sequence[AirMean]) -> Iterator[RecordedDay | None]:
    """Each day whose intake air is known for long enough."""
    times = [row.at_s for row in rows]
    for day in days:
        start_s, end_s = day.start_ms / 1000.0, day.end_ms / 1000.0
        first, last = bisect_left(times, start_s), bisect_left(times, end_s)
        known_s = sum(row.known_s for row in rows[first:last])
        if known_s >= _KNOWN_SHARE * (end_s - start_s):
            before = bisect_left(times, start_s - _BEFORE_S)
            yield RecordedDay(day.date, start_s, end_s, rows[before:last])


def replay_day(
    settings: Settings,
    day: RecordedDay,
    *,
    physics: TentPhysics,
    fan: Fan,
    errors: RecordedErrors,
    cooler_k: float = 0.0,
) -> ReplayedDay:
    """Run a config through a day.

    Parameters
    ----------
    settings : Settings
        The config's.
    day : RecordedDay
        The day.
    physics, fan
        Of that config.
    errors : RecordedErrors
        By how much the sensors err.
    cooler_k : float
        How much cooler than recorded the intake air is taken to be, as moist [K].
    """
    from simulators.rehearsal import rehearse, scene_in
    from simulators.rehearsal.recorded import RecordedAir

    knots = list(_knots(day, cooler_k))
    intake = RecordedAir(iter(knots), physics.pressure_pa)
    scene = scene_in(settings, physics, intake, (), fan)
    ticks = int((day.start_s - knots[0].at_s) // _TICK_S)
    if ticks > 0:
        before_s = day.start_s - ticks * _TICK_S
        rehearse(settings, scene, before_s, day.start_s, tick_s=_TICK_S, errors=errors)
    outcome = rehearse(settings, scene, day.start_s, day.end_s, tick_s=_TICK_S, errors=errors)
    counted = {(what, side): outcome.minutes(what) for what, side in KINDS}
    lit_h = outcome.day["temperature"].total / 60.0
    return ReplayedDay(
        date=day.date,
        minutes={kind: getattr(band, kind[1]) for kind, band in counted.items()},
        hours={kind: getattr(band, f"hours_{kind[1]}") for kind, band in counted.items()},
        peak_c=outcome.peak.value,
        warning_min=outcome.heat_warning_min,
        fan_kwh=outcome.fan.energy_kwh,
        lamp_kwh=lit_h * settings.lamp.power_w / 1000.0,
    )


def _knots(day: RecordedDay, cooler_k: float) -> Iterator[Knot]:
    """The recorded intake air; cooled, it keeps its vapour as far as it can hold it."""
    from simulators.rehearsal.recorded import Knot

    for mean in day.air:
        knot = Knot(mean.at_s, mean.intake_c, mean.intake_pct, mean.tent_c, mean.tent_pct)
        if cooler_k:
            cooled_c = knot.intake_c - cooler_k
            vapour_pa = knot.intake_pct * air.saturation_vapour_pressure_pa(knot.intake_c)
            pct = min(100.0, vapour_pa / air.saturation_vapour_pressure_pa(cooled_c))
            knot = knot._replace(intake_c=cooled_c, intake_pct=pct)
        yield knot


class WhatIf:
    """The days as configured and as changed.

    Parameters
    ----------
    days : Days
        What is run once more; at least one day is under review.
    rows : iterable of ReadingRow
        The readings of the days under review and of the hours before.
    progress : callable
        Told after each day's replay how many there have been.

    Attributes
    ----------
    errors : RecordedErrors
        How the recorded sensors erred against the model, with its means and what is left.
    before : list of ReplayedDay
        The days under review as configured.
    """

    def __init__(
        self,
        days: Days,
        rows: Iterable[ReadingRow],
        progress: Callable[[int], None] = lambda _: None,
    ) -> None:
        from simulators.rehearsal.recorded_errors import intervals, recorded_errors

        self._days = days
        self._progress = progress
        self._replays = 0
        self._model = days.model.build(days.settings)
        self._tried: dict[tuple[str, str], list[ReplayedDay]] = {}
        self._before_around: list[ReplayedDay] | None = None
        self.errors = recorded_errors(intervals(rows), days.settings, *self._model)
        self.before = self._run(days.reviewed)

    @property
    def days(self) -> Days:
        """What is run once more."""
        return self._days

    @property
    def settings(self) -> Settings:
        """Those in force: what is changed and replayed."""
        return self._days.settings

    @property
    def count(self) -> int:
        """How many changes were replayed."""
        return len(self._tried)

    @property
    def before_around(self) -> list[ReplayedDay]:
        """The days around them as configured."""
        if self._before_around is None:
            self._before_around = self._run(self._days.around)
        return self._before_around

    def reviewed(self, change: SettingChange) -> list[ReplayedDay]:
        """The days under review with a change made."""
        key = change.key, change.to
        if key not in self._tried:
            self._tried[key] = self._run(self._days.reviewed, change)
        return self._tried[key]

    def around(self, change: SettingChange) -> list[ReplayedDay]:
        """The days around them with a change made."""
        return self._run(self._days.around, change)

    def _run(
        self, days: Sequence[RecordedDay], change: SettingChange | None = None
    ) -> list[ReplayedDay]:
        settings, (physics, fan), cooler_k = self.settings, self._model, 0.0
        if change is not None:
            settings, cooler_k = change.settings, change.cooler_k
            if settings.fan is not self.settings.fan:
                physics, fan = self._days.model.build(settings)
        replayed = []
        for day in days:
            replayed.append(
                replay_day(
                    settings,
                    day,
                    physics=physics,
                    fan=fan,
                    errors=self.errors,
                    cooler_k=cooler_k,
                )
            )
            self._replays += 1
            self._progress(self._replays)
        return replayed


def what_if(
    source: RecordSource, days: Days, progress: Callable[[int], None] = lambda _: None
) -> WhatIf | None:
    """The days of a record, to be changed; None where too much intake air is missing."""
    if not days.reviewed:
        return None
    first_s = max(days.reviewed[0].start_s - _BEFORE_S, days.reviewed[0].air[0].at_s)
    last_s = days.reviewed[-1].end_s
    rows = source.reader.readings(round(first_s * 1000.0), round(last_s * 1000.0) + 1)
    return WhatIf(days, rows, progress)
