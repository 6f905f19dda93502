"""A pin factory for gpiozero on libgpiod version 2: no thread, no polling, no glitch.

The line stays with the kernel: an output is requested together with its level, an input together
with its pull, and edges are queued by the kernel until somebody asks for their count.  So nothing
here wakes a process that idles, and a fork holds no line (the kernel's descriptors close on exec).

Needs gpiozero and the Python bindings of libgpiod (`gpiod`), nothing else: nothing in this package
imports the rest of lungwort, so that it can be lifted out.  gpiozero finds it by its entry point,
as GPIOZERO_PIN_FACTORY=gpiod.

Not offered: PWM, which the kernel times better (`pwm-gpio`), and `when_changed`, which would need a
thread; edges are counted instead, see `GpiodPin.start_pulse_count`.
"""

from controller.outputs.gpiod_pins.chip import HEADER_LABELS, find_header_chip
from controller.outputs.gpiod_pins.factory import GpiodFactory, GpiodPin
from controller.outputs.gpiod_pins.pulses import Edge, PulseCounter

__all__ = [
    "HEADER_LABELS",
    "Edge",
    "GpiodFactory",
    "GpiodPin",
    "PulseCounter",
    "find_header_chip",
]
