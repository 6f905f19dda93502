"""Signals, taken out of the handler into a thread.

A handler runs between any two steps of the main thread, where setting an event can deadlock on
the event's own lock. So the handlers do nothing, and the interpreter writes each signal's number
into a socket that a thread reads.
"""

from __future__ import annotations

import contextlib
import signal
import socket
import threading
from collections.abc import Callable, Iterator, Mapping


@contextlib.contextmanager
def signals_to(actions: Mapping[int, Callable[[], None]]) -> Iterator[None]:
    """Call an action, in a thread, for each signal received; main thread only.

    Parameters
    ----------
    actions : mapping of int to callable
        What to do for each signal number.
    """
    reader, writer = socket.socketpair()
    writer.setblocking(False)

    def call_actions() -> None:
        while number := reader.recv(1):
            action = actions.get(number[0])
            if action is not None:
                action()

    thread = threading.Thread(target=call_actions, name="signals", daemon=True)
    thread.start()
    before_fd = signal.set_wakeup_fd(writer.fileno(), warn_on_full_buffer=False)
    before = {number: signal.signal(number, _ignore) for number in actions}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(before_fd)
        writer.close()
        thread.join(timeout=1.0)
        reader.close()


def _ignore(_number: int, _frame: object) -> None:
    """Do nothing: the thread acts."""
