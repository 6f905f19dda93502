"""Photoperiod, pre-run, run-on, purges and other durations against one another."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from controller import display
from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath

_DAY_S = 86_400.0
_PRE_RUN: KeyPath = ("schedule", "pre_run")
_RUN_ON: KeyPath = ("schedule", "run_on")
_LAMP: KeyPath = ("lamp", "photoperiod")


def _seconds(time: datetime.time) -> float:
    return time.hour * 3600.0 + time.minute * 60.0 + time.second


def lit_s(on: datetime.time, off: datetime.time, same_means: str) -> float:
    """Length of the photoperiod [s] on a day without a clock change."""
    length = (_seconds(off) - _seconds(on)) % _DAY_S
    return _DAY_S if length == 0.0 and same_means == "always" else length


def _fan_hours_end(view: CheckedConfig) -> Iterator[Objection]:
    """Pre-run, photoperiod and run-on fit into a day; always lit or never, nothing has to fit."""
    plan, hours = view.settings.schedule, view.settings.lamp.photoperiod
    lit = lit_s(hours.lights_on, hours.lights_off, hours.same_means)
    total = plan.pre_run_s + lit + plan.run_on_s
    if 0.0 < lit < _DAY_S < total:
        longer, shorter = (
            (_PRE_RUN, _RUN_ON) if plan.pre_run_s >= plan.run_on_s else (_RUN_ON, _PRE_RUN)
        )
        yield Objection(
            view.written(longer, shorter, _LAMP),
            f"pre-run {display.duration(plan.pre_run_s)}, photoperiod {display.duration(lit)} and "
            f"run-on {display.duration(plan.run_on_s)} make "
            f"{display.hours_and_minutes(total / 60.0)}, so the fan hours would never end",
            "24 h at most; for a fan that never rests set `schedule.night_speed`",
            (_PRE_RUN, _RUN_ON, _LAMP),
        )


def _same_means_is_used(view: CheckedConfig) -> Iterator[Objection]:
    """`same_means` says something about equal times only."""
    hours = view.settings.lamp.photoperiod
    path: KeyPath = (*_LAMP, "same_means")
    if hours.same_means == "never" and hours.lights_on != hours.lights_off:
        yield Objection(
            path,
            "`same_means` has no effect, since on and off differ",
            "equal times, or no `same_means`",
            (_LAMP,),
            is_warning=True,
        )


def _equal_times_say_what_they_mean(view: CheckedConfig) -> Iterator[Objection]:
    """Equal times are lit day and night, or a mistake; the config says which."""
    hours = view.settings.lamp.photoperiod
    path: KeyPath = (*_LAMP, "same_means")
    if hours.lights_on == hours.lights_off and not view.is_written(path):
        yield Objection(
            (*_LAMP, "off"),
            f"the lamp goes on and off at {hours.lights_on:%H:%M}, which is taken as lit day and "
            "night",
            "another time, or `same_means: always` (never dark) or `never` (never lit)",
            ((*_LAMP, "on"), path),
            is_warning=True,
        )


def _purge(view: CheckedConfig) -> Iterator[Objection]:
    """A purge ends before the next begins, and is worth its start."""
    purge, fan, plan = view.settings.schedule.purge, view.settings.fan, view.settings.schedule
    if purge is None:
        return
    base: KeyPath = ("schedule", "purge")
    every, length, speed = (*base, "every"), (*base, "length"), (*base, "speed")
    if purge.length_s >= purge.every_s:
        yield Objection(
            length,
            f"a purge of {display.duration(purge.length_s)} does not end before the next, "
            f"{display.duration(purge.every_s)} after its start",
            "`length` below `every`; for a fan that never rests set `schedule.night_speed`",
            (every,),
        )
    elif purge.length_s < fan.min_on_s:
        yield Objection(
            length,
            f"each purge will last {display.duration(fan.min_on_s)}, the fan's shortest run",
            "`length` of at least `fan.min_on`",
            (("fan", "min_on"),),
            is_warning=True,
        )
    most = fan.resolved_most_starts
    if most is not None and plan.night_speed == 0.0 and _DAY_S / purge.every_s > most:
        yield Objection(
            every,
            f"a purge every {display.duration(purge.every_s)} would start the fan more often than "
            f"{most} times a day, so some are left out",
            "`every` longer, or a higher `fan.most_starts`",
            (("fan", "most_starts"), ("schedule", "night_speed"), ("fan", "drive")),
            is_warning=True,
        )
    if purge.speed <= min(plan.day_speed, plan.night_speed):
        yield Objection(
            view.written(speed, base),
            f"a purge at {display.speed(purge.speed)} has no effect, since the schedule always "
            "gives as much",
            "a `speed` above `schedule.night_speed`",
            (("schedule", "day_speed"), ("schedule", "night_speed")),
            is_warning=True,
        )


def _dark_duty(view: CheckedConfig) -> Iterator[Objection]:
    """A duty leaves rests, and runs and rests as long as the fan's minimum times; relays only."""
    duty, fan = view.settings.overrides.dark_duty, view.settings.fan
    if duty is None:
        return
    base: KeyPath = ("overrides", "dark_duty")
    every, length = (*base, "every"), (*base, "length")
    if duty.length_s >= duty.every_s:
        yield Objection(
            view.written(length, base),
            f"a run of {display.duration(duty.length_s)} does not end before the next, "
            f"{display.duration(duty.every_s)} after its start",
            "`length` below `every`; for a fan that runs all the time no `dark_duty`",
            (every,),
        )
        return
    if fan.drive != "relay":
        yield Objection(
            base,
            "`dark_duty` has no effect, since this fan can turn slowly instead",
            "no `dark_duty`; a slower `overrides.dark_speed` or `speed`",
            (("fan", "drive"),),
            is_warning=True,
        )
        return
    rest_s = duty.every_s - duty.length_s
    for what, path, shown_s, least_s, key in (
        ("run", length, duty.length_s, fan.min_on_s, "min_on"),
        ("rest", every, rest_s, fan.min_off_s, "min_off"),
    ):
        if shown_s < least_s:
            yield Objection(
                view.written(path, base),
                f"each {what} of the duty in the dark will last {display.duration(least_s)}, the "
                f"fan's shortest {what}, instead of {display.duration(shown_s)}",
                f"a {what} of at least `fan.{key}`",
                (every, length, ("fan", key)),
                is_warning=True,
            )
    hours, most = view.settings.lamp.photoperiod, fan.resolved_most_starts
    dark_s = _DAY_S - lit_s(hours.lights_on, hours.lights_off, hours.same_means)
    if most is not None and dark_s / duty.every_s > most:
        yield Objection(
            view.written(every, base),
            f"a run every {display.duration(duty.every_s)} of "
            f"{display.hours_and_minutes(dark_s / 60.0)} in the dark would start the fan more "
            f"often than {most} times a day, so some rests last longer",
            "`every` longer, or a higher `fan.most_starts`",
            (("fan", "most_starts"), _LAMP),
            is_warning=True,
        )


