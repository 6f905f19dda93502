"""What benches that make roots of Debian ask of this machine."""

from __future__ import annotations

import shlex
import subprocess


class StepError(Exception):
    """A step that everything after it needs did not work."""


def run(command: list[str], **more: object) -> str:
    """Run a program that must succeed; its output.

    Raises
    ------
    StepError
        With the end of what it said.
    """
    done = subprocess.run(command, capture_output=True, text=True, check=False, **more)  # type: ignore[call-overload]
    if done.returncode:
        tail = "\n".join((done.stdout + done.stderr).splitlines()[-25:])
        raise StepError(f"{shlex.join(command)} ended with {done.returncode}:\n{tail}")
    return str(done.stdout)


def mirror() -> str:
    """The package mirror that this machine's own apt uses."""
    listed = run(
        ["apt-get", "indextargets", "--format", "$(REPO_URI) $(RELEASE)", "Created-By: Packages"]
    )
    for line in listed.splitlines():
        uri, _, release = line.partition(" ")
        if "debian" in uri and "-" not in release:
            return uri
    raise StepError("apt-get indextargets names no mirror of Debian")
