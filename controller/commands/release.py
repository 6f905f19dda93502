"""`lungwort release`: end a hold."""

from __future__ import annotations

import argparse

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.commands.in_force import settings_in_force
from controller.commands.requests import send_request

_EXAMPLES = """\
example:
  lungwort release /etc/lungwort/chillies.yaml
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "release",
        help="end a hold",
        description="End a hold: the running daemon chooses the fan's speed again.",
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Ask the daemon."""

    settings = settings_in_force(args.config)
    reply = send_request(args.record or settings.record_path, {"command": "release"})
    print(
        "The hold is released; the daemon chooses the speed again."
        if reply.get("released")
        else "No hold stood; nothing to release."
    )
    return 0
