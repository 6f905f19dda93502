"""What advice tries against a quantity out of band: settings, the lamp's hours, and plans."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from controller import display
from controller.review.changes import MORE_AIR, SettingChange, with_value
from controller.review.excursions import Kind
from controller.review.lamp_hours import lamp_hours_changes
from controller.review.plans import plans

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.fan import Purge
    from controller.review.what_if import Days

_LONGER_S = 2700.0
_PURGE_EVERY_S, _PURGE_LENGTH_S = 7200.0, 600.0
_SHORTEST_EVERY_S = 1800.0


def candidates(days: Days, kind: Kind) -> Iterator[SettingChange]:
    """What is worth trying against a kind: one step, then a longer one, of what bears on it.

    Parameters
    ----------
    days : Days
        The settings in force, and the intake air for what depends on it.
    kind : Kind
        What was out of band.
    """
    if kind in MORE_AIR:
        yield from _more_air(days.settings, kind[0])
    else:
        yield from _less_air(days.settings)
    if kind[0] != "humidity":
        yield from lamp_hours_changes(days, kind)
    yield from plans(days, kind)


def _more_air(settings: Settings, quantity: str) -> Iterator[SettingChange]:
    plan, over = settings.schedule, settings.overrides
    for name, was in (("pre_run", plan.pre_run_s), ("run_on", plan.run_on_s)):
        yield _duration(settings, f"schedule.{name}", was, was + _LONGER_S)
    if settings.fan.drive != "relay":
        for more in (0.2, 0.5):
            if plan.day_speed < 1.0:
                to = min(1.0, round(plan.day_speed + more, 2))
                yield _speed(settings, "schedule.day_speed", plan.day_speed, to)
        for to in (0.25, 0.5):
            if plan.night_speed < to and to >= settings.fan.resolved_min_speed:
                yield _speed(settings, "schedule.night_speed", plan.night_speed, to)
    yield from _purges(settings)
    watch = getattr(over, quantity)
    section = f"overrides.{quantity}"
    if watch.speed < 1.0:
        yield _speed(settings, f"{section}.speed", watch.speed, 1.0)
    if settings.quiet is not None and settings.quiet.speed < 1.0 and settings.fan.drive != "relay":
        to = min(1.0, round(settings.quiet.speed + 0.2, 2))
        yield _speed(settings, "quiet.speed", settings.quiet.speed, to)
    if watch.delay_s > 60.0:
        yield _duration(settings, f"{section}.delay", watch.delay_s, 30.0)
    if quantity == "temperature":
        was_k = over.temperature.hysteresis_k
        shown = display.temperature_difference(was_k, settings.units)
        to_k = display.temperature_difference(2.0 * was_k, settings.units)
        changed = with_value(settings, f"{section}.hysteresis_k", 2.0 * was_k)
        yield SettingChange(f"{section}.hysteresis", shown, to_k, changed)


def _purges(settings: Settings) -> Iterator[SettingChange]:
    """Purges where there are none; longer and more frequent ones where there are."""
    from controller.config.sections.fan import Purge

    was = settings.schedule.purge
    if was is None:
        for every_s in (_PURGE_EVERY_S, _PURGE_EVERY_S / 2.0):
            purge = Purge(every_s=every_s, length_s=_PURGE_LENGTH_S, speed=1.0)
            changed = with_value(settings, "schedule.purge", purge)
            yield SettingChange("schedule.purge", "none", _purge_words(purge), changed)
        return
    if 2.0 * was.length_s < was.every_s:
        yield _duration(settings, "schedule.purge.length", was.length_s, 2.0 * was.length_s)
    if was.every_s >= 2.0 * max(_SHORTEST_EVERY_S, was.length_s):
        yield _duration(settings, "schedule.purge.every", was.every_s, was.every_s / 2.0)


def _purge_words(purge: Purge) -> str:
    return (
        f"{display.duration(purge.length_s)} every {display.duration(purge.every_s)} "
        f"at {display.speed(purge.speed)}"
    )


def _less_air(settings: Settings) -> Iterator[SettingChange]:
    plan = settings.schedule
    for name, was in (("pre_run", plan.pre_run_s), ("run_on", plan.run_on_s)):
        if was > 0.0:
            yield _duration(settings, f"schedule.{name}", was, 0.0)
    if settings.fan.drive != "relay":
        least = settings.fan.resolved_min_speed
        for share in (0.75, 0.5):
            to = round(plan.day_speed * share, 2)
            if to >= least:
                yield _speed(settings, "schedule.day_speed", plan.day_speed, to)
    if plan.night_speed > 0.0:
        yield _speed(settings, "schedule.night_speed", plan.night_speed, 0.0)
    if plan.purge is not None:
        every_s = plan.purge.every_s
        yield _duration(settings, "schedule.purge.every", every_s, 2.0 * every_s)


def _duration(settings: Settings, key: str, was: float, to: float) -> SettingChange:
    changed = with_value(settings, f"{key}_s", to)
    return SettingChange(key, display.duration(was), display.duration(to), changed)


def _speed(settings: Settings, key: str, was: float, to: float) -> SettingChange:
    return SettingChange(key, display.speed(was), display.speed(to), with_value(settings, key, to))
