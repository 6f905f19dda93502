"""A root that is read-only under an overlay: what of two tents' records outlives a boot."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

from life import CONFIG, TENT, Life, System
from roots import ROOT

DROP_INS = "/etc/systemd/system/lungwort@.service.d"
# The first tent's on a data partition, the second's where it is by default.
RECORDS = {
    "chillies": "/data/lungwort/chillies.sqlite3",
    "basil": "/var/lib/lungwort/basil.sqlite3",
}


def data_commands() -> tuple[str, str]:
    """Commands and drop-in of INSTALL.md that put the record on a data partition."""
    text = (ROOT / "systemd/INSTALL.md").read_text("utf-8")
    section = text.partition("### A read-only card, a data partition")[2].partition("\n## ")[0]
    commands, unit = re.findall(r"```(?:sh|ini)\n(.*?)```", section, re.DOTALL)[:2]
    return "\n".join(x for x in commands.splitlines() if "systemctl edit" not in x), unit


class Overlay:
    """Goes through it.

    Parameters
    ----------
    life : Life
        Keeps what comes out.
    reboot : callable
        Boots again, in some way; the system then.
    """

    def __init__(self, life: Life, reboot: Callable[[str], System]) -> None:
        self._life, self._reboot = life, reboot
        self._known: dict[str, set[str]] = {tent: set() for tent in RECORDS}

    def prepare(self, system: System, commands: str, unit: str) -> None:
        """Put the first record on the data partition, and start a second tent."""
        system.tell(commands)
        edit = f"s#record: {{#record: {{path: {RECORDS['chillies']}, #"
        system.tell(
            f"mkdir -p {DROP_INS}; cat >{DROP_INS}/data.conf <<'END'\n{unit}END\n"
            f"systemctl daemon-reload; sed -i '{edit}' {CONFIG}; systemctl restart {TENT}; "
            "cp /root/basil.yaml /etc/lungwort/; systemctl enable --now lungwort@basil"
        )
        self.says("root and data partition written to", system, {"chillies": False, "basil": False})

    def says(self, what: str, system: System, volatile: dict[str, bool]) -> None:
        """Both `check` and the daemon say whether a record stays."""
        for tent, expected in volatile.items():
            told = "says that it goes" if expected else "says nothing"
            said = system.tell(f"lungwort check /etc/lungwort/{tent}.yaml 2>&1")
            found = "next boot" in said
            self._life.check(f"{what}, {tent}'s record: `check` {told}", found == expected, said)
            said = system.tell(f"journalctl -b -u lungwort@{tent} -o cat")
            found = "record.volatile" in said
            self._life.check(f"{what}, {tent}'s record: the daemon {told}", found == expected, said)

    def boot(self, way: str) -> tuple[System, dict[str, set[str]]]:
        """Boot; what each record lacks of what was there in the boot before."""
        system = self._reboot(way)
        root = system.tell("findmnt -n -o FSTYPE /").strip()
        self._life.check(f"{way}: the root is an overlay", root == "overlay", root)
        lost = {}
        for tent, path in RECORDS.items():
            self._life.comes_up(system, f"lungwort@{tent}", f"{way}, {tent}")
            dump = json.loads(system.tell(f"python3 /usr/local/sbin/bench_record.py {path}"))
            rows = {json.dumps(row) for row in dump["events"]}
            lost[tent] = self._known[tent] - rows
            self._known[tent] = rows
        return system, lost

    def root_alone(self, way: str) -> None:
        """Boot twice with an overlay that leaves the data partition alone."""
        system, _ = self.boot(way)
        self.says(way, system, {"chillies": False, "basil": True})
        _, lost = self.boot(way)
        self._life.check(f"{way}: what was recorded on the root is lost", lost["basil"])
        self._life.check(f"{way}: what was recorded on the data stays", not lost["chillies"], lost)
