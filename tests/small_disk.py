"""A file system of its own for a test, so small that it is soon full."""

from __future__ import annotations

import contextlib
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@contextlib.contextmanager
def small_disk(at: Path, size: str) -> Iterator[None]:
    """Mount one of a size ("16k") at a directory that is made; skip the test where that can't be.

    Parameters
    ----------
    at : pathlib.Path
        Where; must not exist.
    size : str
        As `mount -t tmpfs -o size=` takes it.
    """
    at.mkdir()
    try:
        made = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={size}", "lungwort-test", str(at)],
            capture_output=True,
            text=True,
            check=False,
        )
    except FileNotFoundError:
        pytest.skip("no mount command here")
    if made.returncode != 0:
        pytest.skip(f"a small file system cannot be mounted here: {made.stderr.strip()}")
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(at)], check=True)
