"""Ctrl-C and SIGTERM: the first ends a command in order, a second one does not disturb that."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Iterator
from types import FrameType

_STOPPING = (signal.SIGINT, signal.SIGTERM)
# A signal so soon after the first is the same impatience; a later one means a command that hangs.
_PATIENCE_S = 1.0


class Interrupted(KeyboardInterrupt):
    """A command is to end.

    Parameters
    ----------
    number : int
        The signal that said so.
    """

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


# What was raised; a process is interrupted once.
_raised: list[Interrupted] = []


def raise_on_signals() -> None:
    """From now on the first SIGINT or SIGTERM raises `Interrupted`; main thread only.

    One that is ignored, as in a script's background, stays so.
    """
    first_s: float | None = None

    def handle(number: int, _frame: FrameType | None) -> None:
        nonlocal first_s
        if first_s is None:
            first_s = time.monotonic()
            _raised.append(Interrupted(number))
            raise _raised[0]
        if time.monotonic() - first_s > _PATIENCE_S:
            os._exit(128 + number)

    for number in _STOPPING:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, handle)


@contextlib.contextmanager
def interrupts_held() -> Iterator[None]:
    """Signals wait meanwhile; threads and processes begun in it are not interrupted by them.

    An exception out of a handler can come between a lock's taking and its release, and a thread
    that needs that lock would then wait for it for ever: so in a command with threads nothing that
    takes a lock of theirs runs outside this.
    """
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _STOPPING)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def raise_swallowed() -> None:
    """Raise what was raised already: SQLite swallows what is raised while it runs a query.

    It then says no more than that the query was interrupted, as it does of one that has no end.

    Raises
    ------
    Interrupted
        When one came.
    """
    if _raised:
        raise _raised[0]


def ignore_signals() -> None:
    """Leave the process in peace from now on: its work is done."""
    for number in _STOPPING:
        signal.signal(number, signal.SIG_IGN)


def ending(error: KeyboardInterrupt) -> tuple[str, int]:
    """What to say of an interrupted command, and its exit status, as a shell gives it."""
    if isinstance(error, Interrupted) and error.number == signal.SIGTERM:
        return "lungwort: terminated", 128 + signal.SIGTERM
    return "lungwort: interrupted", 128 + signal.SIGINT
