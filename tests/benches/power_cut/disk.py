"""A disk with a write cache that a power cut can empty: an NBD server for one guest.

What the guest has written but not flushed lies in the cache. When the power goes, the cache's fate
is one of `Fate`; a real card may keep any part of it, in any order. Only the newest NBD handshake
and the commands that QEMU sends are spoken (https://github.com/NetworkBlockDevice/nbd, proto.md).
"""

from __future__ import annotations

import contextlib
import os
import random
import socket
import struct
import threading
from enum import Enum
from pathlib import Path

BLOCK = 4096
# Parts of a block that a card may write each by itself: torn blocks.
SECTOR = 512

_MAGIC, _OPTION_MAGIC, _REPLY_MAGIC = 0x4E42444D41474943, 0x49484156454F5054, 0x3E889045565A9
_EXPORT_NAME, _ABORT, _GO = 1, 2, 7
_ACK, _INFO, _UNSUPPORTED = 1, 3, 0x80000001
_READ, _WRITE, _CLOSE, _FLUSH = 0, 1, 2, 3
_HAS_FLAGS, _SEND_FLUSH = 1, 4


class Fate(Enum):
    """What becomes of writes that were not flushed, when the power is cut."""

    KEPT = "kept"  # a disk without a cache
    LOST = "lost"  # all of them
    MIXED = "mixed"  # each sector by the toss of a coin: torn and reordered
    # As LOST, and the disk only pretends to flush. Nothing can be safe on such a disk: it is the
    # control that shows that the bench would notice a loss.
    LYING = "lying"


class Disk:
    """The guest's disk: an image that is never changed, with what was written over it.

    Parameters
    ----------
    image : Path
        The image.
    """

    def __init__(self, image: Path) -> None:
        self._image = os.open(image, os.O_RDONLY)
        self.size = os.fstat(self._image).st_size
        self._kept: dict[int, bytes] = {}
        self._cached: dict[int, bytes] = {}
        self._lock = threading.Lock()
        self.lies = False
        self._writes_left: int | None = None
        self.power_failed = threading.Event()

    def close(self) -> None:
        """Let go of the image."""
        os.close(self._image)

    def read(self, offset: int, length: int) -> bytes:
        """Read as the guest does: the newest of everything."""
        with self._lock:
            first, last = offset // BLOCK, (offset + length - 1) // BLOCK
            data = b"".join(self._block(number) for number in range(first, last + 1))
        start = offset - first * BLOCK
        return data[start : start + length]

    def fail_after(self, writes: int) -> None:
        """Let the power fail with the so many-th write from now: the disk answers no more.

        Flushes follow writes within milliseconds, so that cuts at random instants would find the
        cache empty.
        """
        with self._lock:
            self.power_failed.clear()
            self._writes_left = writes

    def write(self, offset: int, data: bytes) -> None:
        """Write into the cache; nothing more once the power has failed."""
        with self._lock:
            if self.power_failed.is_set():
                return
            if self._writes_left is not None:
                self._writes_left -= 1
                if self._writes_left <= 0:
                    self.power_failed.set()
            at, end = offset, offset + len(data)
            while at < end:
                number, inside = divmod(at, BLOCK)
                upto = min(end, (number + 1) * BLOCK)
                part = data[at - offset : upto - offset]
                if len(part) < BLOCK:
                    old = self._block(number)
                    part = old[:inside] + part + old[inside + len(part) :]
                self._cached[number] = part
                at = upto

    def flush(self) -> None:
        """Make everything written so far safe (or say so)."""
        with self._lock:
            if not self.lies and not self.power_failed.is_set():
                self._keep_all()

    def cut(self, fate: Fate, rng: random.Random) -> int:
        """Cut the power; how many blocks were in the cache."""
        with self._lock:
            in_cache = len(self._cached)
            if fate is Fate.KEPT:
                self._keep_all()
            elif fate is Fate.MIXED:
                for number, new in self._cached.items():
                    self._kept[number] = _torn(self._safe_block(number), new, rng)
            self._cached.clear()
            self._writes_left = None
            self.power_failed.clear()
        return in_cache

    def _keep_all(self) -> None:
        self._kept.update(self._cached)
        self._cached.clear()

    def _block(self, number: int) -> bytes:
        cached = self._cached.get(number)
        return self._safe_block(number) if cached is None else cached

    def _safe_block(self, number: int) -> bytes:
        kept = self._kept.get(number)
        if kept is not None:
            return kept
        return os.pread(self._image, BLOCK, number * BLOCK).ljust(BLOCK, b"\0")


def _torn(old: bytes, new: bytes, rng: random.Random) -> bytes:
    parts = []
    for at in range(0, BLOCK, SECTOR):
        parts.append((new if rng.random() < 0.5 else old)[at : at + SECTOR])
    return b"".join(parts)


class DiskServer:
    """Serves a disk to one QEMU over a Unix socket, in a thread of its own.

    Parameters
    ----------
    disk : Disk
        What is served.
    path : Path
        The socket.
    """

    def __init__(self, disk: Disk, path: Path) -> None:
        self._disk = disk
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        path.unlink(missing_ok=True)
        self._listener.bind(str(path))
        self._listener.listen(1)
        self._connection: socket.socket | None = None
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="disk", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop serving; nothing is written after this returns."""
        self._closing.set()
        for end in (self._listener, self._connection):
            if end is not None:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)
                end.close()
        self._thread.join(10.0)

    def _run(self) -> None:
        with contextlib.suppress(OSError, EOFError):
            self._connection, _ = self._listener.accept()
            if self._greet(self._connection):
                while self._serve(self._connection):
                    pass

    def _greet(self, end: socket.socket) -> bool:
        end.sendall(struct.pack(">QQH", _MAGIC, _OPTION_MAGIC, 1))  # fixed newstyle
        _take(end, 4)
        flags = _HAS_FLAGS | _SEND_FLUSH
        while True:
            _, option, length = struct.unpack(">QII", _take(end, 16))
            _take(end, length)
            if option == _EXPORT_NAME:
                end.sendall(struct.pack(">QH", self._disk.size, flags) + bytes(124))
                return True
            if option == _GO:
                _reply(end, option, _INFO, struct.pack(">HQH", 0, self._disk.size, flags))
                _reply(end, option, _ACK)
                return True
            if option == _ABORT:
                _reply(end, option, _ACK)
                return False
            _reply(end, option, _UNSUPPORTED)

    def _serve(self, end: socket.socket) -> bool:
        _, _, kind, handle, offset, length = struct.unpack(">IHHQQI", _take(end, 28))
        answer = b""
        error = 0
        if kind == _READ:
            answer = self._disk.read(offset, length)
        elif kind == _WRITE:
            self._disk.write(offset, _take(end, length))
        elif kind == _FLUSH:
            self._disk.flush()
        elif kind == _CLOSE:
            return False
        else:
            error = 22  # EINVAL
        if self._disk.power_failed.is_set():
            # Never answered, and not hung up either: the guest must not learn of an error that a
            # power cut would not have told it.
            self._closing.wait()
            return False
        end.sendall(struct.pack(">IIQ", 0x67446698, error, handle) + answer)
        return True


def _reply(end: socket.socket, option: int, kind: int, data: bytes = b"") -> None:
    end.sendall(struct.pack(">QIII", _REPLY_MAGIC, option, kind, len(data)) + data)


def _take(end: socket.socket, length: int) -> bytes:
    data = bytearray()
    while len(data) < length:
        part = end.recv(length - len(data))
        if not part:
            raise EOFError
        data += part
    return bytes(data)
