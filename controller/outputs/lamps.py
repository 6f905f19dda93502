"""The wires to a lamp: a relay that switches it, a photocell that sees it."""

from __future__ import annotations

from typing import Any

from controller.outputs.errors import explained
from controller.outputs.gpio import PinFactory

# So many samples in a row must agree before the lamp counts as changed: somebody who opens the
# tent, or takes a photograph, is not dusk or dawn.
_LOOKS = 3


class LampRelay:
    """A lamp on a relay.

    Parameters
    ----------
    pin : int
        GPIO of the relay.
    active_low : bool
        Whether a low level lights the lamp.
    on : bool
        State from the first instant.
    pin_factory : gpiozero.Factory
        Where the pin is.
    """

    def __init__(self, pin: int, *, active_low: bool, on: bool, pin_factory: PinFactory) -> None:
        from gpiozero import OutputDevice

        self._name = f"the lamp's relay on GPIO {pin}"
        with explained(self._name):
            self._relay: Any = OutputDevice(
                pin, active_high=not active_low, initial_value=on, pin_factory=pin_factory
            )

    def apply(self, on: bool) -> None:
        """Switch the lamp at every call, which corrects a line that something else changed."""
        with explained(self._name):
            self._relay.value = on

    def close(self) -> None:
        """Release the pin; the kernel keeps its level."""
        self._relay.close()


class Photocell:
    """Sees whether the lamp is lit: a light sensor with a switching output.

    Parameters
    ----------
    pin : int
        GPIO of the sensor's output.
    active_low : bool
        Whether a low level means lit.
    pin_factory : gpiozero.Factory
        Where the pin is.
    """

    def __init__(self, pin: int, *, active_low: bool, pin_factory: PinFactory) -> None:
        from gpiozero import InputDevice

        self._name = f"the photocell on GPIO {pin}"
        with explained(self._name):
            self._line: Any = InputDevice(
                pin, pull_up=None, active_state=not active_low, pin_factory=pin_factory
            )
            self._is_lit = bool(self._line.value)
        self._contrary_looks = 0

    def is_lit(self) -> bool:
        """Whether it sees light; one sample per call, a change counts after three alike."""
        with explained(self._name):
            seen = bool(self._line.value)
        self._contrary_looks = self._contrary_looks + 1 if seen is not self._is_lit else 0
        if self._contrary_looks >= _LOOKS:
            self._is_lit, self._contrary_looks = seen, 0
        return self._is_lit

    def close(self) -> None:
        """Release the pin."""
        self._line.close()
