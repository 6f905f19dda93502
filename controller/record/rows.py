"""The rows of a record as values: what writers take and readers give."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple


class SensorRow(NamedTuple):
    """One sensor's share of a reading.

    Attributes
    ----------
    sensor : str
        The sensor's name in the config.
    temperature_c, humidity_pct : float or None
        Its last trusted measurement in the interval [°C, %]; None without one.
    failures : int
        Failed or refused measurements in the interval.
    fault : str or None
        The fault that stands at the end of the interval, if any.
    attempts : int or None
        Measurements tried in the interval; None in records of before they were counted.
    co2_ppm : float or None
        Its last trusted carbon dioxide in the interval [ppm by volume]; None where not measured.
    """

    sensor: str
    temperature_c: float | None = None
    humidity_pct: float | None = None
    failures: int = 0
    fault: str | None = None
    attempts: int | None = None
    co2_ppm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """One record interval; the columns are described in the schema.

    `at_ms` is the end of the interval in Unix milliseconds; `config_id` None means the config
    that the writer was last told of. Temperatures [°C], humidities [%], VPD [Pa], speeds 0–1.
    """

    at_ms: int
    interval_s: float
    config_id: int | None = None
    tent_temperature_c: float | None = None
    tent_temperature_min_c: float | None = None
    tent_temperature_max_c: float | None = None
    tent_humidity_pct: float | None = None
    tent_humidity_min_pct: float | None = None
    tent_humidity_max_pct: float | None = None
    tent_vpd_pa: float | None = None
    tent_dew_point_c: float | None = None
    intake_temperature_c: float | None = None
    intake_humidity_pct: float | None = None
    fan_speed: float
    fan_on_s: float
    fan_rpm: float | None = None
    lamp_on: bool
    lamp_on_s: float
    in_fan_hours: bool
    rule: str
    locked_out: bool = False
    sensors: tuple[SensorRow, ...] = field(default=())


class EventRow(NamedTuple):
    """One event: when [Unix ms], what, how grave, and its data (units in the keys)."""

    id: int
    at_ms: int
    name: str
    level: str
    data: dict[str, object]


class ConfigRow(NamedTuple):
    """A config and since when [Unix ms] it was in force."""

    id: int
    at_ms: int
    sha256: str
    yaml: str


class LearningRow(NamedTuple):
    """What a fit to the record's last days gave, decoded from JSON; when [Unix ms]; its config."""

    at_ms: int
    config_id: int | None
    result: dict[str, object]


class StateRow(NamedTuple):
    """A saved value, decoded from JSON, and when [Unix ms] it was saved."""

    key: str
    at_ms: int
    value: object
