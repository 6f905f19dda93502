"""Looking at the tent and at the air around it: every tick, or along ticks that went by.

While a decision stands, the tent goes on as it would have anyway. So a rehearsal lets several
ticks go by, then looks at each of them, and takes back those after the first that does not stand.
Where nothing that the sensors could say of all these ticks would matter, it leaves out the looking
too: their elements follow the air and chance goes on, but no reading is worked out. What is
decided is the same either way (tests/rehearsal/test_both_loops.py).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.decision import Reading, Readings

if TYPE_CHECKING:
    from controller.decision.settled import Settled
    from simulators.rehearsal.senses import Sense
    from simulators.tent_path import Path

# Fewer ticks than that are looked at one by one without further ado.
_FEWEST = 3


class Line(NamedTuple):
    """The air around: temperature [°C] and humidity [%] at a first tick, and how they change."""

    air_c: float
    more_c: float
    humidity_pct: float
    more_pct: float


class Looks:
    """What a rehearsed controller sees.

    Parameters
    ----------
    tent : Sense
        Of the tent.
    intake : Sense or None
        Of the air drawn in, if there is a sensor.
    tick_s : float
        From tick to tick [s].
    """

    __slots__ = ("_intake", "_passable", "_patience", "_skips", "_tent", "_tick_s")

    def __init__(self, tent: Sense, intake: Sense | None, tick_s: float) -> None:
        self._tent = tent
        self._intake = intake
        self._tick_s = tick_s
        self._passable = tent.sensor is not None and (intake is None or intake.sensor is not None)
        self._patience = self._skips = 0

    def at(self, now_s: float, path: Path, at: int, around: Line) -> Readings:
        """Look at one state of a path, so many ticks after the first of the air around."""
        seen = self._tent.look(now_s, path.air_c[at], path.humidity_pct[at])
        if self._intake is None:
            return Readings(seen)
        first_c, more_c, first_pct, more_pct = around
        return Readings(
            seen, self._intake.look(now_s, first_c + at * more_c, first_pct + at * more_pct)
        )

    def along(
        self, settled: Settled, now_s: float, path: Path, first: int, around: Line
    ) -> tuple[int, Readings | None]:
        """Look at the last states of a path, all but the very last, until one does not stand.

        Parameters
        ----------
        settled : Settled
            What stands, and does so for all that time if the air stays within its bounds.
        now_s : float
            Monotonic time of the first of them [s].
        path : Path
            Where the tent went.
        first : int
            Index in the path of the first state to be looked at.
        around : Line
            The air around, from the first state of the path on.

        Returns
        -------
        tuple of (int, Readings or None)
            Index of the state that does not stand and what was seen there; the index of the last
            and None if all do.
        """
        end = len(path.air_c) - 1
        if self._passable and end - first >= _FEWEST:
            if self._skips:
                self._skips -= 1
            elif self._never_mind(settled, now_s, path, first, end, around):
                self._patience = 0
                return end, None
            else:  # not worth trying again for a while
                self._skips = self._patience = min(2 * self._patience + 1, 3)
        look, hold, tick_s = self._tent.look, settled.bounds.hold, self._tick_s
        look_around = None if self._intake is None else self._intake.look
        room_c, more_c, room_pct, more_pct = around
        room_c += first * more_c
        room_pct += first * more_pct
        air_c, air_pct = path.air_c, path.humidity_pct
        nearby = None
        for i in range(first, end):
            seen = look(now_s, air_c[i], air_pct[i])
            if look_around is not None:
                nearby = look_around(now_s, room_c, room_pct)
            if seen is None or not hold(seen, nearby):
                return i, Readings(seen, nearby)
            now_s += tick_s
            room_c += more_c
            room_pct += more_pct
        return end, None

    def _never_mind(
        self, settled: Settled, now_s: float, path: Path, first: int, end: int, around: Line
    ) -> bool:
        """Pass all those states by if no reading of them could matter."""
        sensor = self._tent.sensor
        assert sensor is not None, "asked only of sensors that may be passed by"
        air_c, air_pct = path.air_c[first:end], path.humidity_pct[first:end]
        until_s = now_s + (end - first - 1) * self._tick_s
        highest, lowest = max(air_c), min(air_c)
        bounds = settled.bounds
        least_k, most_k = sensor.reach[:2]
        if lowest + least_k < bounds.low_c or highest + most_k > bounds.high_c:
            return False
        seen = sensor.between(now_s, until_s, lowest, highest, min(air_pct), max(air_pct))
        nearby: tuple[Reading, Reading] | None = None
        intake = None if self._intake is None else self._intake.sensor
        first_c, more_c, first_pct, more_pct = around
        if intake is not None:
            one_c, other_c = first_c + first * more_c, first_c + (end - 1) * more_c
            one_pct, other_pct = first_pct + first * more_pct, first_pct + (end - 1) * more_pct
            if one_c > other_c:
                one_c, other_c = other_c, one_c
            if one_pct > other_pct:
                one_pct, other_pct = other_pct, one_pct
            nearby = intake.between(now_s, until_s, one_c, other_c, one_pct, other_pct)
        if not bounds.hold_between(seen, nearby):
            return False
        sensor.pass_by(end - first, air_c, air_pct)
        if intake is not None:
            recalled = range(max(first, end - intake.recall), end)
            intake.pass_by(
                end - first,
                [first_c + i * more_c for i in recalled],
                [first_pct + i * more_pct for i in recalled],
            )
        return True
