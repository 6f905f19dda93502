"""The small interface of every sensor driver, and how drivers fail."""

from __future__ import annotations

from enum import StrEnum
from typing import Protocol

from controller.measurement import Measurement

__all__ = ["Driver", "ErrorKind", "Measurement", "SensorError"]


class ErrorKind(StrEnum):
    """Why no measurement came."""

    NO_ANSWER = "no_answer"  # the sensor kept silent or the bus failed; the next read may succeed
    GARBLED = "garbled"  # an answer came and could not be understood
    MISSING = "missing"  # the device is not there
    DENIED = "denied"  # the device is there and may not be opened
    UNSUPPORTED = "unsupported"  # this machine or installation cannot read such a sensor
    HUNG = "hung"  # the read did not come back
    CRASHED = "crashed"  # the reader ended or failed in an unforeseen way

    @property
    def needs_a_person(self) -> bool:
        """Whether waiting will not help, so that the error is reported at once."""
        return self in (ErrorKind.MISSING, ErrorKind.DENIED, ErrorKind.UNSUPPORTED)


class SensorError(Exception):
    """A sensor could not be opened or read.

    Parameters
    ----------
    kind : ErrorKind
        What sort of failure.
    message : str
        What is wrong and, where a person can help, what to do.
    """

    def __init__(self, kind: ErrorKind, message: str) -> None:
        super().__init__(message)
        self.kind = kind
        self.message = message


class Driver(Protocol):
    """One sensor."""

    def read(self) -> Measurement:
        """Measure once; blocks while the sensor works.

        Raises
        ------
        SensorError
            When no measurement came.
        """

    def close(self) -> None:
        """Close the device; may be called again, and by another thread during a read."""
