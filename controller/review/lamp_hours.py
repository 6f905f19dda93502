"""Other hours of light, as advice tries them: moved to where the intake air is cooler, or fewer."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from controller import plants
from controller.review.changes import SettingChange
from controller.review.daily_light import DailyLight, daily_light, light_wanted
from controller.review.excursions import Kind

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.review.what_if import Days

# Intake air has to be so much cooler or warmer in other hours for them to be worth a try [K].
_LEAST_K = 0.3
# A small shift, beside the best there is [h].
_SMALL_SHIFT_H = 3
_SHORTER_H = (2, 4)
_DAY_H = 24


def lamp_hours_changes(days: Days, kind: Kind) -> Iterator[SettingChange]:
    """The same hours of light at other times; against heat also fewer, if the crop has light.

    Against what is too high where the air is coolest, a little away and anywhere; against what is
    too low where it is coolest or warmest.
    """
    settings = days.settings
    lit_h = settings.lamp.photoperiod.hours
    profile_c = _profile_c(days)
    if not 0.0 < lit_h < _DAY_H or profile_c is None:
        return
    on = settings.lamp.photoperiod.lights_on
    first_h = on.hour + on.minute / 60.0
    means_c = {shift: _mean_c(profile_c, first_h + shift, lit_h) for shift in range(_DAY_H)}
    coolest = min(means_c, key=lambda shift: means_c[shift])
    if kind[1] == "above":
        near = [shift for shift in means_c if min(shift, _DAY_H - shift) <= _SMALL_SHIFT_H]
        shifts = {min(near, key=lambda shift: means_c[shift]), coolest}
    else:
        shifts = {coolest, max(means_c, key=lambda shift: means_c[shift])}
    for shift in sorted(shifts, key=lambda shift: min(shift, _DAY_H - shift)):
        if abs(means_c[shift] - means_c[0]) >= _LEAST_K:
            yield other_hours(settings, float(shift), lit_h)
    if kind[1] == "above":
        yield from _shorter(settings, profile_c, first_h, lit_h)


def _shorter(
    settings: Settings, profile_c: Sequence[float], first_h: float, lit_h: float
) -> Iterator[SettingChange]:
    """Fewer hours, cut where they are warmer; never below the light that the crop wants."""
    crop = None if settings.crop is None else settings.crop.kind
    for cut_h in _SHORTER_H:
        if lit_h <= cut_h:
            continue
        light = light_of(settings, lit_h - cut_h)
        if light is None or light.best < light_wanted(crop):
            continue
        early_c = _mean_c(profile_c, first_h, cut_h)
        late_c = _mean_c(profile_c, first_h + lit_h - cut_h, cut_h)
        yield other_hours(settings, cut_h if early_c > late_c else 0.0, lit_h - cut_h)


def other_hours(settings: Settings, later_h: float, lit_h: float) -> SettingChange:
    """Lights-on so much later, for so long."""
    was = settings.lamp.photoperiod
    on = _moved(was.lights_on, later_h)
    to = was.changed(lights_on=on, lights_off=_moved(on, lit_h))
    changed = settings.changed(lamp=settings.lamp.changed(photoperiod=to))
    return SettingChange(
        "lamp.photoperiod",
        f"{was.lights_on:%H:%M}–{was.lights_off:%H:%M}",
        f"{to.lights_on:%H:%M}–{to.lights_off:%H:%M}",
        changed,
        light=light_of(settings, lit_h),
    )


def _moved(time: dt.time, hours: float) -> dt.time:
    return (dt.datetime.combine(dt.date(2000, 1, 1), time) + dt.timedelta(hours=hours)).time()


def light_of(settings: Settings, lit_h: float) -> DailyLight | None:
    """What the lamp sheds on the floor in so many hours a day, estimated as for a record."""
    lamp_j = settings.lamp.power_w * lit_h * 3600.0
    floor_m2 = settings.tent.width_m * settings.tent.depth_m
    return daily_light(plants.lamp_ppfd(lamp_j, floor_m2) / 1e6 if lamp_j else 0.0, 1)


def _profile_c(days: Days) -> list[float] | None:
    """Mean intake temperature by hour of the day [°C]; None where an hour is never known."""
    hours: list[list[float]] = [[] for _ in range(_DAY_H)]
    for day in (*days.reviewed, *days.around):
        for mean in day.air:
            if mean.at_s >= day.start_s:
                hour = int((mean.at_s - day.start_s) // 3600.0) % _DAY_H
                hours[hour].append(mean.intake_c)
    return [sum(hour) / len(hour) for hour in hours] if all(hours) else None


def _mean_c(profile_c: Sequence[float], first_h: float, hours: float) -> float:
    """Mean of a daily profile over hours from one on, to the quarter [°C]."""
    quarters = max(1, round(4.0 * hours))
    parts = [profile_c[int(first_h + n / 4.0) % _DAY_H] for n in range(quarters)]
    return sum(parts) / quarters
