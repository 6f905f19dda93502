"""A day of a config and all its rules, for people; `check_brief` has what matters most."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING

from controller import display
from controller.commands.check_bands import Given, bands_words
from controller.commands.check_duty import duty_words
from controller.commands.check_law import law_lines, law_table
from controller.commands.check_quiet import quiet_words
from controller.commands.check_rules import OverrideRow, failsafe_row, override_rows
from controller.control.override_state import DRIED_AT_LEAST_S, LOWERED_AT_LEAST_S
from controller.control.types import Rule
from controller.kernel_sensors import measures
from controller.outputs.failures import failure_notes, fan_failures
from controller.quiet_hours import QuietHours
from controller.tables import fact_lines, table_lines, wrapped
from controller.wording import heat_effect, rule_words

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.timetable import Interval, Timetable

_LABEL_EVERY_H = 3
_MARGIN = 11
# Half an hour a column where 25 hours of them fit, else an hour.
_CELLS_S = (1800.0, 3600.0)
_MOST_CELLS = 50


def as_text(
    settings: Settings,
    timetable: Timetable,
    date: dt.date,
    *,
    given: Given = frozenset(),
    ascii_only: bool = False,
    width: int = 80,
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
    width : int
        Columns.
    """
    return "\n".join(
        [
            *day_lines(settings, timetable, date, ascii_only, width),
            "",
            *bands_words(settings, given, width),
            "",
            *_overrides(settings, width),
            "",
            *_exceptions(settings, width),
            "",
            *_failures(settings, width),
        ]
    )


def day_lines(
    settings: Settings, timetable: Timetable, date: dt.date, ascii_only: bool, width: int
) -> list[str]:
    """The day: drawn, and its hours in words."""
    return [
        *_head(settings, timetable, date, width),
        "",
        *_picture(settings, timetable, date, ascii_only, width),
        "",
        *_hours(settings, timetable, date, width),
    ]


def _head(settings: Settings, timetable: Timetable, date: dt.date, width: int) -> list[str]:
    day = timetable.day(date)
    lines = wrapped(
        f"{settings.tent.name} on {date:%A}, {date.day} {date:%B %Y}, {timetable.zone.key}", width
    )
    hours = (day.end_s - day.start_s) / 3600.0
    if hours != 24.0:
        lines += wrapped(f"The clocks change: this day has {hours:g} hours.", width)
    return lines


def _picture(
    settings: Settings, timetable: Timetable, date: dt.date, ascii_only: bool, width: int
) -> list[str]:
    day = timetable.day(date)
    cell_s = _CELLS_S[0] if width >= _MARGIN + _MOST_CELLS else _CELLS_S[1]
    cells = math.ceil((day.end_s - day.start_s) / cell_s)
    full, part, empty = ("#", "+", ".") if ascii_only else ("█", "▄", "·")
    ruler = [" "] * (cells + 2)
    for cell in range(cells):
        at = dt.datetime.fromtimestamp(day.start_s + cell * cell_s, timetable.zone)
        if at.hour % _LABEL_EVERY_H == 0 and at.minute == 0:
            ruler[cell : cell + 2] = f"{at.hour:02}"
    rows = [
        ("Lamp", timetable.lamp_intervals(date)),
        ("Fan hours", timetable.fan_hours_intervals(date)),
    ]
    if settings.schedule.purge is not None:
        rows.append(("Purge", timetable.purge_intervals(date)))
    if settings.quiet is not None:
        rows.append(("Quiet", QuietHours.from_settings(settings).intervals(date)))
    lines = [" " * _MARGIN + "".join(ruler).rstrip()]
    for name, intervals in rows:
        drawn = ""
        for cell in range(cells):
            start_s = day.start_s + cell * cell_s
            end_s = min(start_s + cell_s, day.end_s)
            share = sum(
                max(0.0, min(end_s, i.end_s) - max(start_s, i.start_s)) for i in intervals
            ) / (end_s - start_s)
            drawn += full if share == 1.0 else part if share > 0.0 else empty
        lines.append(f"{name:{_MARGIN}}{drawn}")
    return lines


_ALL_DAY = "day and night"


def _hours(settings: Settings, timetable: Timetable, date: dt.date, width: int) -> list[str]:
    plan, purge = settings.schedule, settings.schedule.purge
    lamp = _stretches(timetable.lamp_intervals(date), timetable, date)
    fan_hours = _stretches(timetable.fan_hours_intervals(date), timetable, date)
    switched = {
        "own_timer": "by its own timer",
        "relay": "by lungwort",
        "photocell": "by its own timer; a photocell tells",
    }[settings.lamp.switched_by]
    facts = [("Lamp", f"lit {lamp}, {switched}" if lamp else "dark all day")]
    if fan_hours:
        facts.append(("Fan hours", f"{fan_hours}: {display.fan(plan.day_speed)}"))
    else:
        facts.append(("Fan hours", "none all day"))
    if fan_hours != _ALL_DAY:
        facts.append(("", f"at other times: {display.fan(plan.night_speed)}"))
    if purge is not None:
        facts.append(
            (
                "Purge",
                f"{display.duration(purge.length_s)} every {display.duration(purge.every_s)}, "
                f"counted from midnight: fan at {display.speed(purge.speed)} or more",
            )
        )
    if settings.quiet is not None:
        quiet = QuietHours.from_settings(settings).intervals(date)
        facts.append(("Quiet", quiet_words(settings, _stretches(quiet, timetable, date))))
    if duty := duty_words(settings):
        facts.append(("Dark duty", duty))
    return fact_lines(facts, width, label_width=_MARGIN)


def _stretches(intervals: tuple[Interval, ...], timetable: Timetable, date: dt.date) -> str:
    """The hours of a day; those across midnight are said once, where each day has the same."""
    if any(not math.isfinite(s) for i in intervals for s in i):
        return _ALL_DAY
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


