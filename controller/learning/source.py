"""Which readings of a record can be learned from: the last days under one and the same tent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.learning.learn import CannotLearnError, learn
from controller.learning.learned import Learned

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.config import Settings
    from controller.record.reader import RecordReader
    from controller.record.rows import ReadingRow

DAYS = 7
"""How many days are learned from, unless somebody says otherwise."""

_DAY_MS = 86_400_000


def learn_from_record(
    reader: RecordReader, settings: Settings | None = None, days: float = DAYS
) -> Learned:
    """Learn a tent from the newest days of its record.

    Parameters
    ----------
    reader : RecordReader
        The record.
    settings : Settings or None
        The config; None for the one that the record has last.
    days : float
        How many days up to the newest reading.

    Raises
    ------
    CannotLearnError
        The record doesn't tell; the message says why.
    """
    ends = reader.span()
    if ends is None:
        raise CannotLearnError("the record has no readings yet")
    until_ms = ends[1]
    alike, newest = _configs(reader, settings)
    if newest is None:
        raise CannotLearnError("the record has no config that this version can read")
    rows = _rows(reader, max(ends[0] - 1, round(until_ms - days * _DAY_MS)), until_ms, alike)
    return learn(settings or newest, rows)


def _rows(
    reader: RecordReader, after_ms: int, until_ms: int, alike: frozenset[int]
) -> Iterator[ReadingRow]:
    for row in reader.readings(after_ms + 1, until_ms + 1):
        if row.config_id is None or row.config_id in alike:
            yield row


def _configs(
    reader: RecordReader, settings: Settings | None
) -> tuple[frozenset[int], Settings | None]:
    """The recorded configs that describe the same tent as a given or the newest one, and that."""
    from controller.config import ConfigError, settings_from_text

    known: dict[int, Settings] = {}
    for row in reader.configs():
        try:
            known[row.id] = settings_from_text(row.yaml, "config in the record").settings
        except ConfigError:
            continue  # written by another version
    newest = known[max(known)] if known else None
    wanted = settings or newest
    if wanted is None:
        return frozenset(), None
    alike = frozenset(number for number, one in known.items() if _body(one) == _body(wanted))
    if known and max(known) not in alike:
        raise CannotLearnError(
            "this config describes another tent, lamp, fan, duct or crop than the one in force: "
            "let the daemon run with it for some days first, or give the config in force"
        )
    return alike, newest


def _body(settings: Settings) -> tuple[object, ...]:
    """All of a config that the model knows."""
    tent, fan = settings.tent, settings.fan
    return (
        (tent.width_m, tent.depth_m, tent.height_m, tent.elevation_m),
        settings.lamp.power_w,
        (fan.drive, fan.free_flow_m3_s, fan.max_pressure_pa, fan.curve, fan.power_w),
        settings.duct,
        settings.crop,
        [
            (s.role, s.driver, s.device, s.temperature_offset_k, s.humidity_offset_pct)
            for s in settings.sensors
        ],
    )
