"""What can still be done tonight against a hot tomorrow: each is run, only what helps is said."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal, NamedTuple

from controller import display
from controller.review.changes import SettingChange, with_value
from controller.review.excursions import Kind
from controller.review.lamp_hours import other_hours
from controller.timetable import Timetable
from controller.tomorrow.blend import with_lamp
from controller.tomorrow.foresee import AirHour, DayFigures, Evening, Expectation, ForecastBasis
from controller.tomorrow.hours import HOUR_S, lit_share

if TYPE_CHECKING:
    from controller.config import Settings

LEAST_GAIN_K = 0.3
"""A change that lowers the peak by less is not said [K]."""

TOO_HOT: Kind = ("temperature", "above")

LEAST_HOT_MIN = 15.0
"""A tomorrow that is shorter above its band needs nothing."""
_SHIFTS_H = (-6, -3, 3, 6, 12)
_CUTS_H = (2, 4)
_NIGHT_SPEEDS = (0.25, 0.5, 1.0)
# An open window is taken to bring the room's air halfway to that outdoors (engineering judgement,
# no source).
_AIRED_SHARE = 0.5
# What is done tonight is done so long before tomorrow begins, where that is still to come [s].
_TONIGHT_S = 4 * HOUR_S

What = Literal["lamp_shifted", "lamp_shortened", "night_speed", "room_aired"]


class TonightChange(NamedTuple):
    """Something to do tonight.

    Attributes
    ----------
    what : str
        Which kind of thing.
    key, was, to : str
        The config's key, empty where it is no setting; its value and the one tried, in the user's
        units.
    settings : Settings or None
        With the change made; None where no setting changes.
    """

    what: What
    key: str
    was: str
    to: str
    settings: Settings | None


class Tried(NamedTuple):
    """A change and what it comes to.

    Attributes
    ----------
    change : TonightChange
        Which.
    peak_c, gain_k : float
        Tomorrow's peak with it [°C], and by how much that is lower [K].
    hot_min : float
        Time above the band tomorrow [min].
    more_kwh : float
        What fan and lamp draw more from tonight to the end of tomorrow [kWh].
    more_light_h : float
        How much longer the lamp is lit in that time [h].
    """

    change: TonightChange
    peak_c: float
    gain_k: float
    hot_min: float
    more_kwh: float
    more_light_h: float


def try_tonight(
    basis: ForecastBasis, evening: Evening, expected: Expectation, settings: Settings
) -> list[Tried]:
    """Run all changes; the best of each kind that gains enough, the best first.

    Parameters
    ----------
    basis, evening, expected
        What the expectation was made of.
    settings : Settings
        Those in force.
    """
    if expected.minutes[TOO_HOT].value < LEAST_HOT_MIN:
        return []
    best: dict[str, Tried] = {}
    tonight_s = max(basis.hours.start_s + evening.now * HOUR_S, evening.start_s - _TONIGHT_S)
    without = basis.run(expected.air, tonight_s, evening.start_s, evening.end_s)
    tonight = _Tonight(basis, evening, expected, settings, tonight_s, without)
    for change in tonight_changes(settings, with_outdoors=basis.outdoors is not None):
        tried = _tried(tonight, change)
        if tried.gain_k < LEAST_GAIN_K:
            continue
        before = best.get(change.what)
        if before is None or tried.gain_k > before.gain_k:
            best[change.what] = tried
    return sorted(best.values(), key=lambda tried: -tried.gain_k)


class _Tonight(NamedTuple):
    """What changes are tried on: from `tonight_s` on [Unix s], against the day `without` any."""

    basis: ForecastBasis
    evening: Evening
    expected: Expectation
    settings: Settings
    tonight_s: float
    without: DayFigures


def tonight_changes(settings: Settings, *, with_outdoors: bool) -> Iterator[TonightChange]:
    """What is worth a try."""
    lit_h = settings.lamp.photoperiod.hours
    if 0.0 < lit_h < 24.0 and settings.lamp.power_w > 0.0:
        for shift_h in _SHIFTS_H:
            yield _as_tonight("lamp_shifted", other_hours(settings, shift_h % 24, lit_h))
        for cut_h in _CUTS_H:
            if lit_h > cut_h:
                for later_h in (0.0, float(cut_h)):
                    change = other_hours(settings, later_h, lit_h - cut_h)
                    yield _as_tonight("lamp_shortened", change)
    was = settings.schedule.night_speed
    speeds = (1.0,) if settings.fan.drive == "relay" else _NIGHT_SPEEDS
    for speed in speeds:
        if speed > was and speed >= settings.fan.resolved_min_speed:
            changed = with_value(settings, "schedule.night_speed", speed)
            yield TonightChange(
                "night_speed",
                "schedule.night_speed",
                display.speed(was),
                display.speed(speed),
                changed,
            )
    if with_outdoors:
        yield TonightChange("room_aired", "", "", "", None)


def _as_tonight(what: What, change: SettingChange) -> TonightChange:
    return TonightChange(what, change.key, change.was, change.to, change.settings)


def _tried(tonight: _Tonight, change: TonightChange) -> Tried:
    basis, evening, expected, settings, tonight_s, without = tonight
    air = [hour for hour in expected.air if hour.at_s < tonight_s]
    ahead = expected.air[len(air) :]
    if change.settings is None:
        ahead = _aired(basis, ahead)
    elif change.what in ("lamp_shifted", "lamp_shortened"):
        ahead = _with_other_lamp(tonight, change.settings, ahead)
    figures = basis.run(air + ahead, tonight_s, evening.start_s, evening.end_s, change.settings)
    gain_k = without.peak_c - figures.peak_c
    more_light_h = figures.lit_h - without.lit_h
    return Tried(
        change,
        expected.peak_c.value - gain_k,
        gain_k,
        max(
            0.0,
            expected.minutes[TOO_HOT].value + figures.minutes[TOO_HOT] - without.minutes[TOO_HOT],
        ),
        figures.fan_kwh - without.fan_kwh + more_light_h * settings.lamp.power_w / 1000.0,
        more_light_h,
    )


def _aired(basis: ForecastBasis, ahead: list[AirHour]) -> list[AirHour]:
    """The air drawn in where the room is open while it is cooler outdoors."""
    assert basis.outdoors is not None
    aired = []
    for hour in ahead:
        i = basis.hours.hour_of(hour.at_s)
        outside_c, outside = basis.outdoors.temperature_c[i], basis.outdoors.ratio_g_kg[i]
        if outside_c is None or outside is None or outside_c >= hour.temperature_c:
            aired.append(hour)
            continue
        aired.append(
            AirHour(
                hour.at_s,
                hour.temperature_c + _AIRED_SHARE * (outside_c - hour.temperature_c),
                hour.ratio_g_kg + _AIRED_SHARE * (outside - hour.ratio_g_kg),
            )
        )
    return aired


def _with_other_lamp(tonight: _Tonight, settings: Settings, ahead: list[AirHour]) -> list[AirHour]:
    """The air drawn in where the lamp warms the room at other hours."""
    hours, timetable = tonight.basis.hours, Timetable.from_settings(settings)
    first = tonight.evening.now
    until = hours.hour_of(ahead[-1].at_s) + 1
    planned = hours.lit[first:until]
    starts_s = [hours.start_s + i * HOUR_S for i in range(first, until)]
    changed = [
        lit_share(timetable, start_s, start_s + HOUR_S) if start_s >= tonight.tonight_s else lit
        for start_s, lit in zip(starts_s, planned, strict=True)
    ]
    added = zip(*with_lamp(tonight.expected.forecast, planned, changed), strict=True)
    return [
        AirHour(hour.at_s, hour.temperature_c + k, max(0.0, hour.ratio_g_kg + more))
        for hour, (k, more) in zip(ahead, list(added)[-len(ahead) :], strict=True)
    ]
