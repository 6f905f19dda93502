"""Keep the daemon writing: holds, releases and other air; tell the host what is in the record.

    bench_nag.py RECORD SOCKET SEED

Readings are looked up as any other process would, and told through a port of the machine.
"""

import contextlib
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from controller.daemon.control_socket import ask
from controller.errors import UserError

record, address, seed = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
rng = random.Random(seed)
eyes = Path("/dev/virtio-ports/bench.eyes").open("w", buffering=1)  # noqa: SIM115
while True:
    with contextlib.suppress(UserError):
        ask(address, {"command": "hold", "speed": 1.0, "for_s": rng.uniform(60.0, 3600.0)})
    time.sleep(rng.uniform(0.0, 0.4))
    with contextlib.suppress(UserError):
        ask(address, {"command": "release"})
    with contextlib.suppress(sqlite3.Error):
        with contextlib.closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as db:
            (newest_ms,) = db.execute("SELECT max(at_ms) FROM readings").fetchone()
        if newest_ms is not None:
            eyes.write(f"{newest_ms}\n")
    if rng.random() < 0.2:
        air = (str(rng.randint(14_000, 34_000)), str(rng.randint(30_000, 95_000)))
        subprocess.run(["bench-air.sh", *air], check=False)
    time.sleep(rng.uniform(0.0, 0.4))
