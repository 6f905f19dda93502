"""Whether what is written to a file is gone after the next boot.

On a card made read-only by an overlay everything seems to be written and nothing stays: the upper
layer of such a root is memory. Read from the kernel's table of mounts, proc_pid_mountinfo(5).
"""

from __future__ import annotations

import os
import re
from pathlib import Path, PurePosixPath
from typing import NamedTuple

MOUNTS = Path("/proc/self/mountinfo")
_IN_MEMORY = ("tmpfs", "ramfs")


class Mount(NamedTuple):
    """A line of the table of mounts.

    Attributes
    ----------
    point : pathlib.PurePosixPath
        Where it is mounted.
    kind : str
        File system.
    options : str
        The file system's own options.
    """

    point: PurePosixPath
    kind: str
    options: str


def parse_mounts(table: str) -> tuple[Mount, ...]:
    """Read the table of mounts; lines that make no sense are passed over."""
    mounts = []
    for line in table.splitlines():
        fields, _, rest = line.partition(" - ")
        words, own = fields.split(), rest.split(" ", 2)
        if len(words) >= 6 and len(own) == 3:
            mounts.append(Mount(PurePosixPath(_unescaped(words[4])), own[0], own[2]))
    return tuple(mounts)


def why_volatile(path: Path, mounts: tuple[Mount, ...]) -> str:
    """Why a file that is written there is, or may be, gone after the next boot.

    Parameters
    ----------
    path : pathlib.Path
        The file, without symbolic links.
    mounts : tuple of Mount
        All mounts, in the order of the table.

    Returns
    -------
    str
        Words to follow "the record lies on"; empty where it stays, as far as the table tells.
    """
    mount = _mount_of(PurePosixPath(path), mounts)
    if mount is None:
        return ""
    if mount.kind in _IN_MEMORY:
        return f"{mount.point} ({mount.kind}), which is memory: it is gone at the next boot"
    if mount.kind != "overlay":
        return ""
    upper = re.search(r"(?:^|,)upperdir=((?:[^,\\]|\\.)*)", mount.options)
    if upper is None:
        return f"{mount.point}, an overlay that can't be written to"
    layer = _mount_of(PurePosixPath(_unescaped(upper[1])), mounts)
    # The layer's own mount is often out of sight, as one that was made before the root was.
    if layer is None or layer.point == mount.point:
        return (
            f"{mount.point}, an overlay: what is written there may be memory and gone at the next "
            "boot"
        )
    if layer.kind in _IN_MEMORY:
        return (
            f"{mount.point}, an overlay whose upper layer is memory ({layer.kind}): it is gone at "
            "the next boot"
        )
    return ""


def record_volatile(path: Path, table: Path = MOUNTS) -> str:
    """Why the record of this machine is, or may be, gone after the next boot; see `why_volatile`.

    Empty too where the table of mounts can't be read, as on another system.
    """
    try:
        mounts = parse_mounts(table.read_text("utf-8", "replace"))
        return why_volatile(Path(os.path.realpath(path)), mounts)
    except OSError:
        return ""


def _mount_of(path: PurePosixPath, mounts: tuple[Mount, ...]) -> Mount | None:
    """The mount that a path lies on: the longest that leads there, and the last put on it."""
    best = None
    for mount in mounts:
        leads = path == mount.point or mount.point in path.parents
        if leads and (best is None or len(mount.point.parts) >= len(best.point.parts)):
            best = mount
    return best


def _unescaped(text: str) -> str:
    """Blanks and backslashes stand in the table as octal numbers."""
    return re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), text)
