"""A root that boots its own systemd, and commands run in it."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path

from debian_host import StepError

PATIENCE_S = 180.0
# systemd of today wants the unified control groups; a host that has the old ones beside them gives
# the container's own view of the mounts the new ones alone.
_BOOT = """
if [ ! -e /sys/fs/cgroup/cgroup.controllers ]; then
    umount -R /sys/fs/cgroup 2>/dev/null || true
    mount -t cgroup2 none /sys/fs/cgroup
    mkdir -p "/sys/fs/cgroup/lungwort-bench-$$"
    echo $$ >"/sys/fs/cgroup/lungwort-bench-$$/cgroup.procs"
fi
exec systemd-nspawn --quiet --register=no --keep-unit --console=read-only --resolv-conf=copy-host \
    --hostname=chilli-pi -D "$0" "${@}" --boot
"""


class Container:
    """A booted system.

    Parameters
    ----------
    root : Path
        What it boots; written to.
    log : Path
        Its console.
    options : tuple of str
        More for systemd-nspawn.

    Raises
    ------
    StepError
        When it does not boot.
    """

    def __init__(self, root: Path, log: Path, options: tuple[str, ...] = ()) -> None:
        self.root = root
        self._log = log
        with log.open("w") as out:
            self._process = subprocess.Popen(
                [
                    "unshare",
                    "-m",
                    "--propagation",
                    "private",
                    "bash",
                    "-ec",
                    _BOOT,
                    str(root),
                    *options,
                ],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
            )
        until_s = time.monotonic() + PATIENCE_S
        while not (self._first_process() and self._is_up()):
            if self._process.poll() is not None or time.monotonic() > until_s:
                self.power_off()
                raise StepError(f"the system does not boot:\n{log.read_text(errors='replace')}")
            time.sleep(0.5)

    def _first_process(self) -> str:
        """The host's number of the system's process 1."""
        number = self._process.pid
        children = Path(f"/proc/{number}/task/{number}/children")
        return children.read_text().split()[0] if children.exists() and children.read_text() else ""

    def _is_up(self) -> bool:
        # "degraded" is up, too: a container can't do all that a machine can.
        return self.ask("systemctl is-system-running")[1].strip() in ("running", "degraded")

    def ask(self, script: str) -> tuple[int, str]:
        """Run a shell script in it as root; its status and output."""
        done = subprocess.run(
            [
                *("nsenter", "-t", self._first_process(), "-a", "--"),
                *("env", "-i", "HOME=/root", "LC_ALL=C.UTF-8", "DEBIAN_FRONTEND=noninteractive"),
                *("PATH=/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "/bin/bash", "-ec", script),
            ],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
            timeout=600,
        )
        return done.returncode, done.stdout

    def tell(self, script: str) -> str:
        """Run one that must succeed; its output."""
        status, output = self.ask(script)
        if status:
            raise StepError(f"{script!r} ended with {status}:\n{output[-3000:]}")
        return output

    def power_off(self) -> None:
        """End it and wait for its end."""
        if self._process.poll() is None:
            if self._first_process():
                self.ask("systemctl --no-block poweroff")
            try:
                self._process.wait(60.0)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
