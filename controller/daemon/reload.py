"""Reading an edited config without ever holding up the tick."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

from controller.settings import ConfigError, Loaded

Outcome = Loaded | ConfigError


class ConfigWatch:
    """Notices an edited file and loads it aside.

    Parameters
    ----------
    path : pathlib.Path
        The config file.
    sha256 : str
        Of the text now in force; the same text again is not news.
    load : callable
        Loads the file, in a child process; runs in a thread here.
    wake : callable
        Called when an outcome is waiting.
    """

    def __init__(
        self,
        path: Path,
        sha256: str,
        load: Callable[[Path], Loaded],
        wake: Callable[[], None],
    ) -> None:
        self._path = path
        self._known = sha256
        self._load = load
        self._wake = wake
        self._seen = _stamp(path)
        self._settling: tuple[int, ...] | None = None
        self._thread: threading.Thread | None = None
        self._outcome: Outcome | None = None
        self._asked = False

    def ask(self) -> None:
        """Load again even if the file looks the same (SIGHUP)."""
        self._asked = True

    def look(self) -> Outcome | None:
        """Start a load if one is due; give the outcome of one that has ended. Never blocks."""
        thread = self._thread
        if thread is not None:
            if thread.is_alive():
                return None
            self._thread = None
            outcome, self._outcome = self._outcome, None
            if isinstance(outcome, Loaded):
                if outcome.sha256 == self._known:
                    return None
                self._known = outcome.sha256
            return outcome
        if self._is_due():
            self._thread = threading.Thread(target=self._run, name="config-load", daemon=True)
            self._thread.start()
        return None

    def _is_due(self) -> bool:
        stamp = _stamp(self._path)
        if self._asked:
            self._asked = False
            self._seen = stamp
            return True
        if stamp == self._seen or not stamp:
            # Unchanged, or gone: an editor may be between removing and renaming. What is in
            # force stays in force.
            self._settling = None
            return False
        if stamp != self._settling:
            self._settling = stamp  # half-written, perhaps; wait until it keeps still
            return False
        self._seen, self._settling = stamp, None
        return True

    def _run(self) -> None:
        try:
            self._outcome = self._load(self._path)
        except ConfigError as error:
            self._outcome = error
        finally:
            self._wake()


def _stamp(path: Path) -> tuple[int, ...]:
    try:
        status = os.stat(path)  # noqa: PTH116 - one call for all four
    except OSError:
        return ()
    return status.st_dev, status.st_ino, status.st_mtime_ns, status.st_size
