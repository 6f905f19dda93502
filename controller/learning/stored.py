"""What a record keeps of earlier learnings, for whatever simulates the tent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.learning.learned import Learned, learned_from_json

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record.reader import RecordReader

# A failing sensor or a week of open doors may leave out some nights.
_NIGHTS_BACK = 30


def newest_learned(
    reader: RecordReader, settings: Settings, until_ms: float | None = None
) -> Learned | None:
    """The newest tent learned under a config like this one; None where there is none.

    Parameters
    ----------
    reader : RecordReader
        The record.
    settings : Settings
        Whose tent: all but the fan's control and the targets must be alike.
    until_ms : float or None
        What was learned later is not looked at, unless nothing was before [Unix ms].
    """
    rows = [row for row in reader.learnings(_NIGHTS_BACK) if "learned" in row.result]
    if not rows:
        return None
    alike = alike_configs(reader, settings)
    rows = [row for row in rows if row.config_id in alike]
    before = [row for row in rows if until_ms is None or row.at_ms <= until_ms]
    for row in [*reversed(before), *rows]:
        learned = learned_from_json(row.result["learned"])
        if learned is not None:
            return learned
    return None


def alike_configs(reader: RecordReader, settings: Settings) -> frozenset[int]:
    """The recorded configs that describe the same tent."""
    from controller.config import ConfigError, settings_from_text

    wanted, alike = tent_body(settings), set()
    for row in reader.configs():
        try:
            recorded = settings_from_text(row.yaml, "config in the record").settings
        except ConfigError:
            continue  # written by another version
        if tent_body(recorded) == wanted:
            alike.add(row.id)
    return frozenset(alike)


def tent_body(settings: Settings) -> tuple[object, ...]:
    """All of a config that the model knows, and that is not learned or decided."""
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
