"""Runs the DHT's child process with the real decoder on a scripted wire.

    python -m simulators.wire.child SCRIPT

SCRIPT is JSON, for each GPIO of a DHT22 a list of what happens at each start signal: a frame as ten
hexadecimal digits, "silence", "hang", "die", or "chatter" (prints much, then keeps silent). After
its end: silence.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from functools import partial
from types import ModuleType
from typing import Any

from controller.sensors import dht_child
from simulators.wire.decoder import Line, WireTime, fake_blinka, load_decoder
from simulators.wire.frames import train


def answers(script: Sequence[str]) -> Iterator[Sequence[int]]:
    """Play the script, one answer for each start signal."""
    for step in script:
        if step == "silence":
            yield ()
        elif step == "hang":
            # As bad as it gets: a helper holds the pin, and the polite signal ends neither.
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
            helper = subprocess.Popen(["sleep", "600"])
            print(helper.pid, file=sys.stderr, flush=True)
            threading.Event().wait()
        elif step == "die":
            print("Traceback: the pulse helper has gone", file=sys.stderr, flush=True)
            os._exit(3)
        elif step == "chatter":
            print("a library that talks " * 20_000, flush=True)
            yield ()
        else:
            yield train(bytes.fromhex(step))
    while True:
        yield ()


def main(argv: Sequence[str]) -> None:
    """Play sensors and serve them as the real child does."""
    time = WireTime()
    board: Any = ModuleType("board")
    for pin, script in json.loads(argv[0]).items():
        played = answers(script)
        setattr(board, f"D{pin}", Line("dht22", partial(next, played)))
    with fake_blinka(board=board, adafruit_dht=load_decoder(time)):
        dht_child.main(time.monotonic, time.sleep)


if __name__ == "__main__":
    main(sys.argv[1:])
