"""One daemon per record and per pin: advisory locks that die with their process."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import re
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from controller.errors import UserError


class AlreadyRunning(UserError):  # noqa: N818 - reads as what it says
    """Another process holds what was to be claimed."""

    def __init__(self, message: str) -> None:
        super().__init__(message, status=4)


class Claim:
    """Locks held until `release`, or until the process ends however it ends.

    The lock files themselves stay: removing one would let two processes each lock "the" file.
    Their descriptors are closed in every program started from here, so a sensor's child process
    that outlives its parent doesn't keep the parent's successor out.
    """

    def __init__(self, descriptors: list[int]) -> None:
        self._descriptors = descriptors

    def release(self) -> None:
        """Release the locks; may be called again."""
        while self._descriptors:
            os.close(self._descriptors.pop())

    def __enter__(self) -> Claim:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def lock_path(path: Path) -> Path:
    """Name the lock file of the record at `path`: beside it, where symbolic links lead to."""
    real = Path(os.path.realpath(path))  # resolve() has no answer where links go in circles
    return real.with_name(real.name + ".lock")


def claim(path: Path) -> Claim:
    """Become the only writer of the record at `path`.

    Parameters
    ----------
    path : pathlib.Path
        The record; `lock_path` says where its lock file stands.

    Raises
    ------
    AlreadyRunning
        If another process holds it; the message names its process id.
    UserError
        If the lock file can't be made for want of permission.
    """
    try:
        return Claim([_lock(lock_path(path), f"the record {path}")])
    except _SickDiskError:
        # On a full or read-only disk nobody can write the record, so two can't either, and the
        # pins have locks of their own, mostly elsewhere. The air matters more than this lock.
        return Claim([])


def claim_pins(directory: Path, chip: str, pins: Iterable[int]) -> Claim:
    """Become the only user of `pins` on `chip`: all of them, or none.

    Parameters
    ----------
    directory : pathlib.Path
        A directory that every controller on this machine uses: the runtime directory.
    chip : str
        Name of the chip or pin factory, such as "gpiochip0".
    pins : iterable of int
        Pin numbers on that chip. Each has a lock of its own, so sets that overlap collide.

    Raises
    ------
    AlreadyRunning
        If another process holds one of them.
    UserError
        If a lock file can't be made.
    """
    name = re.sub(r"[^A-Za-z0-9_-]", "_", chip)
    held = Claim([])
    try:
        for pin in sorted(set(pins)):
            # Where /run is full the fan runs without it: the kernel, too, gives a line to one only.
            with contextlib.suppress(_SickDiskError):
                held._descriptors.append(
                    _lock(directory / f"{name}-{pin}.lock", f"pin {pin} of {chip}")
                )
    except UserError:
        held.release()
        raise
    return held


class _SickDiskError(UserError):
    """The disk can't take a lock file at the moment."""


_SICK = {errno.EROFS, errno.ENOSPC, errno.EDQUOT, errno.EIO}


def _open(path: Path) -> int:
    flags = os.O_CLOEXEC | os.O_NOFOLLOW
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # No O_TRUNC: until the lock is ours, what the file says is the holder's.
        return os.open(path, flags | os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        # A sick disk, or a lock file that another user made ("sudo lungwort run", once).
        if error.errno not in {*_SICK, errno.EACCES} or not path.exists():
            raise
        return os.open(path, flags | os.O_RDONLY)  # a lock doesn't need a writable file


def _lock(path: Path, what: str) -> int:
    try:
        descriptor = _open(path)
    except OSError as error:
        kind = _SickDiskError if error.errno in _SICK else UserError
        raise kind(
            f"cannot make the lock file {path}: {error.strerror}; the directory must exist and be "
            "writable for the user that runs the daemon"
        ) from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()
        os.close(descriptor)
        who = f"process {holder}" if holder.isdecimal() else "another process"
        raise AlreadyRunning(
            f"{what} is in use by {who}; stop that one first, or use another config"
        ) from None
    except OSError as error:
        os.close(descriptor)
        raise UserError(f"cannot lock {path}: {error.strerror}") from error
    with contextlib.suppress(OSError):  # a full disk must not keep the fan from running
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
    return descriptor
