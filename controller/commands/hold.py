"""`lungwort hold`: keep the fan of a running daemon at a speed for a while."""

from __future__ import annotations

import argparse

from controller.commands.arguments import HelpPage, add_config, add_record, quantity
from controller.commands.in_force import settings_in_force
from controller.commands.requests import send_request

_EXAMPLES = """\
examples:
  lungwort hold /etc/lungwort/chillies.yaml --speed 40% --for 30min
  lungwort hold /etc/lungwort/chillies.yaml --speed 0% --for 5min
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "hold",
        help="keep the fan at a speed for a while",
        description="Keep the fan of a running daemon at a speed, whatever the air, until the "
        "time is up or 'lungwort release'. The hold outlives a restart of the daemon. While the "
        "fan is held low nothing cools the tent: stay with it.",
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument(
        "--speed", required=True, type=quantity("speed"), help="fan speed, such as 40%%"
    )
    parser.add_argument(
        "--for",
        dest="for_s",
        required=True,
        type=quantity("duration"),
        metavar="DURATION",
        help="how long, such as 30min; a week at most",
    )
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Ask the daemon."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from controller import display
    from controller.daemon.control_socket import check_hold
    from controller.tables import terminal_width, wrapped

    check_hold(args.speed, args.for_s)
    settings = settings_in_force(args.config)
    check_hold(args.speed, args.for_s, is_relay=settings.fan.drive == "relay")
    body = {"command": "hold", "speed": args.speed, "for_s": args.for_s}
    reply = send_request(args.record or settings.record_path, body)
    until = datetime.fromtimestamp(reply["until_ms"] / 1000, ZoneInfo(settings.place.timezone))
    least = ", its least speed," if reply["speed"] > args.speed else ""
    release = f"lungwort release {args.config}" + (
        f" --record {args.record}" if args.record else ""
    )
    resting = " Nothing cools the tent meanwhile: stay with it." if reply["speed"] == 0.0 else ""
    text = (
        f"The fan is held at {display.speed(reply['speed'])}{least} until {until:%A %H:%M}."
        f"{resting} '{release}' ends it sooner."
    )
    print(*wrapped(text, terminal_width()), sep="\n")
    return 0
