"""What only several values together get wrong: errors and warnings over whole settings."""

from __future__ import annotations

from collections.abc import Iterator

from controller.config.checks import (
    alarms,
    bands,
    equipment,
    hours,
    record,
    sensors,
    speeds,
    wiring,
)
from controller.config.checks.view import CheckedConfig, Objection

_TOPICS = (alarms, bands, hours, record, equipment, speeds, wiring, sensors)

__all__ = ["CheckedConfig", "Objection", "check"]


def check(view: CheckedConfig) -> Iterator[Objection]:
    """Every objection whose values the file got right one by one."""
    for topic in _TOPICS:
        for rule in topic.RULES:
            for objection in rule(view):
                if view.is_sound(objection.path, *objection.uses):
                    yield objection
