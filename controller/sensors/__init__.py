"""The sensors: drivers, the pollers that keep them read, and the array the daemon asks.

Importing this package imports neither adafruit_dht nor Blinka: those live in a child process.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from controller.sensors.array import SensorArray, SensorState, SensorTransition
    from controller.sensors.driver import Driver, ErrorKind, Measurement, SensorError

__all__ = [
    "Driver",
    "ErrorKind",
    "Measurement",
    "SensorArray",
    "SensorError",
    "SensorState",
    "SensorTransition",
]

_HOME = {
    "Driver": "driver",
    "ErrorKind": "driver",
    "Measurement": "driver",
    "SensorArray": "array",
    "SensorError": "driver",
    "SensorState": "array",
    "SensorTransition": "array",
}


def __getattr__(name: str) -> Any:
    """Import on first use: the DHT's child lives in this package too and must stay small."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
