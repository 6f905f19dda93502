"""Pulse a line of the simulated chip: pulse.py LINE PULSES HALF_PERIOD_US; 0 pulses: for ever.

No level is shorter than half a period: a guest that falls behind pulses more slowly.
"""

import os
import sys
import time

line, pulses, half_s = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]) / 1e6
pull = os.open(f"/run/board/sim_gpio{line}/pull", os.O_WRONLY)
made = 0
while pulses == 0 or made < pulses:
    for level in (b"pull-down", b"pull-up"):
        time.sleep(half_s)
        os.pwrite(pull, level, 0)
    made += 1
