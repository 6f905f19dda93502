"""A day of a config and its rules, for people."""

from __future__ import annotations

import datetime as dt
import math
import re
import textwrap
from typing import TYPE_CHECKING

from controller import display
from controller.commands.check_bands import Given, bands_words
from controller.commands.check_rules import OverrideRow, failsafe_row, override_rows
from controller.control.override_state import LOWERED_AT_LEAST_S
from controller.outputs.failures import failure_notes, fan_failures
from controller.wording import heat_effect, rule_words

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.timetable import Interval, Timetable

_CELL_S = 1800.0
_LABEL_EVERY_H = 3
_MARGIN = 11
_WIDTH = 86


def as_text(
    settings: Settings,
    timetable: Timetable,
    date: dt.date,
    *,
    given: Given = frozenset(),
    ascii_only: bool = False,
) -> str:
    """The timeline of a local day and what each override will do, in the user's units.

    Parameters
    ----------
    settings : Settings
        A checked config.
    timetable : Timetable
        Its timetable.
    date : datetime.date
        A local day.
    given : frozenset of tuple of str
        Which bands the config gives; see `controller.commands.check_bands.given_bands`.
    ascii_only : bool
        Draw with letters that every terminal has.
    """
    return "\n".join(
        [
            *_head(settings, timetable, date),
            "",
            *_picture(settings, timetable, date, ascii_only),
            "",
            *_hours(settings, timetable, date),
            "",
            *bands_words(settings, given),
            "",
            *_overrides(settings),
            "",
            *_exceptions(settings),
            "",
            *_failures(settings),
        ]
    )


def _head(settings: Settings, timetable: Timetable, date: dt.date) -> list[str]:
    day = timetable.day(date)
    lines = [f"{settings.tent.name} on {date:%A}, {date.day} {date:%B %Y}, {timetable.zone.key}"]
    hours = (day.end_s - day.start_s) / 3600.0
    if hours != 24.0:
        lines.append(f"The clocks change: this day has {hours:g} hours.")
    return lines


def _picture(
    settings: Settings, timetable: Timetable, date: dt.date, ascii_only: bool
) -> list[str]:
    day = timetable.day(date)
    cells = math.ceil((day.end_s - day.start_s) / _CELL_S)
    full, part, empty = ("#", "+", ".") if ascii_only else ("█", "▄", "·")
    ruler = [" "] * (cells + 2)
    for cell in range(cells):
        at = dt.datetime.fromtimestamp(day.start_s + cell * _CELL_S, timetable.zone)
        if at.hour % _LABEL_EVERY_H == 0 and at.minute == 0:
            ruler[cell : cell + 2] = f"{at.hour:02}"
    rows = [
        ("Lamp", timetable.lamp_intervals(date)),
        ("Fan hours", timetable.fan_hours_intervals(date)),
    ]
    if settings.schedule.purge is not None:
        rows.append(("Purge", timetable.purge_intervals(date)))
    lines = [" " * _MARGIN + "".join(ruler).rstrip()]
    for name, intervals in rows:
        drawn = ""
        for cell in range(cells):
            start_s = day.start_s + cell * _CELL_S
            end_s = min(start_s + _CELL_S, day.end_s)
            share = sum(
                max(0.0, min(end_s, i.end_s) - max(start_s, i.start_s)) for i in intervals
            ) / (end_s - start_s)
            drawn += full if share == 1.0 else part if share > 0.0 else empty
        lines.append(f"{name:{_MARGIN}}{drawn}")
    return lines


def _hours(settings: Settings, timetable: Timetable, date: dt.date) -> list[str]:
    plan, purge = settings.schedule, settings.schedule.purge
    lamp = _stretches(timetable.lamp_intervals(date), timetable, date)
    fan_hours = _stretches(timetable.fan_hours_intervals(date), timetable, date)
    switched = {
        "own_timer": "by its own timer",
        "relay": "by lungwort",
        "photocell": "by its own timer; a photocell tells",
    }[settings.lamp.switched_by]
    lines = _named("Lamp", f"lit {lamp}, {switched}" if lamp else "dark all day")
    if fan_hours:
        lines += _named("Fan hours", f"{fan_hours}: fan at {display.speed(plan.day_speed)}")
    else:
        lines += _named("Fan hours", "none all day")
    night = f"fan at {display.speed(plan.night_speed)}" if plan.night_speed else "fan off"
    lines += _named("", f"at other times: {night}")
    if purge is not None:
        lines += _named(
            "Purge",
            f"{display.duration(purge.length_s)} every {display.duration(purge.every_s)}, counted "
            f"from midnight: fan at {display.speed(purge.speed)} or more",
        )
    return lines


def _stretches(intervals: tuple[Interval, ...], timetable: Timetable, date: dt.date) -> str:
    """The hours of a day; those across midnight are said once, where each day has the same."""
    if any(not math.isfinite(s) for i in intervals for s in i):
        return "day and night"
    spans = [tuple(_clock(at_s, timetable, date) for at_s in interval) for interval in intervals]
    if len(spans) > 1:
        begun = tuple(_clock(at_s, timetable, date - dt.timedelta(days=1)) for at_s in intervals[0])
        if begun in spans[1:]:
            spans = spans[1:]
    return " and ".join(f"from {start} to {end}" for start, end in spans)


