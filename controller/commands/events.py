"""`lungwort events`: what happened and why, one line each."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.errors import UserError
from controller.tables import terminal_width, wrapped

if TYPE_CHECKING:
    from controller.display import Units
    from controller.record import EventRow, RecordReader

EVENTS_HELP = "list what happened and why, one line each"
EVENTS_DESCRIPTION = """\
List the tent's events: when, what, and the numbers behind it. Without a range, the newest 50;
--newest all lists every one.

Times are on the tent's clock: 2013-07-18, '2013-07-18 14:00', 14:00 (today), today, yesterday, or
RFC 3339 with an offset.
"""
_NEWEST = 50
_ALL = 0  # as a count of events: no limit
# Below so many columns what happened stands under its time and name.
_NARROW = 60
_LEVELS = ("info", "warning", "error")
_POLL_S = 1.0

_EXAMPLES = """\
examples:
  lungwort events tent.yaml --last 24h
  lungwort events tent.yaml --since yesterday --name 'override.*'
  lungwort events tent.yaml --follow --level warning
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "events",
        help=EVENTS_HELP,
        description=EVENTS_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument("--since", metavar="TIME", help="only events from TIME on")
    parser.add_argument("--until", metavar="TIME", help="only events before TIME")
    parser.add_argument(
        "--last", metavar="SPAN", help="only the record's last SPAN, such as 24h or 7d"
    )
    parser.add_argument(
        "--name",
        metavar="PATTERN",
        action="append",
        help="only events of that name, such as fan.changed or 'override.*'; may be given again",
    )
    parser.add_argument(
        "--level", choices=_LEVELS, default="info", help="only events at least that grave"
    )
    parser.add_argument(
        "-n",
        "--newest",
        metavar="N",
        type=_count,
        help=f"only the newest N of them, or all (default without a range: {_NEWEST})",
    )
    parser.add_argument(
        "--follow", action="store_true", help="go on and print each new event, until interrupted"
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON object per line, in SI units"
    )
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    import time

    from controller.commands.in_force import settings_in_force
    from controller.record import RecordReader

    check_range(args)
    settings = settings_in_force(args.config)
    zone = ZoneInfo(settings.place.timezone)
    path = args.record or settings.record_path
    # A program that reads it finds each event on a line of its own.
    width = terminal_width() if sys.stdout.isatty() else None

    def show(event: EventRow) -> str:
        if args.json:
            return json_line(event, settings.units, zone)
        return line(event, settings.units, zone, width)

    pause = threading.Event()
    with RecordReader(path) as reader, reader.snapshot():
        events = select(reader, args, zone, time.time())
        is_cut = False
        if _is_without_bounds(args):
            # One more was asked for than is shown, to know whether there are more.
            newest = list(events)
            is_cut, events = len(newest) > _NEWEST, newest[-_NEWEST:]
        last_id = count = 0
        for count, event in enumerate(events, 1):  # noqa: B007
            print(show(event))
            last_id = max(last_id, event.id)
        if not count and not args.follow:
            whole = " (names are whole, such as fan.changed, or 'fan.*')" if args.name else ""
            print(f"lungwort: no such event in that time{whole}", file=sys.stderr)
        if is_cut:
            sys.stdout.flush()
            print(
                f"lungwort: these are the newest {_NEWEST}; --newest all lists every one, "
                "--last 7d those of a week",
                file=sys.stderr,
            )
        if not args.follow:
            return 0
        last_id = max(last_id, newest_id(reader))
    sys.stdout.flush()
    for event in follow(path, last_id, args.name, args.level, lambda: pause.wait(_POLL_S)):
        print(show(event), flush=True)
    return 0


def check_range(args: argparse.Namespace) -> None:
    """Refuse a time or a length that can't be read, on whatever clock.

    Raises
    ------
    UserError
        Naming the option.
    """
    from controller.commands.instants import parse_instant, parse_length

    for option, text in (("--since", args.since), ("--until", args.until)):
        if text is not None:
            parse_instant(text, ZoneInfo("UTC"), 0.0, option)
    if args.last is not None:
        parse_length(args.last, "--last")


