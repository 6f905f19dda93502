"""`lungwort alarms`: what needs a person, and taking note of it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import HelpPage, add_config, add_record

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

_DESCRIPTION = """\
List the alarms: what is the matter, since when, and what to do. An alarm is sent
once and stands until its cause is gone; one of high priority that came and went
while nobody looked is kept until it is acknowledged.

With --acknowledge the running daemon takes note that you know.
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
        help="take note of an alarm, by its name in the list, or of 'all'",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List or acknowledge."""
    from controller.config import load_settings

    settings = load_settings(args.config).settings
    record = args.record or settings.record_path
    if args.acknowledge is not None:
        return _acknowledge(args.acknowledge, record)
    import json
    from zoneinfo import ZoneInfo

    from controller.alarms.watch import STATE_KEY
    from controller.record import RecordReader

    with RecordReader(record) as reader:
        state = reader.state(STATE_KEY)
    saved = state.value if state is not None and isinstance(state.value, dict) else {}
    rows = _rows(saved, ZoneInfo(settings.place.timezone))
    if args.json:
        print(json.dumps(rows, ensure_ascii=False, indent=2))
    else:
        _print(rows)
    return 0


def _acknowledge(name: str, record: Any) -> int:
    from controller.alarms.kinds import BY_NAME
    from controller.daemon.control_socket import ask, socket_path
    from controller.errors import UserError

    if name != "all" and name not in BY_NAME:
        import difflib

        near = difflib.get_close_matches(name, BY_NAME, 1)
        hint = f"; {near[0]}, perhaps" if near else ""
        raise UserError(f"there is no alarm called {name!r}{hint}", status=2)
    body = {"command": "acknowledge", "alarm": None if name == "all" else name}
    count = ask(socket_path(record), body).get("acknowledged", 0)
    print(
        "Nothing to acknowledge."
        if not count
        else f"{count} alarm{'' if count == 1 else 's'} acknowledged."
    )
    return 0


def _rows(saved: dict[str, Any], zone: ZoneInfo) -> list[dict[str, Any]]:
    import datetime as dt

    from controller.alarms.kinds import BY_NAME
    from controller.alarms.states import STALE_AFTER_S, AlarmState

    listed, at_ms = saved.get("alarms"), saved.get("at_ms")
    rows = []
    for alarm in listed if isinstance(listed, list) else []:
        try:
            kind = BY_NAME[alarm["alarm"]]
            raised = dt.datetime.fromtimestamp(alarm["raised_ms"] / 1000, zone)
            standing_s = (at_ms - alarm["raised_ms"]) / 1000
            rows.append(
                {
                    "alarm": kind.name,
                    "priority": kind.priority.value,
                    "state": AlarmState(alarm["state"]).value,
                    "chattering": bool(alarm["chattering"]),
                    "raised": raised.isoformat(timespec="seconds"),
                    "stale": alarm["state"] != "over" and standing_s > STALE_AFTER_S,
                    "title": kind.title,
                    "response": kind.response_to(str(alarm.get("why", ""))),
                }
            )
        except (KeyError, TypeError, ValueError, OverflowError, OSError):
            continue  # of some other version, or scrambled by a power cut
    ranks = {"high": 0, "medium": 1, "low": 2}
    rows.sort(key=lambda row: (row["state"] == "over", ranks[row["priority"]], row["raised"]))
    return rows


def _print(rows: list[dict[str, Any]]) -> None:
    import datetime as dt
    import textwrap

    if not rows:
        print("No alarms.")
        return
    for row in rows:
        raised = dt.datetime.fromisoformat(row["raised"])
        notes = [row["state"]]
        if row["stale"]:
            notes.append("for more than a day")
        if row["chattering"]:
            notes.append("comes and goes")
        print(f"{row['priority']:<7} {row['alarm']}  ({', '.join(notes)})")
        print(f"        {row['title'].capitalize()}, since {raised:%A %-d %B %H:%M}.")
        response = f"{row['response'][0].upper()}{row['response'][1:]}."
        print(textwrap.fill(response, 79, initial_indent="        ", subsequent_indent="        "))
