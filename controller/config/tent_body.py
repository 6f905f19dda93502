"""All of a config that the tent's model knows: what is learned holds for configs alike in it."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.config.model import Settings


def tent_body(settings: Settings) -> tuple[object, ...]:
    """All of a config that the model knows, and that is not learned or decided."""
    return (*ventilated_body(settings), settings.crop)


def ventilated_body(settings: Settings) -> tuple[object, ...]:
    """All of it but the crop: while it is alike, so is what the fan is expected to move."""
    tent, fan = settings.tent, settings.fan
    return (
        (tent.width_m, tent.depth_m, tent.height_m, tent.elevation_m),
        settings.lamp.power_w,
        (fan.drive, fan.free_flow_m3_s, fan.max_pressure_pa, fan.curve, fan.power_w),
        settings.duct,
        [
            (s.role, s.driver, s.device, s.temperature_offset_k, s.humidity_offset_pct)
            for s in settings.sensors
        ],
    )


def tent_digest(settings: Settings) -> str:
    """A short text that is alike for configs of the same tent, whatever grows in it."""
    return hashlib.sha256(repr(ventilated_body(settings)).encode()).hexdigest()[:16]
