"""A tent with a record, and its commands, for tests."""

from __future__ import annotations

import argparse
from pathlib import Path
from types import ModuleType

from controller.record import ReadingRow, RecordWriter, SensorRow

CONFIG = """\
tent: {{name: test tent, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: {zone}, units: {units}}}
lamp: {{power: 150 W, photoperiod: {{on: "6:00", off: "22:00"}}, switched_by: own_timer}}
fan: {{drive: relay, pin: 17}}
sensors: [{{name: top, role: tent, driver: dht22, pin: 4}}]
record: {{path: {path}}}
"""

# 2013-07-18 20:20:00 UTC, 16:20 in New York.
NOW_MS = 1_374_178_800_000

LOCKED_OUT: dict[str, object] = {
    "rule": "too_hot",
    "status": "locked_out",
    "quantity": "temperature",
    "value": 31.4,
    "limit": 26.7,
    "unit": "°C",
    "intake": 33.0,
    "inside": 31.4,
}
SCHEDULE: dict[str, object] = {
    "rule": "schedule",
    "status": "deciding",
    "quantity": None,
    "value": 0.4,
    "limit": 0.4,
    "unit": "",
}


def write_config(
    folder: Path, *, units: str = "si", zone: str = "America/New_York"
) -> tuple[Path, Path]:
    """The config's path and its record's."""
    record = folder / "tent.sqlite3"
    config = folder / "tent.yaml"
    config.write_text(CONFIG.format(path=record, units=units, zone=zone))
    return config, record


def arguments(command: ModuleType, *argv: object) -> argparse.Namespace:
    """The command's own view of a command line."""
    parser = argparse.ArgumentParser(prog="lungwort")
    command.add(parser.add_subparsers())
    return parser.parse_args([command.__name__.rpartition(".")[2], *map(str, argv)])


def call(command: ModuleType, *argv: object) -> int:
    """Run it."""
    args = arguments(command, *argv)
    return int(args.run(args))


def hot_reading() -> ReadingRow:
    """An afternoon on which the intake air is no help."""
    return ReadingRow(
        at_ms=NOW_MS,
        interval_s=60.0,
        tent_temperature_c=31.4,
        tent_humidity_pct=48.0,
        tent_vpd_pa=2389.6,
        tent_dew_point_c=18.94,
        intake_temperature_c=33.0,
        intake_humidity_pct=40.0,
        fan_speed=0.6,
        fan_on_s=60.0,
        fan_rpm=1234.5,
        lamp_on=True,
        lamp_on_s=60.0,
        in_fan_hours=True,
        rule="schedule",
        locked_out=True,
        sensors=(SensorRow("low", None, None, 24, "dead"), SensorRow("top", 31.4, 48.0)),
    )


def write_hot_afternoon(path: Path) -> None:
    """A record of it."""
    with RecordWriter(path) as writer:
        writer.reading(hot_reading())
        writer.save_state(
            "now",
            NOW_MS + 10_000,
            {
                "at_ms": NOW_MS + 10_000,
                "speed": 0.4,
                "reasons": [SCHEDULE, LOCKED_OUT],
                "lamp_on": True,
                "in_fan_hours": True,
                "next_change": {"at_ms": NOW_MS + 20_400_000, "what": ["lights_off"]},
            },
        )
