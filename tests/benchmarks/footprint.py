"""Memory, processor share, wake-ups and start-up of the idle daemon beside floors; prints a table.

    python tests/benchmarks/footprint.py [--seconds 60]

Floors: a process that imports the listed libraries and does nothing (memory), and one with an idle
APScheduler and a gpiozero device on mock pins with a job every second (processor).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import textwrap
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]

_FLOOR_MEMORY = """
import gpiozero, gpiozero.pins.mock, yaml, structlog
import apscheduler.schedulers.background, apscheduler.triggers.cron
import simulators.wire
with simulators.wire.fake_blinka():
    import adafruit_dht
print("ready", flush=True)
import time; time.sleep(3600)
"""
_FLOOR_CPU = """
import gpiozero, yaml, structlog
from gpiozero.pins.mock import MockFactory
from apscheduler.schedulers.background import BackgroundScheduler
gpiozero.Device.pin_factory = MockFactory()
fan = gpiozero.OutputDevice(17)
scheduler = BackgroundScheduler(timezone="UTC")
scheduler.add_job(lambda: fan.on(), "interval", seconds=1)
scheduler.start()
print("ready", flush=True)
import time; time.sleep(3600)
"""
_CONFIG = """
tent: {{name: footprint, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: Etc/UTC}}
lamp: {{power: 150 W, photoperiod: {{on: 06:00, off: 22:00}}}}
fan: {{drive: relay, pin: 17}}
sensors: [{{name: canopy, role: tent, driver: hwmon, device: sht4x}}]
record: {{path: {record}}}
"""


def memory_mib(pid: int) -> tuple[float, float]:
    """Resident and private memory of a process [MiB]."""
    figures = {}
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text("ascii").splitlines():
        name, _, rest = line.partition(":")
        if rest.strip().endswith("kB"):
            figures[name] = int(rest.split()[0]) / 1024
    return figures["Rss"], figures["Private_Clean"] + figures["Private_Dirty"]


def cpu_s(pid: int) -> float:
    """Processor time of a process so far [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def wakeups(pid: int) -> int:
    """How often any thread of a process went to sleep by itself so far, and so was woken."""
    return sum(
        int(line.split()[1])
        for status in Path(f"/proc/{pid}/task").glob("*/status")
        for line in status.read_text("ascii", "replace").splitlines()
        if line.startswith("voluntary_ctxt_switches")
    )


def start(code: str) -> subprocess.Popen[str]:
    """Start a floor and wait until it is ready."""
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=os.environ | {"GPIOZERO_PIN_FACTORY": "mock"},
    )
    assert process.stdout is not None
    process.stdout.readline()
    return process


def start_daemon(folder: Path) -> tuple[subprocess.Popen[str], float]:
    """Start the daemon on mock pins; gives it and the seconds to its first event."""
    config = folder / "tent.yaml"
    config.write_text(_CONFIG.format(record=folder / "tent.sqlite3"), "utf-8")
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "controller", "run", str(config)],
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=os.environ | {"GPIOZERO_PIN_FACTORY": "mock", "RUNTIME_DIRECTORY": str(folder)},
    )
    assert process.stderr is not None
    for line in process.stderr:
        if '"fan.changed"' in line:
            break
    return process, time.monotonic() - began


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0, help="how long to watch")
    watched_s = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as folder:
        floor, idle = start(_FLOOR_MEMORY), start(_FLOOR_CPU)
        daemon, start_s = start_daemon(Path(folder))
        time.sleep(5.0)  # until start-up has settled; nothing is asserted here
        before = cpu_s(idle.pid), cpu_s(daemon.pid)
        woken = wakeups(daemon.pid)
        time.sleep(watched_s)
        after = cpu_s(idle.pid), cpu_s(daemon.pid)
        woken = wakeups(daemon.pid) - woken
        rows = [
            ("memory, imports alone", *memory_mib(floor.pid)),
            ("memory, daemon", *memory_mib(daemon.pid)),
        ]
        for process in (floor, idle, daemon):
            process.kill()
            process.wait()
    print(f"{'':28}{'resident MiB':>14}{'private MiB':>14}")
    for name, resident, private in rows:
        print(f"{name:28}{resident:14.1f}{private:14.1f}")
    print(f"{'daemon over floor':28}{rows[1][1] / rows[0][1]:14.2f}{rows[1][2] / rows[0][2]:14.2f}")
    idle_pct = 100 * (after[0] - before[0]) / watched_s
    daemon_pct = 100 * (after[1] - before[1]) / watched_s
    print(f"processor, idle scheduler with a 1-s job: {idle_pct:.2f} %")
    print(f"processor, daemon:                        {daemon_pct:.2f} %")
    if idle_pct > 0:
        print(f"daemon over floor:                        {daemon_pct / idle_pct:.2f}")
    print(f"wake-ups a second, daemon on mock pins:   {woken / watched_s:.2f}")
    print(f"start-up, command to first fan command:   {start_s:.2f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
