"""What a tick needs of the world, as small interfaces; the rig of a simulation has the same."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from controller.outputs import FanOutput, LampOutput
    from controller.sensors import SensorArray


class PhotocellInput(Protocol):
    """Tells whether the lamp is lit."""

    def is_lit(self) -> bool:
        """Whether it sees light."""

    def close(self) -> None:
        """Let go of the pin."""


class TachometerInput(Protocol):
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
    sensors : SensorArray
        All sensors; threads or a simulation stand behind its pollers.
    fan : FanOutput
        The fan.
    lamp : LampOutput or None
        The lamp's relay, where the lamp is ours.
    photocell : PhotocellInput or None
        Sees the lamp, where there is one.
    tachometer : TachometerInput or None
        Measures the fan, where there is one.
    close : callable
        Lets go of everything, leaving the defined state behind.
    """

    sensors: SensorArray
    fan: FanOutput
    lamp: LampOutput | None
    photocell: PhotocellInput | None
    tachometer: TachometerInput | None
    close: Callable[[], None]
