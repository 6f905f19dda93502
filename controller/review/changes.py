"""The changes of the config that a review tries out on the days it reviews."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from controller import display

if TYPE_CHECKING:
    from controller.settings import Settings


class Change(NamedTuple):
    """One setting and another value for it.

    Attributes
    ----------
    section, field : str
        Where the settings have it.
    key : str
        Where the config has it.
    was, to : str
        Its value and the other one, in the user's units.
    value : float
        The other value, in SI.
    """

    section: str
    field: str
    key: str
    was: str
    to: str
    value: float

    def apply(self, settings: Settings) -> Settings:
        """The settings with the change made."""
        section, _, inner = self.section.partition(".")
        outer = getattr(settings, section)
        if inner:
            changed = getattr(outer, inner).changed(**{self.field: self.value})
            changed = outer.changed(**{inner: changed})
        else:
            changed = outer.changed(**{self.field: self.value})
        return settings.changed(**{section: changed})


def changes(settings: Settings, quantity: str, side: str) -> Iterator[Change]:
    """What is worth trying: one step, then a longer one, of each setting that bears on it."""
    plan, over = settings.schedule, settings.overrides
    wants_air = (quantity, side) in (("temperature", "above"), ("humidity", "above"),
                                     ("vpd", "below"))  # fmt: skip
    if wants_air:
        for name, was in (("lead", plan.lead_s), ("lag", plan.lag_s)):
            for more_s in (1500.0, 3600.0):
                yield _duration("schedule", f"{name}_s", f"schedule.{name}", was, was + more_s)
        if settings.fan.drive != "relay":
            for more in (0.2, 0.5):
                if plan.day_speed < 1.0:
                    to = min(1.0, round(plan.day_speed + more, 2))
                    yield _speed("schedule", "day_speed", "schedule.day_speed", plan.day_speed, to)
            if plan.night_speed < 0.4:
                yield _speed(
                    "schedule", "night_speed", "schedule.night_speed", plan.night_speed, 0.4
                )
        watch = getattr(over, quantity)
        section = f"overrides.{quantity}"
        if watch.speed < 1.0:
            yield _speed(section, "speed", f"{section}.speed", watch.speed, 1.0)
        if watch.delay_s > 60.0:
            yield _duration(section, "delay_s", f"{section}.delay", watch.delay_s, 30.0)
        if quantity == "temperature":
            was_k = over.temperature.deadband_k
            shown = display.temperature_difference(was_k, settings.units)
            to_k = display.temperature_difference(2.0 * was_k, settings.units)
            yield Change(section, "deadband_k", f"{section}.deadband", shown, to_k, 2.0 * was_k)
        return
    for name, was in (("lead", plan.lead_s), ("lag", plan.lag_s)):
        if was > 0.0:
            yield _duration("schedule", f"{name}_s", f"schedule.{name}", was, 0.0)
    if settings.fan.drive != "relay":
        least = settings.fan.resolved_min_speed
        for share in (0.75, 0.5):
            to = round(plan.day_speed * share, 2)
            if to >= least:
                yield _speed("schedule", "day_speed", "schedule.day_speed", plan.day_speed, to)
    if plan.purge is not None:
        every_s = plan.purge.every_s
        yield _duration("schedule.purge", "every_s", "schedule.purge.every", every_s, 2.0 * every_s)


def _duration(section: str, field: str, key: str, was: float, to: float) -> Change:
    return Change(section, field, key, display.duration(was), display.duration(to), to)


def _speed(section: str, field: str, key: str, was: float, to: float) -> Change:
    return Change(section, field, key, display.speed(was), display.speed(to), to)
