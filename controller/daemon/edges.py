"""The devices that a tick uses, behind small interfaces that a simulation implements too."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from controller.outputs import FanOutput, LampOutput
    from controller.outputs.open_outputs import Outputs
    from controller.sensors import SensorArray


class PhotocellInput(Protocol):
    """The photocell that sees whether the lamp is lit."""

    def is_lit(self) -> bool:
        """Whether it sees light."""

    def close(self) -> None:
        """Release the pin."""


class TachometerInput(Protocol):
    """The tachometer that measures the fan."""

    def rpm(self, now_s: float) -> float | None:
        """Give the speed [1/min]; None while it is not known."""

    def close(self) -> None:
        """Release the pin."""


class CurrentSwitchInput(Protocol):
    """The switch that sees whether the fan draws current."""

    def draws_current(self) -> bool:
        """Whether it does now."""

    def close(self) -> None:
        """Release the pin."""


@dataclass(slots=True)
class Edges:
    """Every device that a tick uses; clock and record are passed separately.

    Attributes
    ----------
    sensors : SensorArray
        All sensors, polled by threads or a simulation.
    fan : FanOutput
        The fan.
    lamp : LampOutput or None
        The lamp's relay, where the controller switches the lamp.
    photocell : PhotocellInput or None
        Sees the lamp, where there is one.
    tachometer : TachometerInput or None
        Measures the fan, where there is one.
    close : callable
        Releases everything and leaves fan and lamp parked.
    current_switch : CurrentSwitchInput or None
        Sees whether the fan draws current, where there is one.
    """

    sensors: SensorArray
    fan: FanOutput
    lamp: LampOutput | None
    photocell: PhotocellInput | None
    tachometer: TachometerInput | None
    close: Callable[[], None]
    current_switch: CurrentSwitchInput | None = None

    @classmethod
    def joined(cls, sensors: SensorArray, outputs: Outputs, close: Callable[[], None]) -> Edges:
        """Put opened sensors and outputs together.

        Parameters
        ----------
        sensors : SensorArray
            All sensors.
        outputs : Outputs
            Fan and lamp, and what watches them.
        close : callable
            Releases everything.
        """
        return cls(
            sensors,
            outputs.fan,
            outputs.lamp,
            outputs.photocell,
            outputs.tachometer,
            close,
            outputs.current_switch,
        )
