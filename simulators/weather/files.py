"""Reading weather files: the ones that ship, a CSV the user brings, and published formats."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

from simulators.weather import global_hourly, local_climate
from simulators.weather.epw import is_epw, read_epw
from simulators.weather.observations import split
from simulators.weather.plain_csv import read_plain_csv
from simulators.weather.plain_json import is_json, read_plain_json
from simulators.weather.series import Weather, WeatherError
from simulators.weather.typical_year import TypicalYear, is_typical_year, read_typical_year

_HERE = Path(__file__).parent
SHIPPED = ("airfield-2013", "coastal-city-2013-07", "invented-heat-wave")

_SHIPPED_ZONE = "America/New_York"

_LARGEST_FILE = 200_000_000


def load_weather(source: str | Path, timezone: str | None = None) -> Weather | TypicalYear:
    """Read a weather file; its first lines tell its format.

    Parameters
    ----------
    source : str or Path
        A file (EPW, TMY3, NOAA global-hourly or LCD, or a CSV or JSON as `plain_csv.COLUMNS`
        says), or the name of one that ships: see `SHIPPED`.
    timezone : str or None
        IANA name of the tent's zone, by which times without a zone are read; None refuses them.

    Raises
    ------
    WeatherError
        Naming file, line, what is wrong and what was expected.
    """
    path = Path(source)
    if not path.is_file() and str(source) in SHIPPED:
        path = _HERE / f"{source}.csv"
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise WeatherError(f"{path}: larger than 200 MB; cut it down to the days you need")
        data = path.read_bytes()
    except OSError as error:
        raise WeatherError(
            f"{path}: {error.strerror or error}; give a weather file or one of the names "
            f"{', '.join(SHIPPED)}"
        ) from None
    # Not splitlines(), which also splits at signs that an editor doesn't count as ends of lines.
    text = _text(path, data).replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    name = path.name
    if is_json(text):
        return read_plain_json(name, text, timezone)
    if is_epw(lines):
        return read_epw(name, lines)
    if is_typical_year(lines):
        return read_typical_year(name, lines)
    header = split(f"{name}:1", lines[0])
    if global_hourly.is_global_hourly(header):
        return global_hourly.read_global_hourly(name, lines)
    if local_climate.is_local_climate(header):
        return local_climate.read_local_climate(name, lines, timezone)
    weather = read_plain_csv(name, lines, timezone)
    if timezone is not None and path.parent == _HERE:
        weather.notes += _clock_notes(timezone, weather.times_s[0])
    return weather


def _clock_notes(timezone: str, at_s: float) -> tuple[str, ...]:
    """What to know of weather that ships, in a tent whose clock is another one."""
    there, here = (
        dt.datetime.fromtimestamp(at_s, ZoneInfo(zone)).utcoffset() or dt.timedelta()
        for zone in (_SHIPPED_ZONE, timezone)
    )
    hottest_h = (15 + (here - there) / dt.timedelta(hours=1)) % 24
    if abs(hottest_h - 15) < 2:
        return ()
    return (
        f"this weather comes from {_SHIPPED_ZONE}: by this tent's clock its hottest hour is about "
        f"{round(hottest_h) % 24:02d}:00. To choose lamp hours, bring a file of your own place",
    )


def _text(path: Path, data: bytes) -> str:
    """Decode a file; older ones are in Latin-1, which matters to names of places and to "°"."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if b"\0" in data:
            raise WeatherError(f"{path}: not a text file in UTF-8 (byte {error.start})") from None
    return data.decode("latin-1")
