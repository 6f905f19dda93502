"""NOAA's Local Climatological Data (LCD) in CSV: times in the station's standard time.

References
----------
NOAA/NCEI, "Local Climatological Data" documentation (from memory): hourly values carry an "s" where
suspect, are empty or "M" where missing, and times are local standard time all year.
"""

from __future__ import annotations

from controller import air
from simulators.weather.observations import (
    Columns,
    Quantity,
    Row,
    build,
    cells_below,
    instant_s,
    iso_time,
    left_out,
    number,
    split,
    standard_time,
    to_c,
)
from simulators.weather.series import Weather, WeatherError

_TEMPERATURE = "HourlyDryBulbTemperature"
_DEW_POINT = "HourlyDewPointTemperature"
_HUMIDITY = "HourlyRelativeHumidity"
_NEEDED = ("DATE", _TEMPERATURE, _DEW_POINT, _HUMIDITY)
# Nearer to saturation, dew point and temperature say little of their unit [K or 1.8 K].
_TELLING_DIFFERENCE = 4.0
_FEWEST_COMPARED = 6


def is_local_climate(header: list[str]) -> bool:
    """Whether the column names are those of an LCD file."""
    return _TEMPERATURE in header


def read_local_climate(name: str, lines: list[str], timezone: str | None) -> Weather:
    """Read an LCD file; suspect values are gaps.

    The file doesn't say whether it was exported in °F or °C. Its own relative humidity does: only
    in the right unit does it follow from temperature and dew point.
    """
    if timezone is None:
        raise WeatherError(
            f"{name}: times are in a local standard time that the file doesn't name; it can only "
            "be read for a config, by its place.timezone"
        )
    rows, suspect = _rows(name, lines, timezone)
    unit = _unit(name, rows)
    columns = Columns(
        Quantity(_TEMPERATURE, unit), Quantity(_DEW_POINT, unit), Quantity(_HUMIDITY, "%")
    )
    notes = [f"the weather file is taken to be in {unit} and in the standard time of {timezone}"]
    if suspect:
        notes.append(f"{left_out(suspect)}: marked suspect in the weather file")
    return build(name, columns, rows, tuple(notes))


def _rows(name: str, lines: list[str], timezone: str) -> tuple[list[Row], int]:
    """Give rows in whichever unit, and the number of suspect values left out."""
    header = split(f"{name}:1", lines[0])
    missing = [column for column in _NEEDED if column not in header]
    if missing:
        raise WeatherError(
            f"{name}:1: an LCD file without the column {' and '.join(missing)}; expected it with "
            "all hourly columns"
        )
    places = [header.index(column) for column in _NEEDED]
    rows: list[Row] = []
    suspect = 0
    for line_number, (date, *texts) in cells_below(name, lines, places, len(header)):
        where = f"{name}:{line_number}"
        if not any(texts):  # a summary of the day or the month
            continue
        values: list[float | None] = []
        for column, text in zip(_NEEDED[1:], texts, strict=True):
            is_suspect = text[-1:] == "s"
            suspect += is_suspect
            values.append(None if is_suspect else number(where, column, text.rstrip("*")))
        time = iso_time(where, date)
        if time.tzinfo is None:
            time = time.replace(tzinfo=standard_time(timezone, time.year))
        temperature, dew_point, humidity = values
        rows.append(Row(line_number, instant_s(where, time), temperature, dew_point, humidity))
    return rows, suspect


def _unit(name: str, rows: list[Row]) -> str:
    """Tell °C from °F by which of them gives the humidity that the file reports beside them."""
    errors = {"°C": 0.0, "°F": 0.0}
    compared = 0
    for row in rows:
        temperature, dew_point, humidity = row.temperature, row.dew_point, row.humidity
        if temperature is None or dew_point is None or humidity is None:
            continue
        if not (-80.0 <= dew_point <= temperature - _TELLING_DIFFERENCE and temperature <= 140.0):
            continue
        compared += 1
        for unit in errors:
            # What is out of range in one unit speaks for the other.
            warm = to_c(temperature, unit) > 60.0
            error = 100.0 if warm else abs(_humidity_pct(temperature, dew_point, unit) - humidity)
            errors[unit] += error
    likely, unlikely = sorted(errors, key=errors.__getitem__)
    if compared < _FEWEST_COMPARED or errors[likely] > 0.6 * errors[unlikely]:
        raise WeatherError(
            f"{name}: can't tell whether its temperatures are °F or °C: neither agrees with "
            f"{_HUMIDITY} in {compared} lines; expected more lines, or columns "
            "temperature_c or temperature_f of a plain CSV"
        )
    return likely


def _humidity_pct(temperature: float, dew_point: float, unit: str) -> float:
    saturated_pa = air.saturation_over_water_pa(to_c(temperature, unit))
    return 100.0 * air.saturation_over_water_pa(to_c(dew_point, unit)) / saturated_pa
