"""Count pulses that are made meanwhile: count.py FACTORY PULSES HALF_PERIOD_US TICK_S.

Prints one JSON object: pulses made, counted, seconds taken.
"""

import json
import os
import subprocess
import sys
import time

os.environ["GPIOZERO_PIN_FACTORY"] = sys.argv[1]
pulses, half_us, tick_s = int(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4])

from controller.outputs.gpio import open_pin_factory  # noqa: E402
from controller.outputs.tachometer import Tachometer  # noqa: E402

factory = open_pin_factory()
tachometer = Tachometer(25, pulses_per_turn=2, pin_factory=factory)
tachometer.rpm(time.monotonic())
before = tachometer._pulse_count()
began_s = time.monotonic()
maker = subprocess.Popen(
    [sys.executable, "/usr/local/sbin/pulse.py", "25", str(pulses), str(half_us)]
)
while maker.poll() is None:
    time.sleep(tick_s)
    tachometer.rpm(time.monotonic())
took_s = time.monotonic() - began_s
time.sleep(tick_s)
tachometer.rpm(time.monotonic())
print(json.dumps({"made": pulses, "counted": tachometer._pulse_count() - before, "s": took_s}))
tachometer.close()
factory.close()
