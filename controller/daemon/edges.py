"""What a tick needs of the world, as small interfaces; the rig of a simulation has the same."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from controller.decision import Readings


class SensorChange(Protocol):
    """A sensor that failed or came back."""

    @property
    def event(self) -> str:
        """``sensor.failed`` or ``sensor.recovered``."""

    @property
    def level(self) -> str:
        """``info``, ``warning`` or ``error``."""

    @property
    def data(self) -> dict[str, object]:
        """What to record of it."""


class SensorState(Protocol):
    """One sensor at the end of a record interval."""

    @property
    def name(self) -> str:
        """Its name in the config."""

    @property
    def temperature_c(self) -> float | None:
        """Its trusted temperature [°C]."""

    @property
    def humidity_pct(self) -> float | None:
        """Its trusted relative humidity [%]."""

    @property
    def failures(self) -> int:
        """Failed or refused measurements since last asked."""

    @property
    def fault(self) -> str | None:
        """The fault that stands."""


class Sensors(Protocol):
    """All sensors of a tent; no call blocks."""

    def poll(self, now_s: float) -> None:
        """Take in what has been measured since the last call."""

    def readings(self, now_s: float) -> Readings:
        """Give the trusted air of the tent and of the intake."""

    def changes(self) -> Sequence[SensorChange]:
        """Give the sensors that failed or recovered since last asked."""

    def states(self) -> Sequence[SensorState]:
        """Give each sensor by itself, and start counting failures anew."""

    def close(self) -> None:
        """Let go of all of them."""


class FanOutput(Protocol):
    """The wire to the fan."""

    def apply(self, speed: float) -> None:
        """Set the speed, 0-1; cheap when unchanged."""

    def close(self) -> None:
        """Let go of the pin."""


class LampOutput(Protocol):
    """The wire to the lamp's relay."""

    def apply(self, on: bool) -> None:
        """Switch the lamp; cheap when unchanged."""

    def close(self) -> None:
        """Let go of the pin."""


class Photocell(Protocol):
    """Tells whether the lamp is lit."""

    def is_lit(self) -> bool:
        """Whether it sees light."""

    def close(self) -> None:
        """Let go of the pin."""


class Tachometer(Protocol):
    """Tells how fast the fan turns."""

    def rpm(self, now_s: float) -> float | None:
        """Give the speed [1/min]; None while it can't tell."""

    def close(self) -> None:
        """Let go of the pin."""


@dataclass(slots=True)
class Edges:
    """Everything a tick touches outside itself, except clock and record.

    Attributes
    ----------
    sensors : Sensors
        All sensors.
    fan : FanOutput
        The fan.
    lamp : LampOutput or None
        The lamp's relay, where the lamp is ours.
    photocell : Photocell or None
        Sees the lamp, where there is one.
    tachometer : Tachometer or None
        Measures the fan, where there is one.
    close : callable
        Lets go of everything, leaving the defined state behind.
    """

    sensors: Sensors
    fan: FanOutput
    lamp: LampOutput | None
    photocell: Photocell | None
    tachometer: Tachometer | None
    close: Callable[[], None]
