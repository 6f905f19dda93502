"""The ways in which lungwort comes onto a machine and goes again, as INSTALL.md has them."""

from __future__ import annotations

from typing import NamedTuple

_APT = "apt-get install -y -q --no-install-recommends"


class Way(NamedTuple):
    """One of them: shell scripts, and what is particular about it.

    Attributes
    ----------
    prepare : str
        Brings what is on a machine before, and is no trace of lungwort.
    install, remove, purge : str
        The command that a person gives; `again` installs after a removal.
    code : str
        The directory of its modules.
    holds : tuple of (str, str)
        What more must hold after the installation, and the script that says so.
    """

    prepare: str
    install: str
    remove: str
    purge: str
    code: str
    holds: tuple[tuple[str, str], ...] = ()


# What it depends on stays at a removal, until autoremove: it is no trace of the package.
PACKAGE = Way(
    prepare=f"{_APT} /root/gpiozero.deb; "
    f"{_APT} $(dpkg-deb -f /root/good.deb Depends | tr ',' '\\n' | grep -v gpiod | "
    "sed 's/|.*//; s/(.*//' | grep -v python3-gpiozero) python3-libgpiod",
    install=f"{_APT} /root/good.deb",
    remove="apt-get remove -y -q lungwort",
    purge="apt-get purge -y -q lungwort",
    code="/usr/share/lungwort",
    holds=(
        ("dpkg finds its files unchanged", "dpkg -V lungwort"),
        (
            "every dependency is met",
            "apt-get check -q >/dev/null && ! dpkg --audit | grep lungwort",
        ),
    ),
)
# As a person has it: Raspberry Pi OS brings the pin libraries, apt all else, and takes it away.
PACKAGE_ALONE = PACKAGE._replace(
    prepare=f"{_APT} /root/gpiozero.deb /root/lgpio.deb python3-libgpiod",
    remove="apt-get remove -y -q --autoremove lungwort",
)
SCRIPT = Way(
    prepare="true",
    install="cd /usr/src/lungwort && sudo ./systemd/install.sh",
    remove="cd /usr/src/lungwort && sudo ./systemd/install.sh --uninstall",
    purge="cd /usr/src/lungwort && sudo ./systemd/install.sh --uninstall --purge",
    code="/opt/lungwort/lib/python3.11/site-packages/controller",
)