def select(
    reader: RecordReader, args: argparse.Namespace, zone: ZoneInfo, now_s: float
) -> Iterable[EventRow]:
    """The events that the options ask for, oldest first.

    Raises
    ------
    UserError
        If an option can't be read.
    """
    from controller.commands.instants import parse_instant, parse_length

    from_ms = until_ms = None
    if args.since is not None:
        from_ms = parse_instant(args.since, zone, now_s, "--since")
    if args.until is not None:
        until_ms = parse_instant(args.until, zone, now_s, "--until")
    if args.last is not None:
        length_ms = round(parse_length(args.last, "--last") * 1000)
        end_ms = record_end_ms(reader) if until_ms is None else until_ms
        from_ms = max(end_ms - length_ms, from_ms if from_ms is not None else -(2**62))
    if from_ms is not None and until_ms is not None and until_ms <= from_ms:
        raise UserError("--until must be later than --since", status=2)
    newest = _NEWEST + 1 if _is_without_bounds(args) else args.newest
    return reader.events(
        from_ms,
        until_ms,
        args.name,
        levels=_levels_from(args.level),
        newest=None if newest == _ALL else newest,
    )


def _is_without_bounds(args: argparse.Namespace) -> bool:
    """Whether neither a range nor a count was asked for, so that only the newest are shown."""
    return all(bound is None for bound in (args.since, args.until, args.last, args.newest))


def record_end_ms(reader: RecordReader) -> int:
    """The newest instant in the record [Unix ms]: of a simulated summer, that summer's end."""
    ends = [row[0] for row in reader.sql("SELECT max(at_ms) FROM events") if row[0] is not None]
    span = reader.span()
    return max([int(str(end)) for end in ends] + ([span[1]] if span else [0]))


def newest_id(reader: RecordReader) -> int:
    """The id of the event recorded last; 0 without any."""
    for (number,) in reader.sql("SELECT max(id) FROM events"):
        return 0 if number is None else int(str(number))
    return 0


def follow(
    path: Path,
    after_id: int,
    names: list[str] | None,
    level: str,
    wait: Callable[[], bool],
) -> Iterator[EventRow]:
    """Each event recorded from now on.

    Parameters
    ----------
    path : pathlib.Path
        The record; one that is begun anew meanwhile is read from its start.
    after_id : int
        The last event already shown.
    names, level
        What is asked for.
    wait : callable
        Waits for the next look; True ends.
    """
    from controller.record import RecordError, RecordReader

    inode = None
    while not wait():
        try:
            now = path.stat().st_ino
            if inode is not None and now != inode:
                after_id = 0
            inode = now
            # One snapshot: or an event recorded between the two look-ups would be skipped.
            with RecordReader(path) as reader, reader.snapshot():
                events = list(
                    reader.events(names=names, levels=_levels_from(level), after_id=after_id)
                )
                after_id = max(after_id, newest_id(reader))
        except (RecordError, OSError):
            continue  # set aside or moved; a new one will come
        yield from events


def line(event: EventRow, units: Units, zone: ZoneInfo, width: int | None = None) -> str:
    """One event for people.

    Parameters
    ----------
    event : EventRow
        The event.
    units : str
        "si" or "us".
    zone : zoneinfo.ZoneInfo
        Of its time.
    width : int or None
        Columns to wrap it to; None: one line, however long, as programs read it.
    """
    from controller.wording import event_words

    at = dt.datetime.fromtimestamp(event.at_ms / 1000, zone)
    mark = "" if event.level == "info" else f"{event.level.upper()}: "
    words = event_words(event.name, event.data, units, zone)
    # A damaged page may hold anything: an event sends the terminal no orders.
    when, name, text = (
        "".join(char if char.isprintable() else "\ufffd" for char in part)
        for part in (f"{at:%Y-%m-%d %H:%M:%S %Z}", event.name, mark + words)
    )
    if width is None:
        return f"{when}  {name:<19} {text}"
    if width < _NARROW:
        return "\n".join([*wrapped(f"{when}  {name}", width), *wrapped(text, width, first="  ")])
    indent = " " * (len(when) + 2)
    return "\n".join(wrapped(text, width, first=f"{when}  {name:<19} ", rest=indent))


def json_line(event: EventRow, units: Units, zone: ZoneInfo) -> str:
    """One event as a line of JSON, in SI."""
    import json

    at = dt.datetime.fromtimestamp(event.at_ms / 1000, zone)
    return json.dumps(
        {
            "id": event.id,
            "time": at.isoformat(timespec="milliseconds"),
            "name": event.name,
            "level": event.level,
            "data": event.data,
        },
        ensure_ascii=False,
    )


def _levels_from(least: str) -> tuple[str, ...]:
    return _LEVELS[_LEVELS.index(least) :]


def _count(text: str) -> int:
    if text == "all":
        return _ALL
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(
            f"not a count: {text!r}; expected a whole number above 0, or all"
        )
    return int(text)
