"""Running the rehearsing commands in tests."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from controller.__main__ import main

CONFIG = """\
tent: {name: basil box, width: 60 cm, depth: 60 cm, height: 140 cm}
place: {timezone: Europe/Rome}
lamp: {power: 100 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, free_flow: 150 m³/h, max_pressure: 200 Pa, power: 20 W,
      tachometer: {pin: 24}}
schedule: {day_speed: 50 %, night_speed: 20 %}
energy: {price: 0.30, currency: EUR}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
  - {name: room, role: intake, driver: hwmon, device: sht4x}
"""

Run = Callable[..., tuple[int, str, str]]


def runner(capsys: pytest.CaptureFixture[str]) -> Run:
    """Give a function that runs `lungwort` and returns status, stdout and stderr."""

    def run(*argv: str | Path) -> tuple[int, str, str]:
        try:
            status = main([str(arg) for arg in argv])
        except SystemExit as error:  # argparse
            status = int(error.code or 0)
        out, err = capsys.readouterr()
        return status, out, err

    return run


def config_file(folder: Path, text: str = CONFIG, name: str = "basil.yaml") -> Path:
    """Write a config."""
    path = folder / name
    path.write_text(text, "utf-8")
    return path
