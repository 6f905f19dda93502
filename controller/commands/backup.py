"""`lungwort backup`: a consistent copy of the record, also while the daemon writes."""

from __future__ import annotations

import argparse
from pathlib import Path

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.errors import UserError

BACKUP_HELP = "copy the record, consistent even while the daemon writes"
BACKUP_DESCRIPTION = """\
Write a copy of the tent's record to TARGET, a file or a directory. The copy is one consistent
moment even while the daemon writes on; it is checked for damage and flushed to the disk before it
gets its name, so TARGET is always a whole backup. An existing TARGET is replaced.

To restore: stop the daemon; move the record and the files beside it that end in -wal and -shm away;
put the backup in the record's place, owned by the daemon's user; start the daemon. A backup made by
an older version is brought up to date then; one made by a newer version is refused. For a service:

  sudo systemctl stop lungwort@chillies
  sudo sh -c 'cd /var/lib/lungwort && mkdir before &&
      mv chillies.sqlite3* before'
  sudo install -o lungwort -g lungwort -m640 BACKUP \\
      /var/lib/lungwort/chillies.sqlite3
  sudo systemctl start lungwort@chillies
"""

_EXAMPLES = """\
examples:
  lungwort backup /etc/lungwort/chillies.yaml /mnt/stick/
  lungwort backup /etc/lungwort/chillies.yaml chillies-2031-07-18.sqlite3
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "backup",
        help=BACKUP_HELP,
        description=BACKUP_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument("target", metavar="TARGET", help="the file to write, or a directory")
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.commands.in_force import settings_in_force
    from controller.record import backup_record

    settings = settings_in_force(args.config)
    source = args.record or settings.record_path
    target = Path(args.target)
    if target.is_dir():
        target /= source.name
    elif args.target.endswith("/"):  # a stick that is not plugged in is not to become a file
        raise UserError(f"there is no directory {args.target}; nothing was written")
    size = backup_record(source, target)
    shown = f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.0f} kB"
    print(f"{target}: {shown}, checked")
    return 0
