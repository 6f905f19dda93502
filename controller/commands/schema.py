"""`lungwort schema`: the JSON Schema of the config, for editors."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from controller.commands.arguments import HelpPage
from controller.errors import UserError

SCHEMA_HELP = "print the JSON Schema of the config, for editors"
SCHEMA_DESCRIPTION = """\
Print the JSON Schema of the config. An editor that knows it completes keys, shows what they mean
and marks mistakes while you type. The examples name it in their first line:

  # yaml-language-server: $schema=lungwort.schema.json

The schema knows every key, unit and choice. What several values get wrong together (two devices on
one pin, a hysteresis wider than its band) only `lungwort check` sees.
"""

_EXAMPLES = """\
examples:
  lungwort schema --write lungwort.schema.json
  lungwort schema --check config/lungwort.schema.json
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "schema",
        help=SCHEMA_HELP,
        description=SCHEMA_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    to = parser.add_mutually_exclusive_group()
    to.add_argument("--write", metavar="FILE", type=Path, help="write it to FILE instead")
    to.add_argument(
        "--check",
        metavar="FILE",
        type=Path,
        help="compare FILE with it; exit status 1 when FILE is missing or out of date",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print, write or compare the schema."""
    from controller.config import schema as json_schema

    text = json_schema.text()
    try:
        if args.write is not None:
            args.write.write_text(text, encoding="utf-8")
        elif args.check is not None:
            if args.check.read_text(encoding="utf-8", errors="replace") != text:
                raise UserError(
                    f"{args.check} is out of date; run `lungwort schema --write {args.check}`"
                )
        else:
            sys.stdout.write(text)
    except OSError as error:
        raise UserError(f"{error.filename}: {error.strerror}") from None
    return 0
