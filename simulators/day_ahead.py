"""A tent run through air that is foreseen, and what the record has of a day: the same figures."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections.abc import Sequence
from typing import TYPE_CHECKING

from controller import air as moist
from controller.review.excursions import KINDS
from controller.timetable import Timetable
from controller.tomorrow.foresee import AirHour, DayFigures, Evening
from controller.tomorrow.hours import DAY_HOURS, HOUR_S
from simulators.learned_tent import ModelledTent, learned_errors
from simulators.rehearsal import rehearse, scene_in
from simulators.rehearsal.recorded import Knot, RecordedAir, recorded_outcome
from simulators.rehearsal.recorded_errors import RecordedErrors, corrections

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record import ReadingRow
    from controller.tomorrow.hours import RoomHours
    from simulators.rehearsal.outcome import Outcome

_TICK_S = 60.0
# Means over so long leave no noise of a sensor in a day's highest reading.
_PEAK_MEAN_S = 300.0
# A day of which less was read tells no figures.
_LEAST_READ = 0.9


class SimulatedTent:
    """A model of a config's tent; see `controller.tomorrow.foresee.TentRun`.

    Its sensors have no noise, and differ by what was learned.

    Parameters
    ----------
    settings : Settings
        As configured.
    model : ModelledTent
        The tent as learned, or as configured.
    """

    def __init__(self, settings: Settings, model: ModelledTent) -> None:
        self._settings = settings
        self._physics, self._fan = model.build(settings)
        if model.learned is not None and model.holds_for(settings):
            self._errors = learned_errors(settings, model.learned.fitted)
        else:
            offsets = {
                "tent": corrections(settings, "tent"),
                "intake": corrections(settings, "intake"),
            }
            self._errors = RecordedErrors([0.0], [0.0], [0.0], offsets)  # type: ignore[arg-type]

    def __call__(
        self,
        air: Sequence[AirHour],
        now_s: float,
        start_s: float,
        end_s: float,
        settings: Settings | None = None,
    ) -> DayFigures:
        """Run it; see `TentRun`."""
        pressure_pa = self._physics.pressure_pa
        intake = RecordedAir(iter([_knot(hour, pressure_pa) for hour in air]), pressure_pa)
        scene = scene_in(self._settings, self._physics, intake, (), self._fan)
        changed = settings or self._settings
        ticks = max(0, int((now_s - air[0].at_s) // _TICK_S))
        fan_kwh = lit_h = 0.0
        outcome: Outcome | None = None
        for from_s, until_s, in_force in (
            (now_s - ticks * _TICK_S, now_s, self._settings),
            (now_s, start_s, changed),
            (max(now_s, start_s), end_s, changed),
        ):
            if until_s <= from_s:
                continue
            outcome = rehearse(
                in_force, scene, from_s, until_s, tick_s=_TICK_S, errors=self._errors
            )
            if from_s >= now_s:
                fan_kwh += outcome.fan.energy_kwh
                lit_h += outcome.day["temperature"].total / 60.0
        assert outcome is not None, "the day ends after the evening"
        room_c = [hour.temperature_c for hour in air if start_s <= hour.at_s < end_s]
        return DayFigures(
            outcome.peak.value,
            outcome.peak.at_s,
            max(room_c),
            {(what, side): getattr(outcome.minutes(what), side) for what, side in KINDS},
            fan_kwh,
            lit_h,
        )


def _knot(hour: AirHour, pressure_pa: float) -> Knot:
    """The air as a recorded interval has it; what it can't hold is left out."""
    pct = moist.humidity_pct_from_ratio(hour.temperature_c, hour.ratio_g_kg / 1000.0, pressure_pa)
    return Knot(hour.at_s, hour.temperature_c, min(100.0, pct), None, None)


def recorded_figures(
    rows: Sequence[ReadingRow], settings: Settings, start_s: float, end_s: float
) -> DayFigures | None:
    """What a record has of a day, by a config's bands; None where too much of it is missing.

    Parameters
    ----------
    rows : sequence of ReadingRow
        Of that time, in order.
    settings : Settings
        Whose bands.
    start_s, end_s : float
        The day [Unix s].
    """
    read_s = sum(row.interval_s for row in rows if row.tent_temperature_c is not None)
    if read_s < _LEAST_READ * (end_s - start_s):
        return None
    outcome = recorded_outcome(rows, (), settings, lambda speed: 0.0, start_s, end_s)
    peak_c, peak_at_s = _highest_mean(rows)
    room_c = [row.intake_temperature_c for row in rows if row.intake_temperature_c is not None]
    minutes = {(what, side): getattr(outcome.minutes(what), side) for what, side in KINDS}
    return DayFigures(peak_c, peak_at_s, max(room_c, default=peak_c), minutes)


def _highest_mean(rows: Sequence[ReadingRow]) -> tuple[float, float]:
    """The highest mean over five minutes [°C], and when it ended [Unix s]."""
    best_c, best_s = -1e9, 0.0
    total = length_s = 0.0
    for row in rows:
        if row.tent_temperature_c is None:
            total = length_s = 0.0
            continue
        total += row.interval_s * row.tent_temperature_c
        length_s += row.interval_s
        if length_s >= _PEAK_MEAN_S - 1e-6:
            if total / length_s > best_c:
                best_c, best_s = total / length_s, row.at_ms / 1000.0
            total = length_s = 0.0
    return best_c, best_s


def evenings(
    rows: Sequence[ReadingRow], settings: Settings, hours: RoomHours, count: int
) -> list[Evening]:
    """The newest evenings of a record, at the clock time of its end, with the days that came.

    Parameters
    ----------
    rows : sequence of ReadingRow
        In order of time, those of configs that decide otherwise left out.
    settings : Settings
        Whose bands and zone.
    hours : RoomHours
        Of the whole record; hours to come begin where its measured ones end.
    count : int
        How many, the one that is now included.

    Returns
    -------
    list of Evening
        In order of time; the last one is now, and nothing came after it yet.
    """
    timetable = Timetable.from_settings(settings)
    ends_s = [row.at_ms / 1000.0 for row in rows]

    def figures(from_s: float, until_s: float) -> DayFigures | None:
        first, last = bisect_right(ends_s, from_s), bisect_right(ends_s, until_s)
        return recorded_figures(rows[first:last], settings, from_s, until_s)

    evenings = []
    for back in reversed(range(count)):
        now = len(hours.temperature_c) - back * DAY_HOURS
        if now < DAY_HOURS:
            continue
        now_s = hours.start_s + now * HOUR_S
        date = timetable.local_date(now_s - 1.0) + dt.timedelta(days=1)
        day = timetable.day(date)
        actual = figures(*day) if back else None
        evenings.append(Evening(now, *day, actual, figures(now_s - DAY_HOURS * HOUR_S, now_s)))
    return evenings
