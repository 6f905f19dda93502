"""`lungwort wiring`: what of a config goes to which pin, what to buy, and what to take care of."""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

from controller.commands.arguments import HelpPage, add_config, complete_files

WIRING_HELP = "which part goes to which pin, what to buy, what to take care of"
WIRING_DESCRIPTION = """\
Show how this config is wired: each part to its pin of the 40-pin header, with its supply, resistor
and relay contact, the lines for config.txt, what the wire does with the Pi dead, starting or
stopped, what to buy in general terms, and what to take care of. --html draws it on a page to print.

Mains power can kill and start fires: a licensed electrician does all mains wiring, and local codes
come before anything this sheet says.
"""
_EPILOG = """\
examples:
  lungwort wiring config/chillies.yaml
  lungwort wiring config/basil.yaml --html wiring.html

exit status: 0 shown, 1 the page can't be written, 2 the config is wrong
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Declare the command and its options."""
    parser = subparsers.add_parser(
        "wiring",
        help=WIRING_HELP,
        description=WIRING_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    complete_files(
        parser.add_argument("--html", metavar="FILE", type=Path, help="write a page with a drawing")
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Show the sheet, or write its page."""
    from controller.config import load_settings
    from controller.wiring.sheet import wiring_sheet

    loaded = load_settings(args.config)
    for warning in loaded.warnings:
        print(warning._replace(message=f"warning: {warning.message}"), file=sys.stderr)
    sheet = wiring_sheet(loaded.settings)
    if args.html is None:
        from controller.wiring.text import as_text

        print(as_text(sheet, shutil.get_terminal_size().columns - 1))
        return 0
    from controller.whole_file import whole_file
    from controller.wiring.page import page

    with whole_file(args.html, "the page ") as part:
        part.write_text(page(sheet), encoding="utf-8")
    print(f"Written: {args.html}")
    return 0
