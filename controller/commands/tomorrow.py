"""`lungwort tomorrow`: tomorrow's peak and hours out of band, and what to do tonight."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import time
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from controller.commands.arguments import HelpPage, add_config, add_record, complete_files
from controller.display import duration
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.tomorrow.hours import OutdoorHours, RoomHours
    from controller.tomorrow.report import OutdoorFile, TomorrowReport
    from controller.tomorrow.source import TomorrowRows
    from simulators.learned_tent import ModelledTent
    from simulators.weather import TypicalYear, Weather

TOMORROW_HELP = "tomorrow's peak, the hours out of band, and what helps tonight"
TOMORROW_DESCRIPTION = """\
Foresees the day after the newest reading: how hot the tent will get and when,
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
# The newest reading of a running daemon is younger.
_OLD_S = 2 * 3600.0


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
        from controller.tomorrow.words import as_text

        print("\n".join(as_text(report, terminal_width())))
    return 0


def report_of(
    settings: Settings, read: TomorrowRows, model: ModelledTent, weather: str | None
) -> TomorrowReport:
    """Foresee the day after the newest reading.

    Parameters
    ----------
    settings : Settings
        The config's.
    read : TomorrowRows
        What the record has of the last weeks.
    model : ModelledTent
        Of the tent.
    weather : str or None
        A file in place of the config's `forecast.file`.

    Raises
    ------
    UserError
        Too little is known, or the file given can't be used.
    """
    from controller.tomorrow.foresee import MOST_CHECKED, Checked, Known, check, expect
    from controller.tomorrow.report import TomorrowReport
    from controller.tomorrow.tonight import try_tonight
    from simulators.day_ahead import SimulatedTent, evenings

    hours = hours_of(settings, read)
    outdoors, file = outdoor_air(settings, hours, weather)
    known = Known(hours, outdoors, settings.lamp.power_w, SimulatedTent(settings, model))
    *over, now = evenings(read.alike, settings, hours, MOST_CHECKED + 2)
    past: list[Checked] = []
    for evening in over:
        checked = check(known, evening, past)
        if checked is not None:
            past.append(checked)
    expected = expect(known, now, past)
    if expected is None:
        raise UserError(
            "more than half of the last 24 hours' intake air is missing, and tomorrow goes on from "
            "there; ask again after a day of readings"
        )
    zone = ZoneInfo(settings.place.timezone)
    return TomorrowReport(
        settings,
        dt.datetime.fromtimestamp(now.start_s, zone).date(),
        read.until_s,
        time.time() - read.until_s > _OLD_S,
        _known_days(hours),
        now,
        expected,
        try_tonight(known, now, expected, settings),
        file,
        model.words(zone),
        model.to_json(),
    )


def hours_of(settings: Settings, read: TomorrowRows) -> RoomHours:
    """The record's hours, and those of the lamp to the end of tomorrow."""
    from controller.tent_physics import TentPhysics
    from controller.timetable import Timetable
    from controller.tomorrow.hours import room_hours

    timetable = Timetable.from_settings(settings)
    tomorrow = timetable.day(timetable.local_date(read.until_s - 1.0) + dt.timedelta(days=1))
    first = read.rows[0]
    return room_hours(
        read.rows,
        first.at_ms / 1000.0 - first.interval_s,
        read.until_s,
        tomorrow.end_s,
        TentPhysics.from_settings(settings).pressure_pa,
        timetable,
    )


def _known_days(hours: RoomHours) -> float:
    from controller.tomorrow.blend import LEARNED_DAYS
    from controller.tomorrow.hours import DAY_HOURS

    last = hours.temperature_c[-LEARNED_DAYS * DAY_HOURS :]
    return sum(value is not None for value in last) / DAY_HOURS


def outdoor_air(
    settings: Settings, hours: RoomHours, given: str | None
) -> tuple[OutdoorHours | None, OutdoorFile]:
    """The air outdoors; none, and why, where the file is no forecast or the config's is no file.

    Raises
    ------
    WeatherError
        A file given on the command line can't be read.
    """
    from controller.tent_physics import TentPhysics
    from controller.tomorrow.report import OutdoorFile
    from simulators.weather.ahead import outdoor_hours
    from simulators.weather.series import WeatherError

    path = settings.forecast_file
    source = given or (None if path is None else str(path))
    if source is None:
        return None, OutdoorFile(None)
    name = Path(source).name
    try:
        if given is None:
            _refuse_stale(Path(source), settings.forecast.stale_after_s)
        weather = _weather(source, settings)
    except WeatherError as error:
        if given is not None:
            raise
        return None, OutdoorFile(name, error.message.partition(".\n")[0])
    pressure_pa = TentPhysics.from_settings(settings).pressure_pa
    try:
        outdoors = outdoor_hours(weather, hours, len(hours.temperature_c), pressure_pa)
    except WeatherError as error:
        return None, OutdoorFile(name, error.message)
    return outdoors, OutdoorFile(name, None, weather.notes)


def _weather(source: str, settings: Settings) -> Weather:
    from simulators.weather import TypicalYear, load_weather
    from simulators.weather.series import WeatherError

    weather: Weather | TypicalYear = load_weather(source, settings.place.timezone)
    if isinstance(weather, TypicalYear):
        raise WeatherError(
            f"{Path(source).name}:1: a typical year tells of no real tomorrow; expected the "
            "weather of the last days and the next two"
        )
    return weather


def _refuse_stale(path: Path, stale_after_s: float) -> None:
    from simulators.weather.series import WeatherError

    try:
        age_s = time.time() - path.stat().st_mtime
    except OSError as error:
        raise WeatherError(f"{path}: {error.strerror}; expected hourly weather") from None
    if age_s > stale_after_s:
        raise WeatherError(
            f"{path}: written {duration(age_s)} ago, longer than forecast.stale_after "
            f"({duration(stale_after_s)}): look whether its program still runs"
        )
