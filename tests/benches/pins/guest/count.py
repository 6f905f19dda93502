"""Count pulses that are made meanwhile: count.py FACTORY PULSES HALF_PERIOD_US TICK_S.

Prints one JSON object: pulses made and counted, seconds taken; of our own pins also the edges that
the kernel numbered, and how many levels were shorter than count. An emulated processor that is busy
serves an interrupt too late for some of them.
"""

import itertools
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
edges = []
pulses_of = getattr(factory.pin(25), "_pulses", None)
if pulses_of is not None:
    take = pulses_of.take

    def note_and_take(taken):
        """Keep the edges for the report."""
        edges.extend(taken)
        take(taken)

    pulses_of.take = note_and_take
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
found = {"made": pulses, "counted": tachometer._pulse_count() - before, "s": round(took_s, 1)}
if edges:
    widths_ns = [b.at_ns - a.at_ns for a, b in itertools.pairwise(edges)]
    found["edges numbered"] = edges[-1].number
    found["edges read"] = len(edges)
    found["levels too short"] = sum(width < 300_000 for width in widths_ns)
print(json.dumps(found))
tachometer.close()
factory.close()
