"""The duty in the dark of a relay fan: its runs, rests and starts, for people and as JSON."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from controller import display
from controller.config.checks.hours import lit_s
from controller.control import Rules
from controller.control.quiet import near_warning_c

if TYPE_CHECKING:
    from controller.config import Settings

_DAY_S = 86_400.0


def duty_words(settings: Settings) -> str:
    """Say how the fan runs in the dark; empty without a duty."""
    rules, units = Rules.from_settings(settings), settings.units
    duty = rules.dark_duty
    if duty is None:
        return ""
    if settings.schedule.night_speed > 0.0:
        return "never rests the fan: in the dark it runs all the time by schedule.night_speed"
    return (
        f"too hot or too humid in the dark the fan runs {display.duration(duty.run_s)} and rests "
        f"{display.duration(duty.rest_s)} in turn, {_most_starts(settings)} starts a day at most; "
        f"from {display.temperature(near_warning_c(rules), units)} on, near the heat warning, and "
        "while a surface is near the dew point it runs all the time"
    )


def duty_json(settings: Settings) -> dict[str, Any] | None:
    """Runs and rests [s] as they will last, and the most starts that they make; None without."""
    duty = Rules.from_settings(settings).dark_duty
    if duty is None:
        return None
    return {
        "run_s": duty.run_s,
        "rest_s": duty.rest_s,
        "most_starts_per_day": _most_starts(settings),
    }


def _most_starts(settings: Settings) -> int:
    duty, hours = Rules.from_settings(settings).dark_duty, settings.lamp.photoperiod
    assert duty is not None, "asked for a duty's starts only"
    dark_s = _DAY_S - lit_s(hours.lights_on, hours.lights_off, hours.same_means)
    return math.ceil(dark_s / (duty.run_s + duty.rest_s))