def _overrides(settings: Settings, width: int) -> list[str]:
    """A row for each override; by columns where they fit, else condition and effect in one."""
    rows, units = override_rows(settings), settings.units
    columns = [
        (rule_words(r.kind.rule), r.engages(units), r.waits(), r.acts(), r.releases(units))
        for r in rows
    ]
    whole = sum(max(map(len, column)) for column in zip(*columns, strict=True))
    are_joined = whole + 2 * len(columns[0]) > width
    lines: list[str] = []
    for phase, title in (("day", "lamp lit"), ("night", "lamp dark")):
        cells = [
            (f"  {name}", f"{engages} {waits}: {acts}, {releases}")
            if are_joined
            else (f"  {name}", engages, waits, acts, releases)
            for row, (name, engages, waits, acts, releases) in zip(rows, columns, strict=True)
            if row.phase == phase
        ]
        if cells:
            heads = ("",) * len(cells[0])
            table = table_lines(heads, cells, width, align="<" * len(heads))
            lines += [f"Overrides by {phase}, {title}", *table]
    for sentence in law_lines(settings):
        lines += wrapped(sentence, width)
    return [*lines, *law_table(settings, width), *_locked_out(rows, width)]


def _locked_out(rows: list[OverrideRow], width: int) -> list[str]:
    least, dried = map(display.duration, (LOWERED_AT_LEAST_S, DRIED_AT_LEAST_S))
    lasts = (
        f"Too cold or too dry, once engaged, lasts {least} at least, a surface near the dew point "
        f"{dried}; heat and moisture go first: "
        "neither takes the fan below what an engaged too hot or too humid asks for, unless that "
        "is locked out; and too dry is ignored while too hot is engaged, delayed or locked out."
    )
    if any(row.kind.rule is Rule.TOO_STALE for row in rows):
        lasts += (
            " Too stale gets no more than the scheduled speed while too cold or too dry is engaged."
        )
    if not rows[0].has_intake:
        return wrapped(
            "Without an intake sensor nothing tells that outside air would not help, so no "
            f"override is ever locked out. {lasts}",
            width,
        )
    if any(row.is_modulated for row in rows):
        return wrapped(
            "Locked out: too cold and too dry, while the intake air is warmer or moister (humidity "
            f"ratio, not relative humidity) than the tent's by the hysteresis. {lasts}",
            width,
        )
    return wrapped(
        "Locked out: too hot while the intake air is no cooler than the tent's; too humid while it "
        "is no drier (humidity ratio, not relative humidity); too cold and too dry while it is "
        f"warmer or moister than the tent's by the hysteresis. {lasts}",
        width,
    )


def _failures(settings: Settings, width: int) -> list[str]:
    """What each failure does to the fan."""
    rows = [
        (
            f"  {row.name}",
            "not known" if row.speed is None else display.fan(row.speed),
            row.why,
        )
        for row in fan_failures(settings)
    ]
    return [
        *wrapped("What a failure does to the fan, wired as the README says", width),
        *table_lines(("", "", ""), rows, width, align="<<<"),
        *(line for note in failure_notes(settings) for line in wrapped(note, width)),
        *wrapped("'lungwort commission' lets go of the wire and looks.", width),
    ]


def _exceptions(settings: Settings, width: int) -> list[str]:
    failsafe = failsafe_row(settings)
    lines = wrapped(
        f"Failsafe: {failsafe['text']}. Just started and without any reading yet, the fan keeps to "
        "the schedule for as long.",
        width,
    )
    lines += other_sensors(settings, width)
    lines += wrapped(
        "A delay that has begun goes on while the value dips back inside its limit, as long as it "
        "does not reach the release threshold.",
        width,
    )
    fan = settings.fan
    return [
        *lines,
        *heat_lines(settings, width),
        *wrapped(
            f"Once started the fan runs for {display.duration(fan.min_on_s)} at least, once "
            f"stopped it rests for {display.duration(fan.min_off_s)}; a failed sensor, and too "
            "hot unless it is locked out, start it at once, whichever row sets the speed.",
            width,
        ),
    ]


def heat_lines(settings: Settings, width: int) -> list[str]:
    """What great heat does, besides starting the fan."""
    lines, units = [], settings.units
    if settings.lamp.switched_by == "relay":
        cutout = settings.lamp.cutout
        lines += wrapped(
            "The lamp is cut when the tent stays above "
            f"{display.temperature(cutout.above_c, units)} for "
            f"{display.duration(cutout.delay_s)}, and stays off for "
            f"{display.duration(cutout.hold_off_s)} at least.",
            width,
        )
    warning = display.temperature(settings.targets.heat_warning_c, units)
    effect = heat_effect(settings)
    why = f": {effect}" if effect else ""
    return [*lines, *wrapped(f"Above {warning} you are warned{why}.", width)]


def other_sensors(settings: Settings, width: int) -> list[str]:
    """What sensors that don't measure all of the air do, and don't do."""
    lines: list[str] = []
    thermometers = [
        sensor.name
        for sensor in settings.sensors
        if sensor.role != "leaf"
        and "humidity" not in measures(sensor.driver, sensor.device, sensor.role)
    ]
    if thermometers:
        lines += wrapped(
            f"{', '.join(thermometers)} measures temperature alone, which counts beside that of "
            "the other sensors of its place. When those fail, so that no humidity can be trusted, "
            "the failsafe applies all the same.",
            width,
        )
    leaves = [sensor.name for sensor in settings.sensors if sensor.role == "leaf"]
    if leaves:
        words = f"{', '.join(leaves)} looks at leaves: recorded, and decides nothing."
        lines += wrapped(words, width)
    return lines
