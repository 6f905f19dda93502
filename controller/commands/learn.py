"""`lungwort learn`: what the record tells of the tent, beside what the config says of it."""

from __future__ import annotations

import argparse
from pathlib import Path

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.commands.requests import send_request

_DESCRIPTION = """\
Learn the tent from its own record: how much heat the fabric lets through, what
the fan really moves through filter and duct, what the plants give off, and how
far the sensors disagree, each with a 90 % interval beside what the config says.
Say too what the record can't tell, and what to do. Nothing is written; the
daemon does the same every night and keeps the result.

The fan's usual flow is that of a reference week: the first since the config's
fan, duct, filter, lamp or sensors changed, or since --filter-changed.
"""
_EPILOG = """\
examples:
  lungwort learn /etc/lungwort/chillies.yaml
  lungwort learn /etc/lungwort/chillies.yaml --days 14 --json
  lungwort learn /etc/lungwort/chillies.yaml --filter-changed

The method (DEVELOPERS.md, "Learning a tent") has been tried on simulated tents
only. All figures are scaled by lamp.power: give what a plug meter shows.
"""


def _days(text: str) -> int:
    try:
        number = int(text.removesuffix("d"))
    except ValueError:
        number = 0
    if not 3 <= number <= 60:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of days from 3 to 60")
    return number


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "learn",
        help="what the record tells of the tent itself: flow, heat loss, plants",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument(
        "--days",
        metavar="N",
        type=_days,
        default=7,
        help="how many days up to the newest reading, 3 to 60 (default 7)",
    )
    parser.add_argument(
        "--filter-changed",
        action="store_true",
        help="tell the running daemon that the filter was changed, or fan and duct were cleaned: "
        "the week from now on becomes the reference, and the alarm reduced_flow ends",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Learn and print."""
    import json
    from zoneinfo import ZoneInfo

    from controller.config import load_settings
    from controller.learning.learned_words import as_text, sentences, unknown_words
    from controller.learning.source import learn_from_record
    from controller.record import RecordReader

    settings = load_settings(args.config).settings
    record = args.record or settings.record_path
    if args.filter_changed:
        return _filter_changed(record)
    with RecordReader(record) as reader, reader.snapshot():
        learned = learn_from_record(reader, settings, args.days)
    zone = ZoneInfo(settings.place.timezone)
    if args.json:
        texts = [*sentences(learned, zone, "si"), *unknown_words(learned)]
        figures = {**learned.as_json(), "sentences": texts}
        print(json.dumps(figures, ensure_ascii=False, indent=2))
    else:
        from controller.tables import terminal_width

        print("\n".join(as_text(learned, zone, settings.units, terminal_width())))
    return 0


def _filter_changed(record: Path) -> int:
    send_request(record, {"command": "filter_changed"})
    print("Noted: the week from now on is the reference for the fan's usual flow.")
    return 0
