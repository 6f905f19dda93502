"""Whether the fan draws current: a current-operated switch in its supply."""

from __future__ import annotations

from typing import Any

from controller.outputs.errors import explained
from controller.outputs.gpio import PinFactory


class CurrentSwitch:
    """A contact that closes while current flows; isolated from the supply that it watches.

    It tells a fan without supply from one that draws current, which a blocked one does, too.

    Parameters
    ----------
    pin : int
        GPIO of the contact.
    active_low : bool
        Whether a low level means current: a contact to ground, with the pin's own pull-up.
    pin_factory : gpiozero.Factory
        Where the pin is.
    """

    def __init__(self, pin: int, *, active_low: bool, pin_factory: PinFactory) -> None:
        from gpiozero import InputDevice

        self._name = f"the fan's current switch on GPIO {pin}"
        with explained(self._name):
            self._line: Any = InputDevice(
                pin,
                pull_up=True if active_low else None,
                active_state=None if active_low else True,
                pin_factory=pin_factory,
            )

    def draws_current(self) -> bool:
        """Whether the fan draws current now."""
        with explained(self._name):
            return bool(self._line.value)

    def close(self) -> None:
        """Release the pin."""
        self._line.close()
