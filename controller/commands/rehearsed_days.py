"""Which days a command rehearses, and in which weather."""

from __future__ import annotations

import argparse
import datetime as dt
from typing import TYPE_CHECKING

from controller.errors import UserError

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.weather import Weather

DEFAULT_WEATHER = "coastal-city-2013-07"
_MOST_DAYS = 3660


def add_days(parser: argparse.ArgumentParser) -> None:
    """Add what says which days to rehearse, in which weather."""
    parser.add_argument(
        "--weather",
        metavar="FILE",
        default=DEFAULT_WEATHER,
        help=f"hourly weather, a file or one of the names below; default {DEFAULT_WEATHER}",
    )
    parser.add_argument(
        "--from",
        dest="first",
        metavar="DATE",
        type=date,
        help="first day, local; default: the first whole day of the weather file",
    )
    parser.add_argument(
        "--days", metavar="N", type=days, default=7, help="how many days; default 7"
    )
    parser.add_argument(
        "--seed", metavar="N", type=int, default=1, help="of the sensors' errors; default 1"
    )


def date(text: str) -> dt.date:
    """Read a date."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no date; expected YYYY-MM-DD, such as 2013-07-18"
        ) from None


def days(text: str) -> int:
    """Read a number of days."""
    try:
        count = int(text)
    except ValueError:
        count = 0
    if not 1 <= count <= _MOST_DAYS:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of days from 1 to {_MOST_DAYS}")
    return count


def span(
    settings: Settings, source: str, first: dt.date | None, count: int
) -> tuple[Weather, dt.date, float, float]:
    """Read the weather and find the days.

    Returns
    -------
    tuple of (Weather, datetime.date, float, float)
        Weather that covers the days, the first of them, and their bounds [Unix s].
    """
    from controller.timetable import Timetable
    from simulators.weather import TypicalYear, load_weather

    timetable = Timetable.from_settings(settings)
    weather = load_weather(source, settings.place.timezone)
    if first is None:
        if isinstance(weather, TypicalYear):
            raise UserError("a typical year has no first day; give --from DATE", status=2)
        first = timetable.local_date(weather.times_s[0])
        if timetable.day(first).start_s < weather.times_s[0]:
            first += dt.timedelta(days=1)
    start_s = timetable.day(first).start_s
    until_s = timetable.day(first + dt.timedelta(days=count)).start_s
    return weather.covering(start_s, until_s), first, start_s, until_s
