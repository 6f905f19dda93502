"""Loads an edited config in a thread, so that the tick never waits for it."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

from controller.config import ConfigError, Loaded

Outcome = Loaded | ConfigError

# An editor may remove a file and write it anew; one that is gone for so many looks is missed.
_MISSED_AFTER_LOOKS = 30


class ConfigWatch:
    """Notices an edited file and loads it in a thread.

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
    was_refused : bool
        Whether the file as it is now was refused, so that another text is in force.
    """

    def __init__(
        self,
        path: Path,
        sha256: str,
        load: Callable[[Path], Loaded],
        wake: Callable[[], None],
        was_refused: bool = False,
    ) -> None:
        self._path = path
        self._sha256_in_force = sha256
        self._load = load
        self._wake = wake
        self._was_refused = was_refused
        self._gone_for_looks = 0
        self._stamp_dealt_with = _stamp(path)
        self._settling: tuple[int, ...] | None = None
        self._thread: threading.Thread | None = None
        self._outcome: Outcome | None = None
        self._asked = False

    def ask(self) -> None:
        """Load again even if the file looks the same (SIGHUP)."""
        self._asked = True

    def look(self) -> Outcome | None:
        """Start a load if due; give the outcome of a finished one. Never blocks."""
        thread = self._thread
        if thread is not None:
            if thread.is_alive():
                return None
            self._thread = None
            outcome, self._outcome = self._outcome, None
            return self._unless_unchanged(outcome)
        if self._is_due():
            self._thread = threading.Thread(target=self._run, name="config-load", daemon=True)
            self._thread.start()
        return None

    def _unless_unchanged(self, outcome: Outcome | None) -> Outcome | None:
        """Drop an outcome that changes nothing: the text in force, with no rejection in between."""
        if isinstance(outcome, Loaded):
            if outcome.sha256 == self._sha256_in_force and not self._was_refused:
                return None
            self._sha256_in_force = outcome.sha256
        self._was_refused = isinstance(outcome, ConfigError)
        return outcome

    def _is_due(self) -> bool:
        stamp = _stamp(self._path)
        self._gone_for_looks = 0 if stamp else self._gone_for_looks + 1
        if self._asked:
            self._asked = False
            self._stamp_dealt_with = stamp
            return True
        if not stamp:
            # Gone: what is in force stays in force, and somebody should know.
            self._settling, self._stamp_dealt_with = None, ()
            return self._gone_for_looks == _MISSED_AFTER_LOOKS and not self._was_refused
        if stamp == self._stamp_dealt_with:
            self._settling = None
            return False
        if stamp != self._settling:
            self._settling = stamp  # half-written, perhaps; wait until it keeps still
            return False
        self._stamp_dealt_with, self._settling = stamp, None
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
