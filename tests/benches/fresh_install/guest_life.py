"""What a package or a source goes through on a whole machine, with lines that are driven."""

from __future__ import annotations

import json
from typing import Any

from guest import Guest
from life import CONFIG, RECORD, TENT, Life
from lines import changes, changes_since, driven, levels, now
from overlay import DROP_INS, Overlay, data_commands

FAN, LAMP = 17, 27
# On a busy machine the emulated one takes minutes to boot.
LONG_S = 600.0
_LIT = f"[ $(cat /run/board/sim_gpio{LAMP}/value) = 0 ]"
_DUMP = "python3 /usr/local/sbin/bench_record.py"
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
            parts += [self.gpiod_pins, self.read_only]
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
        fan, lamp = map(changes_since, before, levels(machine, FAN, LAMP))
        # It was driven to that level before, so that there may be no change to see.
        self.check("killed: the fan's line as said", set(fan) <= {said["fault"]}, fan)
        self.check("killed: the lamp's line goes dark", lamp[:1] in ([1], [None]), lamp)
        guest.tell(f"systemctl stop {TENT}")
        self.check("stopped: the fan's line as said", now(machine, FAN) == said["stopped"])
        self.check("stopped: the lamp's line is dark", now(machine, LAMP) == 1)
        guest.tell(f"systemctl start {TENT}")
        self.check("started again: the fan's line as said", now(machine, FAN) == said["day"])

    def _record(self, guest: Guest, path: str = RECORD) -> list[str]:
        """The record's events, each as text."""
        return [json.dumps(row) for row in json.loads(guest.tell(f"{_DUMP} {path}"))["events"]]

    def rebooted(self, guest: Guest) -> None:
        """Enabled: it comes up by itself, with its record."""
        before = self._record(guest)
        bus = guest.tell("cat /run/i2c-bus").strip()
        # The kernel's own stand-in for a part, at an address where nothing answers.
        guest.tell(f"echo dummy 0x41 >/etc/lungwort/i2c-{bus}")
        guest.reboot()
        self.comes_up(guest, TENT, "rebooted")
        named = guest.machine.wait_until(f"[ -e /sys/bus/i2c/devices/{bus}-0041 ]", 60.0)
        self.check("rebooted: a part without an overlay is named to the kernel", named is not None)
        self.check("rebooted: the lamp is lit", guest.machine.wait_until(_LIT, LONG_S) is not None)
        (fan,) = levels(guest.machine, FAN)
        self.check("rebooted: the fan's line is right", driven(fan) == [1], driven(fan))
        lost = set(before) - set(self._record(guest))
        self.check("rebooted: the record goes on", before and not lost, lost)

    def gpiod_pins(self, guest: Guest) -> None:
        """The pins that have to be asked for, with the system's own libgpiod."""
        before = levels(guest.machine, FAN, LAMP)
        unit = "[Service]\\nEnvironment=GPIOZERO_PIN_FACTORY=gpiod\\n"
        guest.tell(
            f"printf '{unit}' >{DROP_INS}/pins.conf; systemctl daemon-reload; "
            f"systemctl restart {TENT} || {{ journalctl -n 30 -u {TENT}; false; }}"
        )
        self.check(
            "pins on libgpiod: lit again", guest.machine.wait_until(_LIT, LONG_S) is not None
        )
        fan, lamp = map(changes_since, before, levels(guest.machine, FAN, LAMP))
        # The stop parks both, the start drives both.
        as_said = (fan, lamp) == ([0, 1], [1, 0])
        self.check("pins on libgpiod: the lines as with lgpio", as_said, (fan, lamp))
        guest.tell(f"rm {DROP_INS}/pins.conf; systemctl daemon-reload")

    def read_only(self, guest: Guest) -> None:
        """Under Debian's overlayroot, which takes in every file system of fstab by default."""

        def reboot(options: str) -> Guest:
            guest.reboot(options)
            return guest

        overlay = Overlay(self, reboot)
        commands, unit = data_commands()
        uuid = guest.tell("mkfs.ext4 -q /dev/vdb && blkid -s UUID -o value /dev/vdb").strip()
        overlay.prepare(guest, commands.replace("THE-UUID", uuid), unit)
        overlay.boot(WHOLE)
        overlay.says(WHOLE, guest, {"chillies": True, "basil": True})
        overlay.root_alone(ROOT_ALONE)
        guest.reboot()

    def parked(self, guest: Guest) -> None:
        """The uninstalled tent's lines are left as a stop leaves them."""
        machine = guest.machine
        found = now(machine, FAN), now(machine, LAMP)
        self.check("removed: fan and lamp are parked off", found == (0, 1), found)