def _clock(at_s: float, timetable: Timetable, date: dt.date) -> str:
    at = dt.datetime.fromtimestamp(round(at_s), timetable.zone)
    text = f"{at:%H:%M:%S}" if at.second else f"{at:%H:%M}"
    if at.utcoffset() != at.replace(fold=1).utcoffset() or at.fold:
        text += f" {at:%Z}"  # this clock time comes twice
    days = (at.date() - date).days
    if days == 0:
        return text
    near = {-1: "the day before", 1: "the next day"}.get(days)
    return f"{text} {near}" if near else f"{text} on {at:%Y-%m-%d}"


def _overrides(settings: Settings) -> list[str]:
    rows, units = override_rows(settings), settings.units
    cells = [
        (rule_words(r.kind.rule), r.engages(units), r.waits(), r.acts(), r.releases(units))
        for r in rows
    ]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    lines: list[str] = []
    phase = ""
    for row, texts in zip(rows, cells, strict=True):
        if row.phase != phase:
            phase = row.phase
            lines.append(
                "Overrides by day, lamp lit" if phase == "day" else "Overrides by night, lamp dark"
            )
        columns = "  ".join(t.ljust(w) for t, w in zip(texts, widths, strict=True))
        lines.append(f"  {columns}".rstrip())
    return [*lines, *_locked_out(rows)]


def _locked_out(rows: list[OverrideRow]) -> list[str]:
    least = display.duration(LOWERED_AT_LEAST_S)
    lasts = (
        f"Too cold or too dry, once engaged, lasts {least} at least; heat and moisture go first: "
        "neither takes the fan below what an engaged too hot or too humid asks for, unless that "
        "is locked out; and too dry is ignored while too hot is engaged, delayed or locked out."
    )
    if not rows[0].has_intake:
        return wrapped(
            "Without an intake sensor nothing tells that outside air would not help, so no "
            f"override is ever locked out. {lasts}"
        )
    return wrapped(
        "Locked out: too hot while the intake air is no cooler than the tent's; too humid while it "
        "is no drier (humidity ratio, not relative humidity); too cold and too dry while it is "
        f"warmer or moister than the tent's by the hysteresis. {lasts}"
    )


def _failures(settings: Settings) -> list[str]:
    """What each failure does to the fan."""
    rows = fan_failures(settings)
    width = max(len(row.name) for row in rows)
    lines = ["What a failure does to the fan, wired as the README says"]
    for row in rows:
        speed = "not known" if row.speed is None else _fan_words(row.speed)
        head = f"  {row.name:{width}}  {speed:9}  "
        first, *more = wrapped(row.why, max(30, _WIDTH - len(head)))
        lines += [head + first, *(" " * len(head) + line for line in more)]
    for note in failure_notes(settings):
        lines += wrapped(note)
    return [*lines, *wrapped("'lungwort commission' lets go of the wire and looks.")]


def _fan_words(speed: float) -> str:
    return f"fan {display.speed(speed)}" if speed else "fan off"


def _exceptions(settings: Settings) -> list[str]:
    failsafe, lamp, units = failsafe_row(settings), settings.lamp, settings.units
    lines = wrapped(
        f"Failsafe: {failsafe['text']}. Just started and without any reading yet, the fan keeps to "
        "the schedule for as long."
    )
    lines += wrapped(
        "A delay that has begun goes on while the value dips back inside its limit, as long as it "
        "does not reach the release threshold."
    )
    if lamp.switched_by == "relay":
        cutout = lamp.cutout
        lines += wrapped(
            "The lamp is cut when the tent stays above "
            f"{display.temperature(cutout.above_c, units)} for "
            f"{display.duration(cutout.delay_s)}, and stays off for "
            f"{display.duration(cutout.hold_off_s)} at least."
        )
    warning = display.temperature(settings.targets.heat_warning_c, units)
    fan, effect = settings.fan, heat_effect(settings)
    return [
        *lines,
        f"Above {warning} you are warned{f': {effect}' if effect else ''}.",
        *wrapped(
            f"Once started the fan runs for {display.duration(fan.min_on_s)} at least, once "
            f"stopped it rests for {display.duration(fan.min_off_s)}; a failed sensor, and too "
            "hot unless it is locked out, start it at once, whichever row sets the speed."
        ),
    ]


def _named(name: str, text: str) -> list[str]:
    first, *more = wrapped(text, _WIDTH - _MARGIN)
    return [f"{name:{_MARGIN}}{first}", *(" " * _MARGIN + line for line in more)]


def wrapped(text: str, width: int = _WIDTH) -> list[str]:
    """The lines of a text, broken at spaces but not within a value and its unit."""
    joined = re.sub(r"(?<=\d) (?=\S)", "\N{NO-BREAK SPACE}", text)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in textwrap.wrap(joined, width)]
