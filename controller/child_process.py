"""Modules of ours that run in a process of their own, whichever way lungwort is installed."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def module_command(module: str, *arguments: str) -> list[str]:
    """The command that runs a module with the interpreter that runs this one.

    Not with the working directory on its path (`-P`): a pin library moves that.
    """
    return [sys.executable, "-P", "-m", module, *arguments]


def module_environment() -> dict[str, str]:
    """This process's environment, in which that command finds this very package.

    An installed one would be found without; not so a checkout, nor the Debian package, whose
    modules lie beside its script.
    """
    home = str(Path(__file__).resolve().parents[1])
    search = os.pathsep.join(filter(None, (home, os.environ.get("PYTHONPATH"))))
    return {**os.environ, "PYTHONPATH": search}


def last_line(stderr: bytes) -> str:
    """What a process that failed said last; "" where it said nothing."""
    return stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]


def limit_address_space(most_bytes: int) -> None:
    """Let this process have no more memory; a lower limit that stands already is kept."""
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = most_bytes if hard == resource.RLIM_INFINITY else min(most_bytes, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))
