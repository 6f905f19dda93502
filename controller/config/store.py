"""The last config that ran, kept for a start at which the file is gone, half-written or wrong.

A tent left alone must not stay without control because an edit went wrong before a power cut.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import threading
from collections.abc import Callable
from pathlib import Path

from controller.config import ConfigError, Loaded
from controller.config.model import state_directory


class LastGood:
    """The copy that belongs to one config file.

    Parameters
    ----------
    config : pathlib.Path
        The file that a person edits.

    Attributes
    ----------
    path : pathlib.Path
        Where the copy is: in the state directory, under a name of its own for every config.
    """

    def __init__(self, config: Path) -> None:
        whole = config.absolute()
        digest = hashlib.sha256(os.fsencode(whole)).hexdigest()[:8]
        self.path = state_directory() / f"{whole.stem}-{digest}.last-good.yaml"

    def load(self, load: Callable[[Path], Loaded]) -> Loaded | None:
        """Load the copy; None where there is none, or it is no good either."""
        try:
            return load(self.path)
        except ConfigError:
            return None

    def keep(self, text: str) -> None:
        """Keep a config that runs; failing to is no reason not to run. May wait for the disk."""
        data = text.encode()
        fresh = self.path.with_name(self.path.name + ".new")
        with contextlib.suppress(OSError):
            if self.path.exists() and self.path.read_bytes() == data:
                return
            self.path.parent.mkdir(parents=True, exist_ok=True)
            fresh.unlink(missing_ok=True)
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
            with os.fdopen(os.open(fresh, flags, 0o640), "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(self.path)

    def keep_aside(self, text: str) -> None:
        """Keep it in a thread of its own: no tick waits for a disk."""
        threading.Thread(target=self.keep, args=(text,), name="last-good", daemon=True).start()
