"""Two queries of one record side by side: SQLite lets other threads run."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from controller.interruption import interrupts_held

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
        one, other = pool.submit(first), pool.submit(second)
    try:
        are_done = False
        while not are_done:
            with interrupts_held():
                are_done = not wait((one, other), _LOOK_S).not_done
        with interrupts_held():
            return one.result(), other.result()
    finally:
        with interrupts_held():
            pool.shutdown()
