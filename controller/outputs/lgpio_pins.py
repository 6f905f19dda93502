"""gpiozero's lgpio pins without glitches: the level is right from claim to release.

Three things that gpiozero does on lgpio would move a relay that nobody switched.  It first claims
every line as an input, so a relay that was left pulled in drops out for a moment; it claims an
output low and sets it afterwards, so an active-low relay pulls in at every start; and it turns
outputs into floating inputs when they are closed.  Here a line that is being driven stays driven
until it is claimed for what it is to be, an output is claimed together with its level, and closing
one lets go of the line as it is: the kernel of Raspberry Pi OS then keeps
driving it, other kernels may return it to an input, where the resistor on the wire decides.
"""

from __future__ import annotations

from typing import Any

import lgpio
from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin
from gpiozero.pins.local import LocalPiPin


class SteadyPin(LGPIOPin):  # type: ignore[misc]
    """An lgpio pin whose level never glitches."""

    def __init__(self, factory: Any, info: Any) -> None:
        # What LGPIOPin does, but for its claim of a line that another process left driven.
        LocalPiPin.__init__(self, factory, info)
        self._pwm = None
        self._bounce = None
        self._callback = None
        self._edges = lgpio.BOTH_EDGES
        self._is_held = self._get_function() == "input"
        if self._is_held:
            lgpio.gpio_claim_input(factory._handle, self._number, lgpio.SET_PULL_NONE)

    def output_with_state(self, state: bool) -> None:
        """Claim the line as an output that has this level from its first instant."""
        self._pwm = None
        lgpio.gpio_claim_output(self.factory._handle, self._number, int(bool(state)))
        self._is_held = True

    def close(self) -> None:
        """Release the line: an output keeps its level, an input stays an input."""
        if not self._is_held or self.factory._handle is None:
            return
        if self._get_function() == "output":
            self._set_frequency(None)
        else:
            super().close()
        lgpio.gpio_free(self.factory._handle, self._number)
        self._is_held = False

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        self._is_held = True


def open_factory() -> LGPIOFactory:
    """A factory of steady pins on the Pi's own GPIO chip."""
    factory = LGPIOFactory()
    factory.pin_class = SteadyPin
    return factory
