"""A bar on the terminal for commands that take a while; nothing where nobody watches."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TextIO

from controller.display import duration

_WIDTH = 30
# Shorter work shows no bar, and a bar is drawn anew so often [s].
_PATIENCE_S = 0.5
_EVERY_S = 0.1


class ProgressBar:
    """Shows how far a piece of work is, on a terminal only; a context manager.

    Parameters
    ----------
    total : float
        How much there is to do, in any unit.
    stream : text stream
        Where to draw; stderr by default, so that the output stays clean.
    """

    def __init__(self, total: float, stream: TextIO | None = None) -> None:
        self._total = total
        self._stream = sys.stderr if stream is None else stream
        self._is_shown = self._stream.isatty()
        self._began_s = self._drawn_s = time.monotonic()
        self._has_drawn = False

    def __enter__(self) -> ProgressBar:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._has_drawn:
            self._stream.write("\r\033[K")
            self._stream.flush()

    def show(self, done: float) -> None:
        """Say how much is done, in the unit of the total."""
        if not self._is_shown:
            return
        now_s = time.monotonic()
        spent_s = now_s - self._began_s
        if spent_s < _PATIENCE_S or now_s - self._drawn_s < _EVERY_S:
            return
        self._drawn_s = now_s
        self._has_drawn = True
        share = min(1.0, max(0.0, done / self._total)) if self._total > 0.0 else 1.0
        full = round(_WIDTH * share)
        left = f", {duration(round(spent_s / share - spent_s))} left" if share > 0.02 else ""
        bar = "█" * full + "░" * (_WIDTH - full)
        self._stream.write(f"\r\033[K{bar} {share:4.0%}{left}")
        self._stream.flush()
