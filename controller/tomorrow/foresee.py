"""The day after an evening: what the tent will do, checked against what it did after past ones.

An evening is any instant; its day is the local day after. For each of the last evenings in the
record the forecast is worked out again from what was known then (a hindcast) and held against the
day that came. What was always missed is added, and the rest tells the interval. Without the air
outdoors nothing is added: what was missed for some nights is then mostly weather, and it turns
(`tests/benches/tomorrow_nightly.sh`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple, Protocol

from controller.review.excursions import KINDS, Kind
from controller.tomorrow.blend import (
    SHARES_ALONE,
    Comparison,
    RoomForecast,
    Shares,
    compared,
    forecast_room,
    learned_share,
)
from controller.tomorrow.hours import HOUR_S, OutdoorHours, RoomHours
from controller.tomorrow.intervals import (
    FIRST_HALF_K,
    FIRST_HALF_MIN,
    NORMAL_90,
    correction,
    half_width,
    left_out_errors,
)

if TYPE_CHECKING:
    from controller.config import Settings

MOST_HINDCASTS = 20
"""So many past evenings are looked at."""

RUN_IN_HOURS = 12
"""A simulated tent begins so long before the evening: what its contents hold, no sensor sees."""

_DAY_MIN = 1440.0


class AirHour(NamedTuple):
    """The air drawn in at an instant: Unix s, °C, g/kg."""

    at_s: float
    temperature_c: float
    ratio_g_kg: float


class DayFigures(NamedTuple):
    """What a day came to, or would.

    Attributes
    ----------
    peak_c, peak_at_s : float
        The highest temperature that the tent's sensors read [°C], and when [Unix s].
    room_peak_c : float
        The highest of the air drawn in [°C].
    minutes : dict
        Time out of band, by `KINDS` [min].
    fan_kwh, lit_h : float
        What the fan draws [kWh] and how long the lamp is lit [h] from the evening to its end; 0
        where the day was recorded.
    """

    peak_c: float
    peak_at_s: float
    room_peak_c: float
    minutes: dict[Kind, float]
    fan_kwh: float = 0.0
    lit_h: float = 0.0


class Evening(NamedTuple):
    """An evening and its day.

    Attributes
    ----------
    now : int
        The first hour to come, on the grid of the hours.
    start_s, end_s : float
        The day after it [Unix s].
    actual : DayFigures or None
        What that day came to; None where it is not over, or not recorded under a config like this.
    before : DayFigures or None
        What the 24 hours before the evening came to: "as today".
    """

    now: int
    start_s: float
    end_s: float
    actual: DayFigures | None
    before: DayFigures | None


class TentRun(Protocol):
    """Runs a tent through given air, with the decisions of the daemon."""

    def __call__(
        self,
        air: Sequence[AirHour],
        now_s: float,
        start_s: float,
        end_s: float,
        settings: Settings | None = None,
    ) -> DayFigures:
        """Give the figures of the day from `start_s` to `end_s`.

        Parameters
        ----------
        air : sequence of AirHour
            From some hours before `now_s` to `end_s`.
        now_s, start_s, end_s : float
            The evening and its day [Unix s].
        settings : Settings or None
            What holds from the evening on; None for what held before.
        """


class ForecastBasis(NamedTuple):
    """What forecasts are made of.

    Attributes
    ----------
    hours : RoomHours
        The record.
    outdoors : OutdoorHours or None
        The air outdoors, past and forecast.
    lamp_w : float
        The lamp's power [W].
    run : TentRun
        The tent.
    """

    hours: RoomHours
    outdoors: OutdoorHours | None
    lamp_w: float
    run: TentRun


class Hindcast(NamedTuple):
    """A past evening's forecast beside the day that came.

    Attributes
    ----------
    end_s : float
        When its day ended [Unix s].
    temperature, ratio : Comparison
        How the room's two forecasts did.
    forecast, actual : DayFigures
        Before anything is added for what was always missed, and what came.
    before : DayFigures or None
        "As today".
    """

    end_s: float
    temperature: Comparison
    ratio: Comparison
    forecast: DayFigures
    actual: DayFigures
    before: DayFigures | None

    @property
    def missed_k(self) -> float:
        """Actual less forecast peak [K]."""
        return self.actual.peak_c - self.forecast.peak_c

    @property
    def as_today_error_k(self) -> float | None:
        """Actual peak less that of the 24 hours before [K]."""
        return None if self.before is None else self.actual.peak_c - self.before.peak_c


class Estimated(NamedTuple):
    """A figure with its 90 % interval."""

    value: float
    low: float
    high: float


class Expectation(NamedTuple):
    """The day after an evening.

    Attributes
    ----------
    forecast : RoomForecast
        Of the room.
    shares : Shares
        How much the learned room counts in it.
    air : list of AirHour
        What the tent draws in, hours before included.
    figures : DayFigures
        Of the tent in it.
    peak_c : Estimated
        What was always missed is added, where the air outdoors is known [°C].
    minutes : dict of Kind to Estimated
        Time out of band [min].
    added_k : float
        What was added to the peak [K].
    hindcasts : tuple of Hindcast
        Of the past evenings that it rests on.
    """

    forecast: RoomForecast
    shares: Shares
    air: list[AirHour]
    figures: DayFigures
    peak_c: Estimated
    minutes: dict[Kind, Estimated]
    added_k: float
    hindcasts: tuple[Hindcast, ...]


def hindcast(basis: ForecastBasis, evening: Evening, before: Sequence[Hindcast]) -> Hindcast | None:
    """Work a past evening's forecast out again; None where too little is known of it."""
    if evening.actual is None:
        return None
    foreseen = _foreseen(basis, evening, _judged_by(basis, evening, before))
    if foreseen is None:
        return None
    forecast, _, _, figures = foreseen
    first = max(0, round((evening.start_s - basis.hours.start_s) / HOUR_S) - evening.now)
    until = evening.now + len(forecast.temperature.learned)
    hours = basis.hours
    return Hindcast(
        evening.end_s,
        compared(forecast.temperature, hours.temperature_c[evening.now : until], first),
        compared(forecast.ratio, hours.ratio_g_kg[evening.now : until], first),
        figures,
        evening.actual,
        evening.before,
    )


