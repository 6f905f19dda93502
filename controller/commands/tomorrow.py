"""`lungwort tomorrow`: tomorrow's peak and hours out of band, and what to do tonight."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from controller.commands.arguments import HelpPage, add_config, add_record, complete_files

TOMORROW_HELP = "tomorrow's peak, the hours out of band, and what helps tonight"
TOMORROW_DESCRIPTION = """\
Foresee the day after the newest reading: how hot the tent will get and when,
how long it will be out of its bands, each with a 90 % interval, and which of a
few things done tonight would help against heat: other lamp hours, fewer, more
air at night, an aired room. Each is run on the tent as the daemon learned it,
with the decisions of the daemon.

The room is learned from the record's last 14 days and follows outdoors, where a
file tells the weather of those days and of tomorrow: forecast.file in the config
or --weather. Without one, tomorrow is hardly better than "as today".
"""
TOMORROW_EPILOG = """\
The file is hourly, as CSV or JSON, with its times, temperature and dew point or
humidity; rehearse --weather reads the same. Keep 14 days that are over in it.

examples:
  lungwort tomorrow /etc/lungwort/chillies.yaml
  lungwort tomorrow /etc/lungwort/chillies.yaml --weather here.csv --json

The layout of --json as JSON Schema: python -m controller.tomorrow.as_json

Tried on simulated tents and rooms only. Lamps and mains power can hurt people:
see the cautions in the README.
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "tomorrow",
        help=TOMORROW_HELP,
        description=TOMORROW_DESCRIPTION,
        epilog=TOMORROW_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    weather = parser.add_argument(
        "--weather",
        metavar="FILE",
        help="outdoor weather, past days and tomorrow, in place of the config's forecast.file",
    )
    complete_files(weather)
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Foresee and print."""
    from controller.config import load_settings
    from controller.record import RecordReader
    from controller.tomorrow.from_record import report_of
    from controller.tomorrow.source import read_rows
    from simulators.learned_tent import recorded_model

    settings = load_settings(args.config).settings
    record: Path = args.record or settings.record_path
    with RecordReader(record) as reader, reader.snapshot():
        read = read_rows(reader, settings)
        model = recorded_model(reader, settings)
    report = report_of(settings, read, model, args.weather)
    if args.json:
        from controller.tomorrow.as_json import as_json

        print(json.dumps(as_json(report), ensure_ascii=False, indent=2))
    else:
        from controller.tables import terminal_width
        from controller.tomorrow.tomorrow_words import as_text

        print("\n".join(as_text(report, terminal_width())))
    return 0
