"""The outputs, fan and lamp, and the inputs that check them: tachometer, current switch, photocell.

The state of a pin, from power-on to power-off:

* Start: an output is claimed together with its level, so nothing flickers.  The fan starts at the
  failsafe speed, until the first decision; a switched lamp starts dark.
* Control: every tick sets every output again.
* Stop, on purpose or after a fault: see `controller.outputs.parking`.
* Power gone, SIGKILL, a frozen kernel: the wiring alone decides.  A relay whose fan hangs on the
  normally closed contact lets it run.
"""

from controller.outputs.errors import HardwareError
from controller.outputs.open_outputs import FanOutput, LampOutput, Outputs, open_outputs, park

__all__ = ["FanOutput", "HardwareError", "LampOutput", "Outputs", "open_outputs", "park"]
