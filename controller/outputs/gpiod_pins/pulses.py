"""Counting the pulses of a line out of its edges: pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

# The kernel counts the edges of a line in 32 bits, from 1 on (include/uapi/linux/gpio.h and
# drivers/gpio/gpiolib-cdev.c, from memory).
_SEQUENCE = 1 << 32


class Edge(NamedTuple):
    """A change of a line's level, as the kernel noted it.

    Which way it went is left out: the kernel reads the level late where it is busy, and then tells
    the wrong one.  Edges take turns.

    Attributes
    ----------
    at_ns : int
        Monotonic time [ns].
    number : int
        The line's running number of edges (`line_seqno`), modulo 2**32.
    """

    at_ns: int
    number: int


class PulseCounter:
    """Counts how often a line left its level and came back, for longer than noise does.

    Edges that follow each other faster than a level that counts can last are one burst, such as a
    PWM line induces into the wire beside it, or a slow edge makes: an odd number of them changes
    the level, an even one leaves it as it was.  The kernel's own debouncing is of no use for that:
    it works in timer ticks of up to 10 ms, as long as a whole turn of a fan (from memory).

    The kernel keeps the newest edges only, but numbers them all.  So edges that it dropped are
    counted by their numbers: all of them on a clean line, else the same share as of those it kept.

    Parameters
    ----------
    shortest_ns : int
        How long a level must last to count [ns].

    Attributes
    ----------
    count : int
        Whole pulses so far. It never falls: the newest edge counts before it is known to last, and
        should it prove noise, the next pulse counts for it.
    """

    def __init__(self, shortest_ns: int) -> None:
        self.count = 0
        self._shortest_ns = shortest_ns
        self._changes = 0
        self._in_burst = 0
        self._at_ns: int | None = None
        self._number = 0

    def take(self, edges: Sequence[Edge]) -> None:
        """Count what these edges tell, which follow those taken before."""
        before, dropped = self._changes, 0
        for edge in edges:
            missing = (edge.number - self._number - 1) % _SEQUENCE
            dropped += missing
            is_apart = self._at_ns is None or edge.at_ns - self._at_ns >= self._shortest_ns
            if missing or is_apart:
                self._changes += self._in_burst % 2
                self._in_burst = 0
            self._in_burst += 1
            self._at_ns, self._number = edge.at_ns, edge.number
        if dropped:
            changes = self._changes - before + self._in_burst % 2
            self._changes += round(dropped * min(1.0, changes / len(edges)))
        self.count = max(self.count, (self._changes + self._in_burst % 2) // 2)