def _quiet_has_hours(view: CheckedConfig) -> Iterator[Objection]:
    """Equal times are quiet all day, or never: nobody can tell."""
    quiet = view.settings.quiet
    if quiet is not None and quiet.begins == quiet.ends:
        yield Objection(
            ("quiet", "to"),
            f"quiet hours begin and end at {quiet.begins:%H:%M}",
            "two different times; for a fan that is always slow lower the speeds",
            (("quiet", "from"),),
        )


def _patience(view: CheckedConfig) -> Iterator[Objection]:
    """One missed reading is no failure; contacts need rest."""
    settings = view.settings
    if settings.failsafe.stale_after_s < 15.0:
        yield Objection(
            ("failsafe", "stale_after"),
            f"a single reading missed would bring on the failsafe after "
            f"{display.duration(settings.failsafe.stale_after_s)}",
            "at least 15 s",
            is_warning=True,
        )
    fan = settings.fan
    if fan.drive == "relay" and fan.min_on_s + fan.min_off_s < 60.0:
        yield Objection(
            view.written(("fan", "min_on"), ("fan", "min_off")),
            "so short a minimum run and rest wear out relay and motor",
            "`min_on` and `min_off` of a minute or more each",
            (("fan", "drive"), ("fan", "min_on"), ("fan", "min_off")),
            is_warning=True,
        )


RULES = (
    _fan_hours_end,
    _same_means_is_used,
    _equal_times_say_what_they_mean,
    _purge,
    _dark_duty,
    _quiet_has_hours,
    _patience,
)
