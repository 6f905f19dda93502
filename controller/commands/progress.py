"""How far a command is, on the terminal; nothing where nobody watches."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import time
from types import TracebackType
from typing import TextIO

from controller.display import duration
from controller.tables import terminal_width

_WIDEST_BAR = 30
_NARROWEST_BAR = 8
# Shorter work shows nothing, and a bar is drawn anew so often [s].
_PATIENCE_S = 0.5
_EVERY_S = 0.1
# A terminal on which nothing can be drawn over gets a line instead, so often [s].
_LINE_EVERY_S = 10.0
_DAY_S = 86_400.0


class ProgressBar:
    """Shows how far a piece of work is, on a terminal only; a context manager.

    The bar needs no escape codes: it is drawn over with spaces. A terminal that says it is dumb
    gets a line of text now and then.

    Parameters
    ----------
    total : float
        How much there is to do, in any unit.
    stream : text stream
        Where to draw; stderr by default, so that the output stays clean.
    in_days : bool
        Whether the unit is a simulated second, so that days can be counted.
    """

    def __init__(
        self, total: float, stream: TextIO | None = None, *, in_days: bool = False
    ) -> None:
        self._total = total
        self._stream = sys.stderr if stream is None else stream
        self._is_shown = self._stream.isatty()
        self._is_dumb = os.environ.get("TERM", "dumb") == "dumb"
        self._in_days = in_days
        self._began_s = self._looked_s = self._said_s = time.monotonic()
        self._drawn = 0  # columns of the bar that stands there

    def __enter__(self) -> ProgressBar:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.erase()

    def show(self, done: float) -> None:
        """Say how much is done, in the unit of the total.

        Raises
        ------
        BrokenPipeError
            Nobody reads the command's output any more, so nobody waits for the rest of the work.
        """
        now_s = time.monotonic()
        if now_s - self._looked_s < _EVERY_S:
            return
        self._looked_s = now_s
        if _reader_has_gone(sys.stdout):
            raise BrokenPipeError
        if not self._is_shown or now_s - self._began_s < _PATIENCE_S:
            return
        share = min(1.0, max(0.0, done / self._total)) if self._total > 0.0 else 1.0
        if self._is_dumb:
            if now_s - self._said_s >= _LINE_EVERY_S:
                self._said_s = now_s
                print(self._text(share, now_s).strip(), file=self._stream, flush=True)
            return
        self._draw(share, self._text(share, now_s))

    def erase(self) -> None:
        """Take the bar away, so that something else can be printed."""
        if self._drawn:
            self._stream.write("\r" + " " * self._drawn + "\r")
            self._stream.flush()
            self._drawn = 0

    def _text(self, share: float, now_s: float) -> str:
        percent, days, left = f"{share:4.0%}", "", ""
        in_all = round(self._total / _DAY_S)
        if self._in_days and in_all > 1:
            days = f", {int(share * self._total / _DAY_S + 1e-6)} of {in_all} days"
        if share > 0.02:
            spent_s = now_s - self._began_s
            left = f", {duration(round(spent_s / share - spent_s))} left"
        text = percent + days + left
        return text if len(text) < terminal_width() else percent + left

    def _draw(self, share: float, text: str) -> None:
        # A column stays free: a full line would go on in the next.
        room = min(_WIDEST_BAR, terminal_width() - 2 - len(text))
        if room >= _NARROWEST_BAR:
            full = round(room * share)
            done, to_come = _shown_by(self._stream)
            text = f"{done * full}{to_come * (room - full)} {text}"
        self._stream.write("\r" + text.ljust(self._drawn))
        self._stream.flush()
        self._drawn = len(text)


class LinesAbove:
    """A stream whose lines come above a progress bar that is drawn on it.

    Parameters
    ----------
    stream : text stream
        The terminal.
    bar : ProgressBar
        Drawn there; erased before each line, and drawn again when it is next shown.
    """

    def __init__(self, stream: TextIO, bar: ProgressBar) -> None:
        self._stream = stream
        self._bar = bar

    def write(self, text: str) -> int:
        """Write a line."""
        self._bar.erase()
        return self._stream.write(text)

    def flush(self) -> None:
        """Flush the stream."""
        self._stream.flush()

    def isatty(self) -> bool:
        """Whether it is a terminal."""
        return self._stream.isatty()


def _shown_by(stream: TextIO) -> tuple[str, str]:
    """Characters of a bar, done and to come, that a stream's encoding knows."""
    try:
        "█░".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return "#", "."
    return "█", "░"


def _reader_has_gone(stream: TextIO) -> bool:
    """Whether the other end of a pipe is closed, as `| head` does once it has its lines."""
    with contextlib.suppress(OSError, ValueError):  # no file at all, or a closed one
        poll = select.poll()
        poll.register(stream.fileno(), 0)
        return any(event & select.POLLERR for _, event in poll.poll(0))
    return False
