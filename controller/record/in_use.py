"""Which records are being read within this process: those files must stay where they are.

SQLite keeps readers and writers apart with POSIX locks, which never hold between two connections
of one process (IEEE Std 1003.1-2017, fcntl). Should a file be renamed under an open reader, and a
new one begun by its name, both would use one ``-shm`` file: the new one empties it, and the reader
mixes the pages of both or dies of SIGBUS (https://www.sqlite.org/howtocorrupt.html, "Unlinking or
renaming a database file while in use"). Locks being the process's, so is this count.
"""

from __future__ import annotations

import contextlib
import threading
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

_lock = threading.RLock()  # a reader never closed may be collected while this is held
_readers: Counter[Path] = Counter()


@contextlib.contextmanager
def being_read(path: Path) -> Iterator[None]:
    """Count a reader of the record at `path`; waits while the file is being moved."""
    path = path.absolute()
    with _lock:
        _readers[path] += 1
    try:
        yield
    finally:
        with _lock:
            _readers[path] -= 1


@contextlib.contextmanager
def is_unread(path: Path) -> Iterator[bool]:
    """Whether nothing in this process reads the record at `path`; nothing begins to meanwhile."""
    with _lock:
        yield not _readers[path.absolute()]
