"""Whether the service works as installed: levels on real lines, stop, kill, hang, bad sensor."""

from __future__ import annotations

import json
import time
from typing import Any

from lines import changes, driven, levels, now
from machine import Machine, MachineError

CHILLIES, BASIL = "lungwort@chillies", "lungwort@basil"
# Lines as the tents in tents/ use them.
FAN, LAMP, FAN_NC = 17, 27, 22
# Of basil's normally closed contact: a drawn coil stops the fan.
RUNS, STANDS = 0, 1


class Checks:
    """Runs the checks one after the other and keeps what came out.

    Attributes
    ----------
    results : list of tuple of (str, bool, str)
        What was checked, whether it holds, and what was found.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self.results: list[tuple[str, bool, str]] = []
        self.timings: dict[str, float] = {}

    def check(self, what: str, holds: bool, found: object = "") -> None:
        """Keep one result."""
        self.results.append((what, bool(holds), str(found)))
        print(
            f"  {'ok  ' if holds else 'FAIL'} {what}" + ("" if holds else f": {found}"), flush=True
        )

    def _is(self, unit: str, **wanted: str) -> tuple[bool, dict[str, str]]:
        text = self._machine.tell(f"systemctl show {unit}")
        shown = dict(line.split("=", 1) for line in text.splitlines() if "=" in line)
        return all(shown.get(k) == v for k, v in wanted.items()), shown

    def _wait_active(self, unit: str, restarts: str) -> bool:
        command = (
            f"[ $(systemctl show {unit} | grep -c -x -e ActiveState=active -e SubState=running "
            f"-e NRestarts={restarts}) = 3 ]"
        )
        return self._machine.wait_until(command, 120.0) is not None

    def _wait_level(self, line: int, level: int, timeout_s: float) -> float | None:
        command = f"[ $(cat /run/board/sim_gpio{line}/value) = {level} ]"
        return self._machine.wait_until(command, timeout_s)

    def _now(self, tent: str) -> str:
        """What `lungwort now` says, once there is a first reading with air to tell of."""
        command = f"lungwort now /etc/lungwort/{tent}.yaml"
        answer_text = f"said=$({command}) && case $said in *'no trustworthy'*) false;; esac"
        self._machine.wait_until(answer_text, 60.0)
        return self._machine.tell(command)

    def run(self, *, short: bool = False) -> None:
        """Run all of them, or the quick ones."""
        parts = [self.installed, self.stopped, self.killed]
        for part in parts if short else [*parts, self.hung, self.second_tent]:
            try:
                part()
            except MachineError as error:
                self.check(f"{part.__name__}: all of it could be tried", False, error)

    def installed(self) -> None:
        """The unit is up as INSTALL.md leaves it."""
        machine = self._machine
        _, shown = self._is(CHILLIES)
        self.check("unit active, READY said", shown["SubState"] == "running", shown["SubState"])
        self.check("status line tells the fan", "fan at 100 %" in shown["StatusText"], shown)
        self.check("runs as its own user", shown["User"] == "lungwort", shown["User"])
        processes = machine.tell(
            "ps -o user=,args= -C lungwort || ps -eo user=,args= | grep lungwort"
        )
        self.check("process belongs to lungwort", processes.startswith("lungwort "), processes)
        self.check("fan line high, read from sysfs", now(machine, FAN) == 1)
        self.check(
            "lamp line low (lit), read from sysfs", self._wait_level(LAMP, 0, 60.0) is not None
        )
        fan, lamp = levels(machine, FAN, LAMP)
        # None: not driven yet, as after power-on; then no level but the right one.
        self.check("fan line: high from its first level on", driven(fan) == [1], changes(fan))
        self.check("lamp line: claimed dark, then lit", driven(lamp) == [1, 0], changes(lamp))
        said = self._now("chillies")
        self.check("`lungwort now` tells fan and air", "100 %" in said and "22.5" in said, said)
        modes = machine.tell("stat -c '%U %a' /var/lib/lungwort /var/lib/lungwort/chillies.sqlite3")
        self.check(
            "record readable by user and group only", modes == "lungwort 750\nlungwort 640", modes
        )
        status, output = machine.ask("lungwort run /etc/lungwort/chillies.yaml")
        self.check("a second daemon is refused", status == 4, f"{status}: {output}")
        memory = int(shown["MemoryCurrent"]) / 2**20 if shown["MemoryCurrent"].isdigit() else 0.0
        self.timings["memory_mib"] = round(memory, 1)
        warnings = machine.tell("journalctl -b -u 'lungwort@*' -p warning -o cat || true")
        strange = [w for w in warnings.splitlines() if not w.startswith("{")]
        self.check("nothing strange in the journal", not strange, strange)

    def stopped(self) -> None:
        """SIGTERM leaves the parked state: the lamp is ours, so both are off."""
        machine = self._machine
        machine.tell(f"systemctl stop {CHILLIES}")
        self.check("after stop: lamp dark", now(machine, LAMP) == 1)
        self.check("after stop: fan off (its lamp is off too)", now(machine, FAN) == 0)
        _, shown = self._is(CHILLIES)
        self.check("stop was clean", shown["Result"] == "success", shown["Result"])
        machine.tell(f"systemctl start {CHILLIES}")
        self.check("started again: fan runs", now(machine, FAN) == 1)

    def killed(self) -> None:
        """SIGKILL: fan and lamp parked as after a fault, then all anew."""
        machine = self._machine
        fan_before, lamp_before = levels(machine, FAN, LAMP)
        machine.tell(f"systemctl kill -s KILL {CHILLIES}")
        self.check("killed: restarted by systemd", self._wait_active(CHILLIES, "1"))
        self.check("killed: lamp lit again", self._wait_level(LAMP, 0, 60.0) is not None)
        fan, lamp = levels(machine, FAN, LAMP)
        fan, lamp = fan[len(fan_before) :], lamp[len(lamp_before) :]
        self.check("killed: the fan line never left high", changes(fan) == [1], changes(fan))
        row = changes(lamp_before[-1:] + lamp)
        self.check("killed: lamp dark until the restart", row == [0, 1, 0], row)
        self.check("killed: fan runs", now(machine, FAN) == 1)

    def hung(self) -> None:
        """SIGSTOP: no tick, no keep-alive; systemd ends it, parks, restarts."""
        machine = self._machine
        _, lamp_before = levels(machine, FAN, LAMP)
        (began,) = machine.tell(
            f"kill -STOP $(systemctl show -P MainPID {CHILLIES}); cut -d' ' -f1 /proc/uptime"
        ).splitlines()
        self.check("hung: ended and restarted", self._wait_active(CHILLIES, "2"))
        self.check("hung: lamp lit again", self._wait_level(LAMP, 0, 60.0) is not None)
        fan, lamp = levels(machine, FAN, LAMP)
        lamp = lamp[len(lamp_before) :]
        dark = [event.at_s for event in lamp if event.level == 1]
        self.check("hung: lamp dark until the restart", bool(dark), changes(lamp))
        self.check("hung: the fan runs on", fan[-1].level == 1 and now(machine, FAN) == 1)
        if dark:
            self.timings["hang_to_parked_s"] = round(dark[0] - float(began), 1)
        said = machine.tell(f"journalctl -b -u {CHILLIES} -o cat | grep -c -i watchdog")
        self.check("hung: the watchdog did it", int(said) > 0, said)

    def second_tent(self) -> None:
        """Another tent beside it: schedule, heat, a dead sensor, a hold that outlives a kill."""
        machine = self._machine
        machine.tell("install -m644 /root/basil.yaml /etc/lungwort/basil.yaml")
        machine.tell(f"systemctl start {BASIL}")
        stands = self._wait_level(FAN_NC, STANDS, 60.0)
        (given,) = levels(machine, FAN_NC)
        self.check("second tent: fan stands by its schedule", stands is not None, changes(given))
        row = driven(given)
        self.check("second tent: started with its fan running", row == [RUNS, STANDS], row)
        machine.tell("bench-air.sh 31000 55000")
        took_s = self._wait_level(FAN_NC, RUNS, 60.0)
        self.check("too hot: the fan starts", took_s is not None)
        machine.tell("bench-air.sh 22000 55000")
        self.check("cool again: the fan stops", self._wait_level(FAN_NC, STANDS, 60.0) is not None)

        self._hold_outlives_kill()

        bus = machine.tell("cat /run/i2c-bus")
        machine.tell(f"echo 0x40 >/sys/bus/i2c/devices/i2c-{bus}/delete_device")
        took_s = self._wait_level(FAN_NC, RUNS, 120.0)
        self.check("sensor gone: failsafe, the fan runs", took_s is not None)
        if took_s is not None:
            self.timings["sensor_gone_to_fan_s"] = round(took_s, 1)
        machine.tell(f"echo sht21 0x40 >/sys/bus/i2c/devices/i2c-{bus}/new_device")
        back = self._wait_level(FAN_NC, STANDS, 120.0)
        self.check("sensor back: the schedule again", back is not None)

        machine.tell(f"systemctl stop {BASIL}")
        self.check(
            "stopped with a lamp timer of its own: the fan runs", now(machine, FAN_NC) == RUNS
        )
        self.check("the first tent noticed nothing", now(machine, FAN) == 1)
        machine.tell(f"systemctl disable {BASIL}; rm /etc/lungwort/basil.yaml")

    def _hold_outlives_kill(self) -> None:
        machine = self._machine
        machine.tell("lungwort hold /etc/lungwort/basil.yaml --speed '100 %' --for '1 h'")
        self.check("held: the fan runs", self._wait_level(FAN_NC, RUNS, 60.0) is not None)
        machine.tell(f"systemctl kill -s KILL {BASIL}")
        self.check("held and killed: restarted", self._wait_active(BASIL, "1"))
        said = self._now("basil")
        self.check("held and killed: still held", "held" in said.lower(), said)
        time.sleep(5.0)  # two ticks; a hold that was forgotten would have let the fan stop
        self.check("held and killed: the fan still runs", now(machine, FAN_NC) == RUNS)
        machine.tell("lungwort release /etc/lungwort/basil.yaml")
        released = self._wait_level(FAN_NC, STANDS, 60.0)
        self.check("released: the fan stops", released is not None)

    def figures(self) -> dict[str, Any]:
        """What goes into the results."""
        return {
            "checked": len(self.results),
            "held": sum(1 for _, holds, _ in self.results if holds),
            "failed": [f"{what}: {found}" for what, holds, found in self.results if not holds],
            **json.loads(json.dumps(self.timings)),
        }
