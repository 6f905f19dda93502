"""Which readings of a record tell of tomorrow, and which of past days its forecasts are held to."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller import display
from controller.config.tent_body import tent_body
from controller.errors import UserError
from controller.learning.stored import alike_configs
from controller.sensors.data_sheets import tent_reads_to_c
from controller.tomorrow.blend import LEARNED_DAYS
from controller.tomorrow.foresee import MOST_HINDCASTS

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record.reader import RecordReader
    from controller.record.rows import ReadingRow

LEAST_DAYS = 3
"""Fewer days of intake air say nothing about tomorrow's."""

_DAY_MS = 86_400_000


class TomorrowRows(NamedTuple):
    """What is read of a record.

    Attributes
    ----------
    rows : list of ReadingRow
        The last weeks.
    alike : list of ReadingRow
        Of these, the ones under a config that decides as the one given.
    until_s : float
        The newest reading [Unix s].
    """

    rows: list[ReadingRow]
    alike: list[ReadingRow]
    until_s: float


def read_rows(reader: RecordReader, settings: Settings) -> TomorrowRows:
    """Read the last weeks of a record.

    Raises
    ------
    UserError
        There is too little of them; the message says what is missing.
    """
    if not any(sensor.role == "intake" for sensor in settings.sensors):
        raise UserError(
            "the config has no sensor with role: intake, and tomorrow's tent hangs on the air that "
            "it draws in; hang one where the air goes in"
        )
    ends = reader.span()
    if ends is None:
        raise UserError(f"{reader.path}: no readings yet")
    first_ms = ends[1] - (LEARNED_DAYS + MOST_HINDCASTS) * _DAY_MS
    rows = list(reader.readings(first_ms, ends[1] + 1))
    known_s = sum(row.interval_s for row in rows if row.intake_temperature_c is not None)
    if known_s < LEAST_DAYS * 86_400.0:
        raise UserError(
            f"{reader.path}: {known_s / 86_400.0:.1f} days of intake air in the last weeks; "
            f"tomorrow takes {LEAST_DAYS} at least, and better {LEARNED_DAYS}: ask again later"
        )
    if sum(row.interval_s for row in rows if row.tent_temperature_c is not None) < 86_400.0:
        raise UserError(
            f"{reader.path}: less than a day of the tent's own temperature in the last weeks, so "
            "nothing can be held against it; look after its sensor (lungwort now), then ask again"
        )
    _refuse_clipped(rows, ends[1], settings)
    alike = alike_configs(reader, settings, by=_deciding)
    kept = [row for row in rows if row.config_id is None or row.config_id in alike]
    return TomorrowRows(rows, kept, ends[1] / 1000.0)


def _refuse_clipped(rows: list[ReadingRow], end_ms: int, settings: Settings) -> None:
    """Refuse a last day that was hotter than the tent's sensors tell: "as today" would be too cool.

    Raises
    ------
    UserError
        Saying how hot it was at least.
    """
    most_c = tent_reads_to_c(settings)
    last_day = (row.tent_temperature_c for row in rows if row.at_ms > end_ms - _DAY_MS)
    if max((value for value in last_day if value is not None), default=most_c - 1.0) < most_c:
        return
    shown = display.temperature(most_c, settings.units)
    raise UserError(
        f"within the last day the tent was at least as hot as its sensor tells ({shown}), perhaps "
        "far hotter: nothing can be said of tomorrow; see 'lungwort alarms', and find out why"
    )


def _deciding(settings: Settings) -> tuple[object, ...]:
    """What two configs must have in common to describe the same tent and decide alike."""
    return (
        tent_body(settings),
        settings.place.timezone,
        settings.lamp.photoperiod,
        settings.schedule,
        settings.targets,
        settings.overrides,
        settings.fan,
    )
