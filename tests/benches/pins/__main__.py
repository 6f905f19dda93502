"""Both pin factories in a real guest; ../pins.sh is the command and its head the manual."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "power_cut"))

import image  # noqa: E402
from disk import Disk, Fate  # noqa: E402
from lines import changes, driven, levels, now  # noqa: E402
from machine import Machine, MachineError  # noqa: E402

UNIT = "lungwort@chillies"
FAN, LAMP, TACHOMETER = 17, 27, 24
# 6,000 turns a minute with two pulses a turn: 200 pulses a second.
HALF_PERIOD_US = 2500
PULSES = 1000
_SET_UP = f"""
sed -i 's/^fan: {{/fan: {{tachometer: {{pin: {TACHOMETER}}}, /' /root/chillies.yaml
bash /root/set-up-service.sh
"""
_SWITCHES = "cat /proc/$(systemctl show -P MainPID {unit})/task/*/status"


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--counts", action="store_true")
    args = parser.parse_args()
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lungwort-bench"
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    began_s = time.monotonic()

    def say(text: str) -> None:
        print(f"[{time.monotonic() - began_s:5.0f} s] {text}", flush=True)

    figures: dict[str, Any] = {}
    with tempfile.TemporaryDirectory(prefix="lungwort-pins-") as temporary:
        work = Path(temporary)
        try:
            built = image.build(cache, work, say)
            machine = Machine(built, Disk(built.disk), work)
            try:
                machine.wait_awake()
                for script in (HERE / "guest").glob("*.py"):
                    text = script.read_text("utf-8")
                    machine.tell(f"cat >/usr/local/sbin/{script.name} <<'END'\n{text}END")
                machine.tell(f"echo pull-up >/run/board/sim_gpio{TACHOMETER}/pull")
                machine.tell(_SET_UP)
                say("the service is set up")
                for factory in ("gpiod", "lgpio"):
                    figures[factory] = _counts(machine, factory)
                    if not args.counts:
                        figures[factory] |= _measure(machine, factory, args.seconds)
                    say(f"{factory}: {json.dumps(figures[factory])}")
                machine.power_off()
            finally:
                if machine.is_on():
                    machine.cut(Fate.KEPT, random.Random(0))
        except (image.BuildError, MachineError) as error:
            print(f"pins: FAILED: {error}", file=sys.stderr)
            return 1
    wrong = _wrong(figures["gpiod"])
    figures |= {"wrong": wrong, "run_on": dt.datetime.now(dt.UTC).date().isoformat()}
    if args.json is not None:
        args.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")
    print(json.dumps(figures, indent=1))
    print("pins: " + (f"FAILED: {'; '.join(wrong)}" if wrong else "passed"))
    return 1 if wrong else 0


def _counts(machine: Machine, factory: str) -> dict[str, Any]:
    """Pulses made and counted, however often the count is asked for."""
    figures: dict[str, Any] = {}
    machine.tell(f"systemctl stop {UNIT}")
    for tick_s in (0.5, 2.0, 5.0):
        machine.tell("systemctl stop pulses 2>/dev/null || true")
        text = machine.tell(
            f"cd /tmp && LG_WD=/tmp /opt/lungwort/bin/python /usr/local/sbin/count.py {factory} "
            f"{PULSES} {HALF_PERIOD_US} {tick_s}",
            timeout_s=600.0,
        )
        figures[f"pulses, asked every {tick_s:g} s"] = json.loads(text.splitlines()[-1])
    return figures


def _measure(machine: Machine, factory: str, seconds: float) -> dict[str, Any]:
    """Levels and wake-ups of the daemon."""
    figures: dict[str, Any] = {}
    before = levels(machine, FAN, LAMP)
    machine.tell(
        "mkdir -p /etc/systemd/system/lungwort@.service.d && printf "
        f"'[Service]\\nEnvironment=GPIOZERO_PIN_FACTORY={factory}\\n' "
        ">/etc/systemd/system/lungwort@.service.d/pins.conf && systemctl daemon-reload && "
        f"systemctl start {UNIT}"
    )
    lit = f"[ $(cat /run/board/sim_gpio{LAMP}/value) = 0 ]"
    if machine.wait_until(lit, 90.0) is None:
        raise MachineError(machine.tell(f"journalctl -b -u {UNIT} -o cat | tail -20"))
    fan, lamp = (
        after[len(was) :] for was, after in zip(before, levels(machine, FAN, LAMP), strict=True)
    )
    figures["start: fan levels"] = driven(fan)
    figures["start: lamp levels (1 is dark)"] = driven(lamp)
    time.sleep(10.0)  # until the start has settled
    figures["wake-ups/s, fan still"] = _wakeups(machine, seconds)
    machine.tell(
        "systemd-run -q --unit=pulses /opt/lungwort/bin/python /usr/local/sbin/pulse.py "
        f"{TACHOMETER} 0 {HALF_PERIOD_US}"
    )
    time.sleep(5.0)
    figures["wake-ups/s, 6000 rpm"] = _wakeups(machine, seconds)
    figures["rpm shown"] = machine.tell("lungwort now /etc/lungwort/chillies.yaml | grep rpm")
    figures["memory MiB"] = _memory_mib(machine)
    machine.tell("systemctl stop pulses")
    before = tuple(was[:-1] for was in levels(machine, FAN, LAMP))  # and the newest one of all
    machine.tell(f"systemctl kill -s KILL {UNIT}")
    dark = f"[ $(systemctl show -P NRestarts {UNIT}) = 1 ] && {lit}"
    if machine.wait_until(dark, 120.0) is None:
        raise MachineError("not restarted after a kill")
    fan, lamp = (
        after[len(was) :] for was, after in zip(before, levels(machine, FAN, LAMP), strict=True)
    )
    figures["killed: fan levels"] = changes(fan)
    figures["killed: lamp levels (1 is dark)"] = changes(lamp)
    machine.tell(f"systemctl stop {UNIT}; systemctl reset-failed {UNIT} || true")
    figures["stopped: fan, lamp"] = [now(machine, FAN), now(machine, LAMP)]
    return figures


def _wakeups(machine: Machine, seconds: float) -> float:
    """How often any thread of the daemon went to sleep by itself, and so was woken, a second."""

    def switches() -> tuple[float, int]:
        text = machine.tell(f"cut -d' ' -f1 /proc/uptime; {_SWITCHES.format(unit=UNIT)}")
        uptime, *lines = text.splitlines()
        return float(uptime), sum(
            int(line.split()[1]) for line in lines if line.startswith("voluntary_ctxt_switches")
        )

    began_s, before = switches()
    time.sleep(seconds)
    ended_s, after = switches()
    return round((after - before) / (ended_s - began_s), 2)


def _memory_mib(machine: Machine) -> float:
    text = machine.tell(f"cat /proc/$(systemctl show -P MainPID {UNIT})/smaps_rollup")
    (rss,) = (line.split()[1] for line in text.splitlines() if line.startswith("Rss:"))
    return round(int(rss) / 1024, 1)


def _wrong(figures: dict[str, Any]) -> list[str]:
    """What is not as it must be with our own pins."""
    wrong = [
        f"{name}: {row['counted']} of {row['edges numbered']} edges"
        for name, row in figures.items()
        # An emulated kernel that is busy misses edges of those made; what it numbers must count.
        if name.startswith("pulses") and row["counted"] != row["edges numbered"] // 2
    ]
    for name, levels_wanted in (
        ("start: fan levels", [1]),
        ("start: lamp levels (1 is dark)", [1, 0]),
        ("killed: fan levels", [1]),
        ("killed: lamp levels (1 is dark)", [0, 1, 0]),
        ("stopped: fan, lamp", [0, 1]),
    ):
        if name in figures and figures[name] != levels_wanted:
            wrong.append(f"{name}: {figures[name]}, not {levels_wanted}")
    for name in ("wake-ups/s, fan still", "wake-ups/s, 6000 rpm"):
        if figures.get(name, 0.0) > 3.0:
            wrong.append(f"{name}: {figures[name]}, more than 3")
    return wrong


if __name__ == "__main__":
    sys.exit(main())
