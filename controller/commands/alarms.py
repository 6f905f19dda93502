"""`lungwort alarms`: what needs a person, and taking note of it."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.commands.in_force import settings_in_force
from controller.commands.requests import send_request

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from controller.record import RecordReader

_INDENT = " " * 8
_NARROW = 60
_DAY = "%A %-d %B"

_DESCRIPTION = """\
List the alarms: what is the matter, since when, and what to do. An alarm is sent
once and stands until its cause is gone; one of high priority that came and went
while nobody looked is kept until it is acknowledged.

With --acknowledge the running daemon takes note that you know; without a name
behind it the names are listed.
"""

_EXAMPLES = """\
examples:
  lungwort alarms /etc/lungwort/chillies.yaml
  lungwort alarms /etc/lungwort/chillies.yaml --acknowledge severe_heat
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "alarms",
        help="what needs you, and taking note of it",
        description=_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument(
        "--acknowledge",
        metavar="ALARM",
        nargs="?",
        const="",
        help="take note of an alarm, by its name in the list, or of 'all'",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List or acknowledge."""

    if args.acknowledge is not None:
        _check_name(args.acknowledge, lambda: _listed(args))
        record = args.record or settings_in_force(args.config).record_path
        return _acknowledge(args.acknowledge, record)
    rows = _listed(args)
    if args.json:
        import json

        print(json.dumps(rows, ensure_ascii=False, indent=2))
    else:
        from controller.tables import terminal_width

        print("\n".join(as_text(rows, _command(args), terminal_width())))
    return 0


def _command(args: argparse.Namespace) -> str:
    """This very command, to be written once more with something behind it."""
    import shlex

    words = ["lungwort", "alarms", str(args.config)]
    if args.record is not None:
        words += ["--record", str(args.record)]
    return shlex.join(words)


def _check_name(name: str, listed: Callable[[], list[dict[str, Any]]]) -> None:
    """Refuse what is no alarm's name, with the names there are to acknowledge.

    Raises
    ------
    UserError
        For no name and for one that is unknown.
    """
    from controller.alarms.kinds import BY_NAME
    from controller.errors import UserError

    if name == "all" or name in BY_NAME:
        return
    wrong, hint = "--acknowledge: no alarm is named", ""
    if name:
        import difflib

        near = difflib.get_close_matches(name, BY_NAME, 1)
        wrong = f"--acknowledge: there is no alarm called {name!r}"
        hint = f"{near[0]}, perhaps, or " if near else ""
    expected = f"{hint}all, or one of {', '.join(BY_NAME)}"
    with contextlib.suppress(UserError):  # no config or no record yet, say
        names = [row["alarm"] for row in listed() if row["state"] != "acknowledged"]
        if names:
            expected = f"{hint}all, or of those not acknowledged yet: {', '.join(names)}"
        elif not name:
            expected += "; at the moment there is none to acknowledge"
    raise UserError(f"{wrong}; expected {expected}", status=2)


def _acknowledge(name: str, record: Path) -> int:
    body = {"command": "acknowledge", "alarm": None if name == "all" else name}
    count = send_request(record, body).get("acknowledged", 0)
    print(
        "Nothing to acknowledge."
        if not count
        else f"{count} alarm{'' if count == 1 else 's'} acknowledged."
    )
    return 0


def _listed(args: argparse.Namespace) -> list[dict[str, Any]]:
    """The alarms of the record asked for, as `--json` prints them."""
    from zoneinfo import ZoneInfo

    from controller.record import RecordError, RecordReader

    settings = settings_in_force(args.config)
    is_dark = False
    with RecordReader(args.record or settings.record_path) as reader, reader.snapshot():
        with contextlib.suppress(RecordError):  # damaged readings hide no alarm
            newest = reader.latest()
            is_dark = newest is not None and not newest.lamp_on
        return recorded_alarms(reader, ZoneInfo(settings.place.timezone), is_dark=is_dark)


def recorded_alarms(reader: RecordReader, zone: ZoneInfo, *, is_dark: bool) -> list[dict[str, Any]]:
    """Read the alarms that the daemon last saved, as `rows_of` gives them."""
    from controller.alarms.watch import STATE_KEY

    state = reader.state(STATE_KEY)
    saved = state.value if state is not None and isinstance(state.value, dict) else {}
    return rows_of(saved, zone, is_dark=is_dark)


def rows_of(saved: dict[str, Any], zone: ZoneInfo, *, is_dark: bool) -> list[dict[str, Any]]:
    """The alarms that the daemon saved, those that still hold and matter most first.

    Parameters
    ----------
    saved : dict
        From `controller.alarms.watch.AlarmWatch.saved`.
    zone : zoneinfo.ZoneInfo
        Of the times.
    is_dark : bool
        Whether the lamp is dark, which what to do may depend on.
    """
    from controller.alarms.kinds import BY_NAME
    from controller.alarms.notifications import is_learned
    from controller.alarms.states import STALE_AFTER_S, AlarmState
    from controller.display import rfc3339

    at_ms: Any = saved.get("at_ms")
    listed = saved.get("alarms")
    rows: list[dict[str, Any]] = []
    for alarm in listed if isinstance(listed, list) else []:
        try:
            kind, state = BY_NAME[alarm["alarm"]], AlarmState(alarm["state"])
            is_over = state is AlarmState.OVER
            standing_s = (at_ms - alarm["raised_ms"]) / 1000
            response = kind.response_to(str(alarm.get("why", "")), is_dark=is_dark and not is_over)
            rows.append(
                {
                    "alarm": kind.name,
                    "priority": kind.priority.value,
                    "state": state.value,
                    "chattering": bool(alarm["chattering"]),
                    "since": rfc3339((alarm.get("began_ms") or alarm["raised_ms"]) / 1000, zone),
                    "learned": is_learned(kind.name, str(alarm.get("compared_with") or "")),
                    "raised": rfc3339(alarm["raised_ms"] / 1000, zone),
                    # It came into this state when it ended.
                    "ended": rfc3339(at_ms / 1000 - alarm["age_s"], zone) if is_over else None,
                    "stale": not is_over and standing_s > STALE_AFTER_S,
                    "title": kind.title,
                    "basis": _basis(alarm, zone),
                    "response": response,
                }
            )
        except (KeyError, TypeError, ValueError, OverflowError, OSError):
            continue  # of some other version, or scrambled by a power cut
    standing = {row["alarm"] for row in rows if row["state"] != "over"}
    for row in rows:
        graver = next((name for name in BY_NAME[row["alarm"]].graver if name in standing), None)
        if graver is not None and row["alarm"] in standing:
            row["response"] = f"do what {graver} above asks for"
    ranks = {"high": 0, "medium": 1, "low": 2}
    rows.sort(key=lambda row: (row["state"] == "over", ranks[row["priority"]], row["raised"]))
    return rows


def _basis(alarm: dict[str, Any], zone: ZoneInfo) -> str:
    """What the readings were compared with, and whether a sensor may be why; "" for most."""
    from controller.alarms.kinds import OR_SENSOR
    from controller.wording.fields import doubt_words

    return doubt_words(alarm.get("compared_with"), alarm.get("why") == OR_SENSOR, zone)


def as_text(rows: list[dict[str, Any]], command: str, width: int) -> list[str]:
    """The list for people: what is the matter, since when, what to do, how to take note of it.

    Parameters
    ----------
    rows : list of dict
        From `rows_of`.
    command : str
        The command that lists them, for the one that takes note.
    width : int
        Columns to fit into.
    """
    from controller.tables import wrapped

    if not rows:
        return ["No alarms."]
    lines: list[str] = []
    for row in rows:
        notes = [row["state"]]
        if row["stale"]:
            notes.append("for more than a day")
        if row["chattering"]:
            notes.append("comes and goes")
        lines += wrapped(f"{row['priority']:<7} {row['alarm']}  ({', '.join(notes)})", width)
        texts = [f"{row['title'].capitalize()}, {_span(row)}."]
        if row["basis"]:
            texts.append(row["basis"])
        if row["ended"] is None:
            texts.append(f"{row['response'][0].upper()}{row['response'][1:]}.")
        else:
            texts.append(f"If it comes again: {row['response']}.")
            until = "until" if row["priority"] == "high" else "for an hour, or until"
            texts.append(
                f"It is over, and listed {until} acknowledged: "
                f"{command} --acknowledge {row['alarm']}"
            )
        for text in texts:
            lines += wrapped(text, width, first=_INDENT if width >= _NARROW else "  ")
    if any(row["state"] == "active" for row in rows):
        lines += ["", *wrapped(f"To take note of one: {command} --acknowledge NAME", width)]
    return lines


def _span(row: dict[str, Any]) -> str:
    """Since when it stands, or from when to when it did; when it was noticed, if learned."""
    import datetime as dt

    from controller.display import local_span

    began = dt.datetime.fromisoformat(row["since"])
    if row["ended"] is None:
        return f"{'noticed' if row['learned'] else 'since'} {began:{_DAY} %H:%M}"
    return f"from {local_span(began, dt.datetime.fromisoformat(row['ended']), _DAY)}"
