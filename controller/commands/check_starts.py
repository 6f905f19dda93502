"""How often a fan would start: a week of May, rehearsed, and a warning where that is too often."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller import display
from controller.config.problems import Problem
from controller.control.types import Rule

if TYPE_CHECKING:
    from controller.config import Loaded, Settings

# Mild days and cool nights, when a tent is neither simply hot nor simply cold.
WEATHER = "airfield-2013"
FIRST = dt.date(2013, 5, 25)
DAYS = 7
# Two an hour wear out a relay that is good for 100,000 in about six years (common practice, no
# source).
MOST_PER_DAY = 48.0
# From this share of `fan.most_starts` on it is tried how often the fan would start without.
_NEAR_LIMIT = 0.25
# What is tried for longer runs and rests [s].
_LONGER_S = 600.0

_KEYS = {
    Rule.TOO_HOT: ("temperature",),
    Rule.TOO_COLD: ("temperature",),
    Rule.TOO_HUMID: ("humidity", "vpd"),
    Rule.TOO_DRY: ("humidity", "vpd"),
    Rule.TOO_STALE: ("co2",),
}


@dataclass(frozen=True, slots=True)
class Starts:
    """How often the fan started in the week rehearsed.

    Attributes
    ----------
    per_day : float
        Starts from standstill a day.
    mostly : Rule or None
        The override that engaged most often; None where none did.
    hottest_c : float
        The hottest that the tent's air got [°C]; infinite where no model of a tent holds any more,
        and then nothing is known of starts.
    """

    per_day: float
    mostly: Rule | None
    hottest_c: float


def rehearsed_starts(settings: Settings, *, schedule_alone: bool = False) -> Starts:
    """Rehearse the week; a quarter of a second or so.

    Parameters
    ----------
    settings : Settings
        A checked config.
    schedule_alone : bool
        Leave the overrides out.
    """
    from controller.timetable import Timetable
    from simulators.rehearsal import rehearse, set_scene
    from simulators.tent.saturation_table import TentTooHotError
    from simulators.weather import load_weather

    timetable = Timetable.from_settings(settings)
    start_s = timetable.day(FIRST).start_s
    until_s = timetable.day(FIRST + dt.timedelta(days=DAYS)).start_s
    weather = load_weather(WEATHER).covering(start_s, until_s)
    try:
        outcome = rehearse(
            settings,
            set_scene(settings, weather, start_s),
            start_s,
            until_s,
            policy="schedule_alone" if schedule_alone else "config",
        )
    except TentTooHotError:
        return Starts(0.0, None, math.inf)
    most = outcome.engaged.most_common(1)
    return Starts(outcome.fan.starts / DAYS, most[0][0] if most else None, outcome.peak.value)


def starts_warning(loaded: Loaded, name: str, starts: Starts) -> Problem | None:
    """The warning of a fan that starts too often; None for one that doesn't.

    Parameters
    ----------
    loaded : Loaded
        A checked config.
    name : str
        The file as it was named.
    starts : Starts
        Those of the config.
    """
    limit = loaded.settings.fan.resolved_most_starts
    settings, wanted = loaded.settings, starts
    if limit is not None and starts.per_day > _NEAR_LIMIT * limit:
        # The limit may be what keeps it so low: then it rests longer than the air asks for.
        settings = _unlimited(settings)
        wanted = rehearsed_starts(settings)
    enough = min(MOST_PER_DAY, limit or MOST_PER_DAY)
    if wanted.per_day <= enough:
        return None
    from controller.config.yaml_parser import read

    by_schedule = rehearsed_starts(settings, schedule_alone=True).per_day
    if settings.schedule.purge is not None and by_schedule > 0.5 * wanted.per_day:
        cause = f"{by_schedule:.0f} of them by the schedule"
        remedy = "`schedule.purge.every` longer"
        path: tuple[str, ...] = ("schedule", "purge", "every")
    else:
        cause, remedy = _by_overrides(settings, wanted, enough)
        path = ("fan", "min_off")
    source = read(loaded.text, name)
    line, column = source.place(path)
    worn = "relay and motor" if settings.fan.drive == "relay" else "the motor"
    follows = f"more than {MOST_PER_DAY:.0f} wear {worn} (common practice, no source)"
    if limit is not None and starts.per_day < wanted.per_day - 1.0:
        more = why_more_starts(starts.per_day, limit)
        follows = (
            f"`fan.most_starts` {limit} holds it to {starts.per_day:.0f}{more}, so that it runs "
            "on, or rests, longer than the air asks for"
        )
    return Problem(
        name,
        line,
        column,
        f"the fan would start {wanted.per_day:.0f} times a day in a rehearsed week of May, "
        f"{cause}; {follows}",
        remedy,
    )


def why_more_starts(per_day: float, limit: int) -> str:
    """Why a week has more starts a day than the limit; "" where it hasn't."""
    if round(per_day) <= limit:
        return ""
    return " in a week (half a day's may come early, and heat waits for none)"


def _unlimited(settings: Settings) -> Settings:
    """A config that lets the fan start each minute."""
    return settings.changed(fan=settings.fan.changed(most_starts=24 * 60))


def starts_words(starts: Starts) -> str:
    """One sentence, with the command that shows the rest."""
    often = (
        f"{starts.per_day:.0f} times"
        if starts.per_day >= 1.5
        else "once"
        if starts.per_day >= 0.5
        else "less than once"
    )
    return (
        f"In a rehearsed week of May the fan starts {often} a day: lungwort "
        f"rehearse CONFIG --weather {WEATHER} --from {FIRST} --days {DAYS}"
    )


def _by_overrides(settings: Settings, starts: Starts, enough: float) -> tuple[str, str]:
    """What starts it, and which keys help; what longer runs and rests would do is tried."""
    fan = settings.fan
    longer = settings.changed(
        fan=fan.changed(
            min_on_s=max(fan.min_on_s, _LONGER_S), min_off_s=max(fan.min_off_s, _LONGER_S)
        )
    )
    eased = rehearsed_starts(longer).per_day
    tried = ""
    if eased < starts.per_day - 1.0:
        still = "still " if eased > enough else ""
        tried = f" ({still}{eased:.0f} a day with {display.duration(_LONGER_S)} each)"
    remedy = f"`fan.min_on` and `fan.min_off` longer{tried}"
    if starts.mostly is None:
        return "as the schedule has it", remedy
    keys = " and ".join(f"`overrides.{key}`" for key in _KEYS[starts.mostly])
    return (
        f"mostly because it gets {starts.mostly.value.replace('_', ' ')}",
        f"{remedy}, or a wider hysteresis or a longer delay in {keys}",
    )
