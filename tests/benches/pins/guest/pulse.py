"""Pulse a line of the simulated chip: pulse.py LINE PULSES HALF_PERIOD_US; 0 pulses: for ever."""

import os
import sys
import time

line, pulses, half_s = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]) / 1e6
pull = os.open(f"/run/board/sim_gpio{line}/pull", os.O_WRONLY)
due_s = time.monotonic()
made = 0
while pulses == 0 or made < pulses:
    for level in (b"pull-down", b"pull-up"):
        due_s = max(due_s + half_s, time.monotonic())
        time.sleep(max(0.0, due_s - time.monotonic()))
        os.pwrite(pull, level, 0)
    made += 1
