"""`lungwort check`: validate a config, and show what it means on a day."""

from __future__ import annotations

import argparse
import datetime as dt
import math
import sys
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller.commands.arguments import HelpPage, add_config

if TYPE_CHECKING:
    from controller.commands.check_starts import Starts
    from controller.config import ConfigError, Loaded, Problem
    from controller.timetable import Interval, Timetable

CHECK_HELP = "validate a config and show what it means on a day"
CHECK_DESCRIPTION = """\
Check a config file and show what it means: when lamp, fan hours and purges come on a local day,
and what each override will do, in your units.

All problems of the file are listed at once, one a line, as FILE:LINE:COLUMN:
what is wrong; what was expected. Warnings look the same and don't count as
problems. Nothing is switched, and nothing has to be wired. A week of May is
rehearsed in fast-forward, to tell how often the fan would start.
"""
_EPILOG = """\
examples:
  lungwort check config/chillies.yaml
  lungwort check config/basil.yaml --date 2031-03-30 --json

exit status:
  0  the config can be used
  2  it can't, or DATE isn't a date
"""

_LOOSE_DATES = {"yesterday": -1, "today": 0, "tomorrow": 1}


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "check",
        help=CHECK_HELP,
        description=CHECK_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument(
        "--date",
        metavar="DATE",
        default="today",
        help="the local day to show: 2013-07-18, yesterday, today (default) or tomorrow",
    )
    parser.add_argument(
        "--full",
        action="store_true",
        help="print every limit and delay, what locks an override out, and every failure",
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print one JSON object: SI units, times RFC 3339 with offset, null for no end",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    import time

    from controller.commands.check_dead_fan import dead_fan_in_light, dead_fan_words
    from controller.commands.check_heat import heat_danger
    from controller.commands.check_libraries import dht_library_warning, has_dht_library
    from controller.commands.check_starts import rehearsed_starts, starts_warning, starts_words
    from controller.config import ConfigError, load_settings
    from controller.timetable import Timetable

    try:
        loaded = load_settings(args.config)
    except ConfigError as error:
        _tell_unusable(error, args.json)
        return error.status
    timetable = Timetable.from_settings(loaded.settings)
    date = parse_date(args.date, timetable, time.time())
    starts = rehearsed_starts(loaded.settings)
    name = str(args.config)
    warnings = (
        heat_danger(loaded, name, starts),
        *loaded.warnings,
        starts_warning(loaded, name, starts),
        _volatile_record(loaded, name),
        dht_library_warning(loaded, name, has_dht_library()),
    )
    loaded = loaded._replace(warnings=tuple(w for w in warnings if w is not None))
    for warning in loaded.warnings:
        print(_warning_words(warning), file=sys.stderr)
    if args.json:
        _print_json(as_json(loaded, timetable, date, starts))
    else:
        from controller.commands.check_bands import given_bands
        from controller.commands.check_brief import brief_text, verdict_lines
        from controller.commands.check_text import as_text
        from controller.tables import terminal_width, wrapped

        encoding = (sys.stdout.encoding or "").lower().replace("-", "")
        given, ascii_only = given_bands(loaded.text), encoding != "utf8"
        width, page = terminal_width(), as_text if args.full else brief_text
        shown = page(
            loaded.settings, timetable, date, given=given, ascii_only=ascii_only, width=width
        )
        print("\n".join(verdict_lines(loaded, width)), shown, sep="\n\n")
        if math.isfinite(starts.hottest_c):
            print("\n".join(["", *wrapped(starts_words(starts), width)]))
        dead = dead_fan_words(loaded.settings, dead_fan_in_light(loaded.settings))
        if dead:
            print("\n".join(wrapped(dead, width)))
        if not args.full:
            more = "--full adds each limit with its delay, what locks it out, and every failure."
            print("\n".join(wrapped(more, width)))
    return 0


def _volatile_record(loaded: Loaded, name: str) -> Problem | None:
    """A record that this machine forgets at its next boot."""
    from controller.config.problems import Problem
    from controller.config.yaml_parser import read
    from controller.record.volatile import record_volatile

    why = record_volatile(loaded.settings.record_path)
    if not why:
        return None
    return Problem(
        name,
        *read(loaded.text, name).place(("record", "path")),
        f"on this machine the record {loaded.settings.record_path} lies on {why}",
        "`record.path` on a disk that stays, such as a data partition or a USB stick; see "
        '"A read-only card" in systemd/INSTALL.md',
    )


def parse_date(text: str, timetable: Timetable, now_s: float) -> dt.date:
    """The local day that a user names.

    Parameters
    ----------
    text : str
        ``2013-07-18``, ``yesterday``, ``today`` or ``tomorrow``.
    timetable : Timetable
        Whose zone counts.
    now_s : float
        The present [s since the epoch].

    Raises
    ------
    UserError
        If it is none of these, far out of range, or a day that the zone skipped.
    """
    from controller.errors import UserError

    word = text.strip().lower()
    if word in _LOOSE_DATES:
        return timetable.local_date(now_s) + dt.timedelta(days=_LOOSE_DATES[word])
    try:
        date = dt.date.fromisoformat(text.strip())
    except ValueError:
        raise UserError(
            f"--date: {text!r} is not a date; expected such as 2013-07-18, today or tomorrow", 2
        ) from None
    if not 1902 <= date.year <= 8990:
        raise UserError(f"--date: {text} is out of range; expected a year from 1902 to 8990", 2)
    day = timetable.day(date)
    if day.start_s == day.end_s:
        raise UserError(f"--date: there was no {text} in {timetable.zone.key}", 2)
    return date


def as_json(loaded: Loaded, timetable: Timetable, date: dt.date, starts: Starts) -> dict[str, Any]:
    """The day and the rules in SI, units in the keys, times RFC 3339 with the tent's offset."""
    from controller.commands.check_bands import bands_json, given_bands
    from controller.commands.check_dead_fan import dead_fan_in_light
    from controller.commands.check_duty import duty_json
    from controller.commands.check_quiet import quiet_json
    from controller.commands.check_rules import failsafe_row, override_rows
    from controller.outputs.failures import fan_failures
    from controller.quiet_hours import QuietHours

    settings, zone = loaded.settings, timetable.zone
    dead = dead_fan_in_light(settings)
    start, end = _instants(timetable.day(date), zone)

    def listed(intervals: tuple[Interval, ...], first: str, last: str) -> list[dict[str, Any]]:
        pairs = (_instants(interval, zone) for interval in intervals)
        return [{first: begins, last: ends} for begins, ends in pairs]

    return {
        "tent": settings.tent.name,
        "date": date.isoformat(),
        "timezone": zone.key,
        "day": {"start": start, "end": end},
        "lamp": listed(timetable.lamp_intervals(date), "on", "off"),
        "fan_hours": listed(timetable.fan_hours_intervals(date), "start", "end"),
        "purge": listed(timetable.purge_intervals(date), "start", "end"),
        "quiet_hours": listed(QuietHours.from_settings(settings).intervals(date), "start", "end"),
        "quiet": quiet_json(settings),
        "dark_duty": duty_json(settings),
        "day_speed": settings.schedule.day_speed,
        "night_speed": settings.schedule.night_speed,
        "purge_speed": settings.schedule.purge.speed if settings.schedule.purge else None,
        "bands": bands_json(settings, given_bands(loaded.text)),
        "overrides": [row.to_json(settings.units) for row in override_rows(settings)],
        "failsafe": failsafe_row(settings),
        "rehearsed_starts_per_day": (
            round(starts.per_day, 3) if math.isfinite(starts.hottest_c) else None
        ),
        "dead_fan": None if dead is None else dead.as_json(),
        "failures": [row.to_json() for row in fan_failures(settings)],
        "warnings": [_problem_json(warning) for warning in loaded.warnings],
    }


def _instants(interval: Interval, zone: ZoneInfo) -> tuple[str | None, str | None]:
    from controller.display import rfc3339

    start, end = (rfc3339(s, zone) if math.isfinite(s) else None for s in interval)
    return start, end


def _tell_unusable(error: ConfigError, as_object: bool) -> None:
    for problem in error.problems:
        print(problem, file=sys.stderr)
    for warning in error.warnings:
        print(_warning_words(warning), file=sys.stderr)
    if as_object:
        _print_json(
            {
                "problems": [_problem_json(problem) for problem in error.problems],
                "warnings": [_problem_json(warning) for warning in error.warnings],
            }
        )


def _warning_words(warning: Problem) -> str:
    return str(warning._replace(message=f"warning: {warning.message}"))


def _problem_json(problem: Problem) -> dict[str, Any]:
    return problem._asdict()


def _print_json(value: dict[str, Any]) -> None:
    import json

    print(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))
