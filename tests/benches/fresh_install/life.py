"""What a package goes through on a machine: installed, used, upgraded well and badly, removed."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

from ways import Way

TENT = "lungwort@chillies"
CONFIG = "/etc/lungwort/chillies.yaml"
RECORD = "/var/lib/lungwort/chillies.sqlite3"
# gpiozero's own pins without hardware; the unit names lgpio.
_MOCK_PINS = """
mkdir -p /etc/systemd/system/lungwort@.service.d
printf '[Service]\\nEnvironment=GPIOZERO_PIN_FACTORY=mock\\n' \
    >/etc/systemd/system/lungwort@.service.d/mock-pins.conf
systemctl daemon-reload
"""
# Not of the package: the packages' own books, logs, what is regenerated, and files of the bench.
_ELSEWHERE = "|".join(
    [
        "^/(proc|sys|dev|run|tmp|root|home)(/|$)",
        "^/var/(lib/(dpkg|apt|systemd|dbus)|cache|log|tmp)(/|$)",
        "^/var/lib$",
        "__pycache__",
        "^/etc/(ld.so.cache|[a-z]*-|.pwd.lock|resolv.conf|machine-id)$",
        "^/etc/(passwd|group|shadow|gshadow|subuid|subgid)$",
        "^/etc/systemd/system(/lungwort@.service.d.*)?$",
        "^/(data|boot)(/|$)",
    ]
)
_FILES = f"find / -xdev -mindepth 1 | grep -vE '{_ELSEWHERE}' | sort"


class System(Protocol):
    """A machine that can be asked: a container, or a guest."""

    def ask(self, script: str) -> tuple[int, str]:
        """Run a shell script in it as root; its status and output."""

    def tell(self, script: str) -> str:
        """Run one that must succeed; its output."""


class Life:
    """Goes through it and keeps what came out.

    Parameters
    ----------
    say : callable
        Told of each step.
    way : Way
        How lungwort comes and goes.

    Attributes
    ----------
    results : list of tuple of (str, bool)
        What was checked, and whether it holds.
    install_s : float
        How long apt took to install it, with everything it depends on [s].
    """

    def __init__(self, say: Callable[[str], None], way: Way) -> None:
        self._say = say
        self._way = way
        self.results: list[tuple[str, bool]] = []
        self.install_s = 0.0

    def check(self, what: str, holds: object, found: object = "") -> None:
        """Keep one result."""
        self.results.append((what, bool(holds)))
        print(
            f"  {'ok  ' if holds else 'FAIL'} {what}" + ("" if holds else f": {found}"), flush=True
        )

    def live(self, system: System) -> None:
        """Up to a machine on which all has been tried but to remove it."""
        self.go_through(
            system,
            self.installed,
            self.mocked,
            self.started,
            self.upgraded,
            self.upgraded_badly,
        )

    def go_through(self, system: System, *parts: Callable[[System], None]) -> None:
        """Some parts of it."""
        for part in parts:
            part(system)
            self._say(f"{part.__name__} done")

    def mocked(self, system: System) -> None:
        """A machine without lines gets pins that are none."""
        system.tell(_MOCK_PINS)

    def installed(self, system: System) -> None:
        """Nothing runs, and everything is there."""
        way = self._way
        system.tell(way.prepare)
        self._before = set(system.tell(_FILES).splitlines())
        began_s = time.monotonic()
        status, said = system.ask(way.install)
        self.install_s = round(time.monotonic() - began_s, 1)
        self.check("one command installs it", status == 0, said)
        units = system.tell("systemctl list-units --all --plain --no-legend 'lungwort@*'")
        self.check("no tent is started", not units.strip(), units)
        wanted = system.tell("find /etc/systemd/system -name 'lungwort@?*.service'")
        self.check("no tent is enabled", not wanted.strip(), wanted)
        groups = system.tell("id -nG lungwort").split()
        self.check("the user is in the group gpio", "gpio" in groups, groups)
        modes = system.tell("stat -c '%U %a' /etc/lungwort /run/lungwort").split("\n")
        self.check("directories", modes[:2] == ["root 755", "lungwort 750"], modes)
        compiled = system.tell(
            f"cd {way.code}; find . -name '*.py' | wc -l; find . -name '*.pyc' | wc -l"
        ).split()
        self.check("modules are compiled", compiled[0] == compiled[1] != "0", compiled)
        said = system.tell("bash -c 'source /usr/share/bash-completion/completions/lungwort'")
        self.check("bash reads the completion", not said.strip(), said)
        status, said = system.ask("systemd-analyze verify lungwort@chillies.service")
        complaints = [x for x in said.splitlines() if "lungwort" in x]
        self.check("systemd finds the unit in order", status == 0 and not complaints, said)
        status, said = system.ask("lungwort check /etc/lungwort/chillies.yaml.example")
        self.check("the example passes `lungwort check`", status == 0, said)
        for what, script in way.holds:
            status, said = system.ask(script)
            self.check(what, status == 0 and not said.strip(), said)

    def started(self, system: System) -> None:
        """A broken config starts nothing; a good one runs the tent."""
        system.tell(f"sed 's/pin: 17/pin: seventeen/' /root/chillies.yaml >{CONFIG}")
        status, said = system.ask(f"lungwort check {CONFIG}")
        self.check("a wrong config is refused by `lungwort check`", status == 2, said)
        status, said = system.ask(f"systemctl start {TENT}")
        opened = system.tell(f"journalctl -u {TENT} -o cat").count("fan at")
        self.check("and starts no fan", status != 0 and not opened, said)
        system.ask(f"systemctl stop {TENT}; systemctl reset-failed {TENT}")
        system.tell(f"cp /root/chillies.yaml {CONFIG} && lungwort check {CONFIG}")
        status, said = system.ask(f"systemctl enable --now {TENT}")
        self.check("`systemctl enable --now` starts the tent", status == 0, said)
        said = system.tell(f"systemctl show -P StatusText {TENT}")
        self.check("its status line tells the fan", "fan at 100 %" in said, said)
        system.tell("useradd -m grower; useradd -m stranger; usermod -aG lungwort grower")
        status, said = self._now(system, "grower")
        self.check("`lungwort now` answers a member of the group", "100 %" in said, said)
        status, said = system.ask(f"runuser -u stranger -- lungwort now {CONFIG}")
        self.check("and nobody else", status == 1 and "Traceback" not in said, said)

    def _now(self, system: System, user: str) -> tuple[int, str]:
        until_s = time.monotonic() + 180.0
        while True:
            status, said = system.ask(f"runuser -u {user} -- lungwort now {CONFIG}")
            if "100 %" in said or time.monotonic() > until_s:
                return status, said
            time.sleep(1.0)

    def comes_up(self, system: System, tent: str, what: str) -> None:
        """A tent that is enabled has come up by itself."""
        until_s = time.monotonic() + 600.0
        while (state := system.ask(f"systemctl is-active {tent}")[1].strip()) != "active":
            if time.monotonic() > until_s:
                break
            time.sleep(1.0)
        self.check(f"{what}: the tent comes up", state == "active", state)

    def _runs(self, system: System, what: str) -> str:
        """The code that the tent runs; checks that it runs."""
        shown = system.tell(f"systemctl show -P SubState -P StatusText {TENT}")
        self.check(what, "running" in shown and "fan at 100 %" in shown, shown)
        return system.tell(f"tr '\\0' ' ' </proc/$(systemctl show -P MainPID {TENT})/cmdline")

    def upgraded(self, system: System) -> None:
        """The same version anew, then a later one."""
        marks = f"sha256sum {CONFIG}; stat -c %i {RECORD}"
        before = system.tell(marks), system.tell(f"systemctl show -P MainPID {TENT}")
        for name, words in (("good", "--reinstall"), ("newer", "")):
            status, said = system.ask(
                f"apt-get install -y -q --no-install-recommends {words} /root/{name}.deb"
            )
            self.check(f"{words or 'upgrade'}: apt succeeds", status == 0, said)
            self._runs(system, f"{words or 'upgrade'}: the tent runs")
        self.check("config and record are the same", system.tell(marks) == before[0])
        number = system.tell(f"systemctl show -P MainPID {TENT}")
        self.check("the tent was started again", number != before[1], number)
        left = system.tell("ls /var/lib")
        self.check("no copy of the version before is left", "lungwort-before" not in left, left)

    def upgraded_badly(self, system: System) -> None:
        """Versions that can't run the tent, or don't read its config: the one before goes on."""
        install = "apt-get install -y -q --no-install-recommends"
        for name, what in (("no_run", "does not start"), ("no_check", "refuses the config")):
            status, said = system.ask(f"{install} /root/{name}.deb")
            self.check(f"an upgrade that {what}: apt fails", status != 0, said)
            self.check(f"an upgrade that {what}: it is said", "goes on with the one before" in said)
            code = self._runs(system, f"an upgrade that {what}: the tent runs on")
            self.check(f"an upgrade that {what}: by the code before", "-before/" in code, code)
        system.tell(f"systemctl restart {TENT}")
        self._runs(system, "started again by hand, it still runs")
        status, said = system.ask(f"{install} /root/mended.deb")
        self.check("a mended version installs", status == 0, said)
        code = self._runs(system, "the tent runs")
        self.check("by the new code", "-before/" not in code, code)
        left = system.tell("ls /var/lib /etc/systemd/system")
        self.check(
            "nothing of the version before is left",
            "lungwort-before" not in left and "lungwort@chillies.service" not in left,
            left,
        )

    def removed(self, system: System) -> None:
        """Records and configs stay, nothing else."""
        kept = f"ls {CONFIG} {RECORD} && id lungwort"
        status, said = system.ask(self._way.remove)
        self.check("remove: the command succeeds", status == 0, said)
        status, said = system.ask(kept)
        self.check("remove: config, record and their owner stay", status == 0, said)
        active = system.ask(f"systemctl is-active {TENT}")[1].strip()
        self.check("remove: the tent is stopped", active in ("inactive", "failed"), active)
        left = set(system.tell(_FILES).splitlines()) - self._before
        strange = sorted(
            x for x in left if not x.startswith(("/var/lib/lungwort", "/etc/lungwort"))
        )
        self.check("remove: nothing else stays", not strange, strange)

    def installed_again(self, system: System) -> None:
        """What was kept starts nothing."""
        system.tell("apt-get install -y -q --no-install-recommends /root/mended.deb")
        active = system.ask(f"systemctl is-active {TENT}")[1].strip()
        enabled = system.ask(f"systemctl is-enabled {TENT}")[1].strip()
        self.check(
            "installed again: no tent starts by itself",
            active != "active" and enabled == "disabled",
            f"{active}, {enabled}",
        )

    def purged(self, system: System) -> None:
        """Nothing stays."""
        status, said = system.ask(self._way.purge)
        self.check("purge: the command succeeds", status == 0, said)
        left = sorted(set(system.tell(_FILES).splitlines()) - self._before)
        self.check("purge: no file stays", not left, left)
        known = system.ask("getent passwd lungwort; getent group lungwort")[1]
        self.check("purge: no user and no group of ours stays", not known, known)
