"""A driver that reads an object instead of a device."""

from __future__ import annotations

from typing import Protocol

from controller.sensors.driver import ErrorKind, Measurement, SensorError


class AirSource(Protocol):
    """A source of simulated measurements."""

    def measurement(self) -> Measurement | None:
        """Give what the sensor would say now, None when it would not answer."""


class SimulatedDriver:
    """Reads a `AirSource`.

    Parameters
    ----------
    source : AirSource
        Stands in for the sensor.
    """

    __slots__ = ("_source",)

    def __init__(self, source: AirSource) -> None:
        self._source = source

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`."""
        measurement = self._source.measurement()
        if measurement is None:
            raise SensorError(ErrorKind.NO_ANSWER, "the simulated sensor did not answer")
        return measurement

    def close(self) -> None:
        """Nothing to close."""
