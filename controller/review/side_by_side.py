"""Two queries of one record side by side: SQLite lets other threads run."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

from controller.interruption import interrupts_held

if TYPE_CHECKING:
    from concurrent.futures import Future

A = TypeVar("A")
B = TypeVar("B")
# How often an interrupt is let through [s].
_LOOK_S = 0.2


def side_by_side(first: Callable[[], A], second: Callable[[], B]) -> tuple[A, B]:
    """Do two works, each in a thread of its own, and wait for both.

    Parameters
    ----------
    first, second : callable
        The works.

    Returns
    -------
    tuple
        What they gave.

    Raises
    ------
    Exception
        What a work raised, once both have ended.
    """
    from concurrent.futures import ThreadPoolExecutor, wait

    with interrupts_held():
        pool = ThreadPoolExecutor(2)
        run, other_run = pool.submit(first), pool.submit(second)
    waiting: set[Future[Any]] = {run, other_run}
    try:
        while waiting:
            with interrupts_held():
                _, waiting = wait(waiting, _LOOK_S)
        with interrupts_held():
            return run.result(), other_run.result()
    finally:
        with interrupts_held():
            pool.shutdown()
