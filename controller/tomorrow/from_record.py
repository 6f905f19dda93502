"""A record, a config and perhaps a weather file → tomorrow: where files are read for it.

What simulates is imported inside functions: the daemon's own process never comes here.
"""

from __future__ import annotations

import datetime as dt
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller.display import duration
from controller.errors import UserError
from controller.tent_physics import TentPhysics
from controller.timetable import Timetable
from controller.tomorrow.as_json import as_json
from controller.tomorrow.blend import LEARNED_DAYS
from controller.tomorrow.foresee import MOST_HINDCASTS, ForecastBasis, expect, hindcast_all
from controller.tomorrow.hours import DAY_HOURS, room_hours
from controller.tomorrow.report import OutdoorFile, TomorrowReport
from controller.tomorrow.source import read_rows
from controller.tomorrow.tonight import try_tonight

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.learning.learned import Learned
    from controller.record.reader import RecordReader
    from controller.tomorrow.hours import OutdoorHours, RoomHours
    from controller.tomorrow.source import TomorrowRows
    from simulators.learned_tent import ModelledTent
    from simulators.weather import TypicalYear, Weather

# The newest reading of a running daemon is younger.
_OLD_S = 2 * 3600.0


def tomorrow_in_record(reader: RecordReader, learned: Learned | None) -> dict[str, Any]:
    """Foresee tomorrow under a record's newest config, for the record; see `as_json`.

    Parameters
    ----------
    reader : RecordReader
        The record.
    learned : Learned or None
        What was just learned from it; None: the tent as it was last learned.

    Raises
    ------
    UserError
        Too little is known; the message says what.
    """
    from controller.config import ConfigError, settings_from_text
    from simulators.learned_tent import ModelledTent, recorded_model

    configs = reader.configs()
    try:
        settings = settings_from_text(configs[-1].yaml, "config in the record").settings
    except (IndexError, ConfigError):
        raise UserError("the record has no config that this version can read") from None
    read = read_rows(reader, settings)
    if learned is not None:
        model = ModelledTent(learned, settings)
    else:
        model = recorded_model(reader, settings)
    return as_json(report_of(settings, read, model, None))


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
    from simulators.day_ahead import SimulatedTent, evenings

    hours = hours_of(settings, read)
    outdoors, file = outdoor_air(settings, hours, weather)
    basis = ForecastBasis(hours, outdoors, settings.lamp.power_w, SimulatedTent(settings, model))
    *past_evenings, now = evenings(read.alike, settings, hours, MOST_HINDCASTS + 2)
    expected = expect(basis, now, hindcast_all(basis, past_evenings))
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
        try_tonight(basis, now, expected, settings),
        file,
        model.words(zone),
        model.to_json(),
    )


def hours_of(settings: Settings, read: TomorrowRows) -> RoomHours:
    """The record's hours, and those of the lamp to the end of tomorrow."""
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
