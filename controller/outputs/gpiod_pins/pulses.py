"""Counting the pulses of a line out of its edges: pure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

# The kernel counts the edges of a line in 32 bits (include/uapi/linux/gpio.h, from memory).
_SEQUENCE = 1 << 32


class Edge(NamedTuple):
    """A change of a line's level, as the kernel noted it.

    Attributes
    ----------
    at_ns : int
        Monotonic time [ns].
    is_rising : bool
        Whether the line is high from then on.
    number : int
        The line's running number of edges (`line_seqno`), modulo 2**32.
    """

    at_ns: int
    is_rising: bool
    number: int


class PulseCounter:
    """Counts how often a line went low and stayed there.

    A level counts once it has lasted long enough; what is shorter is noise, such as a PWM line
    induces into the wire beside it.  The kernel's own debouncing is of no use for that: it works in
    timer ticks of up to 10 ms, as long as a whole turn of a fan (from memory).

    The kernel keeps the newest edges only, but numbers them all.  So edges that it dropped are
    counted by their numbers: exactly on a clean line, else as many as of those that it kept.

    Parameters
    ----------
    shortest_ns : int
        How long a level must last to count [ns].
    is_high : bool
        The level before the first edge.
    """

    def __init__(self, shortest_ns: int, *, is_high: bool = True) -> None:
        self.count = 0
        self._shortest_ns = shortest_ns
        self._is_high = is_high
        self._is_low_counted = not is_high
        self._since_ns: int | None = None
        self._number: int | None = None

    def take(self, edges: Sequence[Edge]) -> None:
        """Count what these edges tell, which follow those taken before.

        A fall is counted by the edge that ends it, so that the newest may still be open.
        """
        share: float | None = None
        for edge in edges:
            missing = 0
            if self._number is not None:
                missing = (edge.number - self._number - 1) % _SEQUENCE
            if missing:
                if share is None:
                    share = _share_of_pulses(edges, self._shortest_ns)
                self._take_missing(missing, edge, share)
            elif self._since_ns is None or edge.at_ns - self._since_ns >= self._shortest_ns:
                self.count += self._is_open_fall
                self._is_low_counted = not self._is_high
            self._is_high = edge.is_rising
            self._since_ns = edge.at_ns
            self._number = edge.number

    @property
    def _is_open_fall(self) -> bool:
        """Whether the line fell and that isn't counted yet."""
        return not self._is_high and not self._is_low_counted

    def _take_missing(self, missing: int, following: Edge, share: float) -> None:
        """Count edges that the kernel dropped before this one; they took turns."""
        falls = (missing + self._is_high) // 2 + self._is_open_fall
        self.count += round(share * falls)
        self._is_low_counted = following.is_rising


def _share_of_pulses(edges: Sequence[Edge], shortest_ns: int) -> float:
    """How many of the times that a line was low lasted long enough, 0-1; 1 without any."""
    seen = lasting = 0
    for fall, rise in pairwise(edges):
        if not fall.is_rising and rise.number == (fall.number + 1) % _SEQUENCE:
            seen += 1
            lasting += rise.at_ns - fall.at_ns >= shortest_ns
    return lasting / seen if seen else 1.0