def hindcast_all(basis: ForecastBasis, evenings: Iterable[Evening]) -> list[Hindcast]:
    """Hindcast evenings in their order, each with those before it; without the unknown ones."""
    hindcasts: list[Hindcast] = []
    for evening in evenings:
        newest = hindcast(basis, evening, hindcasts)
        if newest is not None:
            hindcasts.append(newest)
    return hindcasts


def expect(
    basis: ForecastBasis, evening: Evening, hindcasts: Sequence[Hindcast]
) -> Expectation | None:
    """Foresee the day after an evening; None where too little is known of the day before it."""
    judged = _judged_by(basis, evening, hindcasts)
    foreseen = _foreseen(basis, evening, judged)
    if foreseen is None:
        return None
    forecast, shares, air, figures = foreseen
    warmer = figures
    if basis.outdoors is not None:
        warmer = _run(basis, evening, _air(basis, evening, forecast, shares, NORMAL_90))
    missed_k = [each.missed_k for each in judged]
    added_k = correction(missed_k) if basis.outdoors is not None else 0.0
    peak_c = figures.peak_c + added_k
    half_k = _half(basis, missed_k, warmer.peak_c - figures.peak_c, FIRST_HALF_K)
    return Expectation(
        forecast,
        shares,
        air,
        figures,
        Estimated(peak_c, peak_c - half_k, peak_c + half_k),
        {kind: _minutes(basis, kind, figures, warmer, judged) for kind in KINDS},
        added_k,
        judged,
    )


def _judged_by(
    basis: ForecastBasis, evening: Evening, hindcasts: Sequence[Hindcast]
) -> tuple[Hindcast, ...]:
    """The newest of those whose day was over on that evening."""
    now_s = basis.hours.start_s + evening.now * HOUR_S
    return tuple(each for each in hindcasts if each.end_s <= now_s)[-MOST_HINDCASTS:]


def _foreseen(
    basis: ForecastBasis, evening: Evening, judged: Sequence[Hindcast]
) -> tuple[RoomForecast, Shares, list[AirHour], DayFigures] | None:
    hours = basis.hours
    until = min(len(hours.lit), math.ceil((evening.end_s - hours.start_s) / HOUR_S))
    forecast = forecast_room(hours, basis.outdoors, evening.now, until, basis.lamp_w)
    if forecast is None:
        return None
    shares = SHARES_ALONE
    if basis.outdoors is not None:
        shares = Shares(
            learned_share([each.temperature for each in judged]),
            learned_share([each.ratio for each in judged]),
        )
    air = _air(basis, evening, forecast, shares)
    return forecast, shares, air, _run(basis, evening, air)


def _run(basis: ForecastBasis, evening: Evening, air: Sequence[AirHour]) -> DayFigures:
    now_s = basis.hours.start_s + evening.now * HOUR_S
    return basis.run(air, now_s, evening.start_s, evening.end_s)


def _air(
    basis: ForecastBasis,
    evening: Evening,
    forecast: RoomForecast,
    shares: Shares,
    errors: float = 0.0,
) -> list[AirHour]:
    """The air around the evening: as recorded, then as expected; or warmer and moister by so many
    standard errors of the outdoor forecast.
    """
    hours, now = basis.hours, evening.now
    air = []
    for i in range(max(0, now - RUN_IN_HOURS), now):
        temperature_c, ratio = hours.temperature_c[i], hours.ratio_g_kg[i]
        if temperature_c is not None and ratio is not None:
            air.append(AirHour(hours.middle_s(i), temperature_c, ratio))
    columns = []
    for course, share in (
        (forecast.temperature, shares.temperature),
        (forecast.ratio, shares.ratio),
    ):
        pairs = zip(course.blended(share), course.outdoor_error, strict=True)
        columns.append([value + errors * share * error for value, error in pairs])
    for i, (temperature_c, ratio) in enumerate(zip(*columns, strict=True), now):
        air.append(AirHour(hours.middle_s(i), temperature_c, max(0.0, ratio)))
    return air


def _minutes(
    basis: ForecastBasis,
    kind: Kind,
    figures: DayFigures,
    warmer: DayFigures,
    judged: Sequence[Hindcast],
) -> Estimated:
    missed = [each.actual.minutes[kind] - each.forecast.minutes[kind] for each in judged]
    half = _half(basis, missed, warmer.minutes[kind] - figures.minutes[kind], FIRST_HALF_MIN)
    added = correction(missed) if basis.outdoors is not None else 0.0
    value = _within_day(figures.minutes[kind] + added)
    return Estimated(value, _within_day(value - half), _within_day(value + half))


def _half(basis: ForecastBasis, missed: Sequence[float], by_outdoors: float, first: float) -> float:
    """Half an interval: by past errors and the outdoor forecast's; `first` for both where these are
    few, unless one of them was larger.
    """
    errors = left_out_errors(missed) if basis.outdoors is not None else missed
    half = half_width(errors)
    if half is None:
        return max(first, abs(by_outdoors), *map(abs, errors))
    return math.hypot(half, by_outdoors)


def _within_day(minutes: float) -> float:
    return min(_DAY_MIN, max(0.0, minutes))
