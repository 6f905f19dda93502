"""What a package or a source goes through on a whole machine, with lines that are driven."""

from __future__ import annotations

import json
import re
from typing import Any

from guest import Guest
from life import CONFIG, RECORD, TENT, Life
from lines import changes, driven, levels, now
from roots import ROOT

FAN, LAMP = 17, 27
# On a busy machine the emulated one takes minutes to boot.
LONG_S = 600.0
_LIT = f"[ $(cat /run/board/sim_gpio{LAMP}/value) = 0 ]"
_DUMP = "python3 /usr/local/sbin/bench_record.py"
RECORDS = {
    "chillies": "/data/lungwort/chillies.sqlite3",
    "basil": "/var/lib/lungwort/basil.sqlite3",
}
# On the kernel's command line, as Debian's overlayroot reads it.
WHOLE, ROOT_ALONE = "overlayroot=tmpfs", "overlayroot=tmpfs:recurse=0"


class GuestLife(Life):
    """Goes through it and keeps what came out; see `Life`."""

    def live_in(self, guest: Guest, *, read_only: bool) -> None:
        """All of it, in order.

        Parameters
        ----------
        guest : Guest
            Fresh.
        read_only : bool
            Whether a root that is made read-only is tried too.
        """
        self._guest = guest
        parts: list[Any] = [self.installed, self.untouched, self.started, self.lines_driven]
        parts += [self.rebooted]
        if read_only:
            parts += [
                self.gpiod_pins,
                self.data_partition,
                self.all_under_overlay,
                self.data_beside,
            ]
        self.go_through(guest, *parts, self.removed, self.parked, self.purged)

    def untouched(self, guest: Guest) -> None:
        """No wire has been touched."""
        given = [changes(row) for row in levels(guest.machine, FAN, LAMP)]
        self.check("installed: no line was driven", given == [[], []], given)

    def _checked(self, guest: Guest) -> dict[str, float]:
        """The fan's speed as `lungwort check` says it: in the day, and for each failure."""
        said = json.loads(guest.tell(f"lungwort check --json {CONFIG} 2>/dev/null"))
        return {"day": said["day_speed"]} | {x["failure"]: x["speed"] for x in said["failures"]}

    def lines_driven(self, guest: Guest) -> None:
        """The lines do what `lungwort check` says."""
        machine, said = guest.machine, self._checked(guest)
        self.check("the lamp's line is lit", machine.wait_until(_LIT, LONG_S) is not None)
        fan, lamp = levels(machine, FAN, LAMP)
        self.check("the fan's line: as said from its first level on", driven(fan) == [said["day"]])
        self.check("the fan's line: as said, from the simulator", now(machine, FAN) == said["day"])
        self.check("the lamp's line: claimed dark, then lit", driven(lamp) == [1, 0], driven(lamp))
        before = levels(machine, FAN, LAMP)
        guest.tell(f"systemctl kill -s KILL {TENT}")
        again = f"[ $(systemctl show -P NRestarts {TENT}) = 1 ] && {_LIT}"
        self.check("killed: started again", machine.wait_until(again, LONG_S) is not None)
        fan, lamp = (
            after[len(was) :] for was, after in zip(before, levels(machine, FAN, LAMP), strict=True)
        )
        fault = said["fault"]
        self.check("killed: the fan's line as said", changes(fan) == [fault], changes(fan))
        self.check("killed: the lamp's line goes dark", changes(lamp)[:1] != [0], changes(lamp))
        guest.tell(f"systemctl stop {TENT}")
        self.check("stopped: the fan's line as said", now(machine, FAN) == said["stopped"])
        self.check("stopped: the lamp's line is dark", now(machine, LAMP) == 1)
        guest.tell(f"systemctl start {TENT}")
        self.check("started again: the fan's line as said", now(machine, FAN) == said["day"])

    def _record(self, guest: Guest, path: str = RECORD) -> list[str]:
        """The record's events, each as text."""
        return [json.dumps(row) for row in json.loads(guest.tell(f"{_DUMP} {path}"))["events"]]

    def _up(self, guest: Guest, what: str) -> None:
        """The tent has come up by itself, and its fan is right."""
        active = f'[ "$(systemctl is-active {TENT})" = active ] && {_LIT}'
        up = guest.machine.wait_until(active, LONG_S) is not None
        (fan,) = levels(guest.machine, FAN)
        self.check(f"{what}: the tent is up, its fan right", up and driven(fan) == [1], driven(fan))

    def rebooted(self, guest: Guest) -> None:
        """Enabled: it comes up by itself, with its record."""
        before = self._record(guest)
        guest.reboot()
        self._up(guest, "rebooted")
        lost = set(before) - set(self._record(guest))
        self.check("rebooted: the record goes on", before and not lost, lost)

    def gpiod_pins(self, guest: Guest) -> None:
        """The pins that have to be asked for, with the system's own libgpiod."""
        before = levels(guest.machine, FAN, LAMP)
        self._drop_in(guest, "pins", "[Service]\nEnvironment=GPIOZERO_PIN_FACTORY=gpiod\n")
        guest.tell(f"systemctl restart {TENT}")
        self.check(
            "pins on libgpiod: lit again", guest.machine.wait_until(_LIT, LONG_S) is not None
        )
        fan, lamp = (
            changes(after[len(was) :])
            for was, after in zip(before, levels(guest.machine, FAN, LAMP), strict=True)
        )
        # The stop parks both, the start drives both.
        self.check("pins on libgpiod: the lines as with lgpio", (fan, lamp) == ([0, 1], [1, 0]))
        guest.tell("rm /etc/systemd/system/lungwort@.service.d/pins.conf; systemctl daemon-reload")

    def _drop_in(self, guest: Guest, name: str, text: str) -> None:
        where = "/etc/systemd/system/lungwort@.service.d"
        guest.tell(f"cat >{where}/{name}.conf <<'END'\n{text}END\nsystemctl daemon-reload")

    def _says_volatile(self, guest: Guest, what: str, tent: str, volatile: bool) -> None:
        """Both `check` and the daemon say whether the record stays."""
        said = guest.tell(f"lungwort check /etc/lungwort/{tent}.yaml 2>&1")
        told = "says so" if volatile else "says nothing"
        self.check(f"{what}, {tent}: `check` {told}", ("next boot" in said) == volatile, said)
        heard = guest.tell(f"journalctl -b -u lungwort@{tent} -o cat")
        self.check(
            f"{what}, {tent}: the daemon {told}", ("record.volatile" in heard) == volatile, heard
        )

    def data_partition(self, guest: Guest) -> None:
        """One record on a data partition, by INSTALL.md's commands; another tent's on the root."""
        commands, unit = data_commands()
        uuid = guest.tell("mkfs.ext4 -q /dev/vdb && blkid -s UUID -o value /dev/vdb").strip()
        guest.tell(commands.replace("THE-UUID", uuid))
        self._drop_in(guest, "data", unit)
        guest.tell(
            f"sed -i 's#record: {{#record: {{path: {RECORDS['chillies']}, #' {CONFIG}; "
            f"systemctl restart {TENT}; cp /root/basil.yaml /etc/lungwort/; "
            "systemctl enable --now lungwort@basil"
        )
        for tent in RECORDS:
            self._says_volatile(guest, "root and data partition written to", tent, False)

    def _boot_overlay(self, guest: Guest, options: str) -> dict[str, set[str]]:
        """Boot with a read-only root; what both records lack of the boot before."""
        guest.reboot(options)
        root = guest.tell("findmnt -n -o FSTYPE /").strip()
        self.check(f"{options}: the root is an overlay", root == "overlay", root)
        self._up(guest, options)
        basil = '[ "$(systemctl is-active lungwort@basil)" = active ]'
        guest.machine.wait_until(basil, LONG_S)
        found = {tent: set(self._record(guest, path)) for tent, path in RECORDS.items()}
        lost = {tent: self._known[tent] - rows for tent, rows in found.items()}
        self._known = found
        return lost

    def all_under_overlay(self, guest: Guest) -> None:
        """By default overlayroot takes in all of fstab: both records are in memory."""
        self._known = {tent: set[str]() for tent in RECORDS}
        self._boot_overlay(guest, WHOLE)
        for tent in RECORDS:
            self._says_volatile(guest, WHOLE, tent, True)

    def data_beside(self, guest: Guest) -> None:
        """The overlay leaves the data partition alone, twice."""
        lost = self._boot_overlay(guest, ROOT_ALONE)
        for tent, rows in lost.items():
            self.check(f"booted again after {WHOLE}, {tent}: the record is lost", rows)
            volatile = tent == "basil"
            self._says_volatile(guest, ROOT_ALONE, tent, volatile)
        lost = self._boot_overlay(guest, ROOT_ALONE)
        what = f"booted again after {ROOT_ALONE}"
        self.check(f"{what}, chillies: the record is whole", not lost["chillies"], lost)
        self.check(f"{what}, basil: the record is lost", lost["basil"], lost)
        guest.reboot()

    def parked(self, guest: Guest) -> None:
        """The uninstalled tent's lines are left as a stop leaves them."""
        machine = guest.machine
        found = now(machine, FAN), now(machine, LAMP)
        self.check("removed: fan and lamp are parked off", found == (0, 1), found)


def data_commands() -> tuple[str, str]:
    """Commands and drop-in of INSTALL.md that put the record on a data partition."""
    text = (ROOT / "systemd/INSTALL.md").read_text("utf-8")
    section = text.partition("### A read-only card, a data partition")[2].partition("\n## ")[0]
    commands, unit = re.findall(r"```(?:sh|ini)\n(.*?)```", section, re.DOTALL)[:2]
    return "\n".join(x for x in commands.splitlines() if "systemctl edit" not in x), unit
