"""`lungwort review`: what happened, why, and what to change."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.commands.progress import ProgressBar

if TYPE_CHECKING:
    from controller.review.report import Review

REVIEW_HELP = "review a day, a week or a season: what happened, why, what to change"
REVIEW_DESCRIPTION = """\
Review the newest day of the record, another day, or a stretch of days: how hot and how humid it
got and for how long, what the fan did and why, what it cost, and what to change. Each reading is
judged by the config that was in force when it was taken. Works while the daemon writes.
"""
REVIEW_EPILOG = """\
examples:
  lungwort review tent.yaml                          the newest day
  lungwort review tent.yaml --day yesterday --html day.html
  lungwort review tent.yaml --last 7d
  lungwort review tent.yaml --from 2013-06-01 --to 2013-08-31 \\
      --html summer.html
  lungwort review tent.yaml --day 2013-07-18 --csv readings > day.csv

'What to change' replays up to 14 days under changed settings, and the changes that help them on up
to 14 recorded days around, in a second or two; it needs intake readings, and says nothing that a
replay did not show. --no-advice skips it.
The layout of --json as JSON Schema: python -m controller.review.views.json_schema
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "review",
        help=REVIEW_HELP,
        description=REVIEW_DESCRIPTION,
        epilog=REVIEW_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    period = parser.add_argument_group("which days")
    period.add_argument(
        "--day", metavar="D", help="one local day: YYYY-MM-DD, today, yesterday or newest (default)"
    )
    period.add_argument("--from", dest="first", metavar="A", help="first day of a stretch of days")
    period.add_argument("--to", dest="last", metavar="B", help="its last day; default: the newest")
    period.add_argument(
        "--last", dest="length", metavar="7d", help="so many days or weeks up to the newest day"
    )
    form = parser.add_argument_group("how it is shown")
    kind = form.add_mutually_exclusive_group()
    html = kind.add_argument(
        "--html", metavar="FILE", type=Path, help="write one self-contained page; - for the output"
    )
    html.complete = {"bash": "_shtab_compgen_files", "zsh": "_files"}  # type: ignore[attr-defined]
    kind.add_argument("--json", action="store_true", help="print all of it as JSON, in SI units")
    kind.add_argument(
        "--csv",
        choices=("readings", "events"),
        help="print the readings or the events as CSV, in SI units",
    )
    form.add_argument("--ascii", action="store_true", help="no characters beyond ASCII")
    form.add_argument(
        "--no-advice", action="store_true", help="skip the replays that back 'what to change'"
    )
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.commands.in_force import loaded_in_force
    from controller.review.open_record import Asked, open_source
    from controller.review.period import check_period

    check_period(day=args.day, first=args.first, last=args.last, length=args.length)
    loaded = loaded_in_force(args.config)
    asked = Asked(args.day, args.first, args.last, args.length)
    with open_source(loaded, args.record, asked) as source:
        if args.csv:
            from controller.review.views.csv_view import write_csv

            write_csv(source, args.csv)
            return 0
        from controller.review.advice import Advice, advice_on
        from controller.review.views.output import show

        def advised(review: Review) -> Advice:
            if args.no_advice:
                return Advice()
            with ProgressBar(1.0) as bar:
                return advice_on(source, review, bar.show)

        return show(source, loaded, args, advised)
