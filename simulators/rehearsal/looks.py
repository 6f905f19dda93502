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
# Fewer than that are not worth a closer look of the tent's air alone.
_FEW = 7


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
        self, settled: Settled, now_s: float, path: Path, first: int, end: int, around: Line
    ) -> tuple[int, Readings | None]:
        """Look at some states of a path until one does not stand.

        Parameters
        ----------
        settled : Settled
            What stands, and does so for all that time if the air stays within its bounds.
        now_s : float
            Monotonic time of the first of them [s].
        path : Path
            Where the tent went.
        first, end : int
            Indices in the path of the first state to be looked at, and after the last.
        around : Line
            The air around, from the first state of the path on.

        Returns
        -------
        tuple of (int, Readings or None)
            Index of the state that does not stand and what was seen there; `end` and None if all
            do.
        """
        if self._passable and end - first >= _FEWEST:
            if self._skips and end - first < _FEW:
                self._skips -= 1
            else:
                found = self._at_a_glance(settled, now_s, path, first, end, around)
                if found is not None:
                    self._patience = 0
                    return found
                # not worth trying again for a while
                self._skips = self._patience = min(2 * self._patience + 1, 3)
        look, hold, tick_s = self._tent.look, settled.bounds.hold, self._tick_s
        look_around = None if self._intake is None else self._intake.look
        first_c, more_c, first_pct, more_pct = around
        air_c, air_pct = path.air_c, path.humidity_pct
        nearby = None
        for i in range(first, end):
            seen = look(now_s, air_c[i], air_pct[i])
            if look_around is not None:
                nearby = look_around(now_s, first_c + i * more_c, first_pct + i * more_pct)
            if seen is None or not hold(seen, nearby):
                return i, Readings(seen, nearby)
            now_s += tick_s
        return end, None

    def _at_a_glance(
        self, settled: Settled, now_s: float, path: Path, first: int, end: int, around: Line
    ) -> tuple[int, Readings | None] | None:
        """Look no closer than it matters; None where each has to be looked at for itself.

        If no reading that the sensors could give of all these states would matter, they are
        passed by; if at least none of the intake air would, only the tent's are worked out.
        """
        sensor, bounds = self._tent.sensor, settled.bounds
        assert sensor is not None, "asked only of sensors that may be passed by"
        air_c, air_pct = path.air_c[first:end], path.humidity_pct[first:end]
        is_short = end - first < _FEW
        highest, lowest = max(air_c), min(air_c)
        least_k, most_k = sensor.reach[:2]
        if is_short and (lowest + least_k < bounds.low_c or highest + most_k > bounds.high_c):
            return None
        until_s = now_s + (end - first - 1) * self._tick_s
        seen = sensor.between(now_s, until_s, lowest, highest, min(air_pct), max(air_pct))
        nearby = self._around_between(now_s, until_s, first, end, around)
        if not bounds.hold_around(seen, nearby):
            return None
        if bounds.hold_alone(seen):
            sensor.pass_by(end - first, air_c, air_pct)
            self._pass_by_around(first, end, around)
            return end, None
        if is_short:
            return None
        before, outside = bounds.first_outside(sensor.walk(now_s, air_c, air_pct))
        at = first + before
        self._pass_by_around(first, at, around)
        if outside is None:
            return end, None
        if self._intake is None:
            return at, Readings(outside)
        first_c, more_c, first_pct, more_pct = around
        seen_around = self._intake.look(
            outside.monotonic_s, first_c + at * more_c, first_pct + at * more_pct
        )
        return at, Readings(outside, seen_around)

    def _around_between(
        self, from_s: float, until_s: float, first: int, end: int, around: Line
    ) -> tuple[Reading, Reading] | None:
        """The lowest and the highest that could be read of the air around."""
        if self._intake is None:
            return None
        assert self._intake.sensor is not None, "asked only of sensors that may be passed by"
        first_c, more_c, first_pct, more_pct = around
        one_c, other_c = first_c + first * more_c, first_c + (end - 1) * more_c
        one_pct, other_pct = first_pct + first * more_pct, first_pct + (end - 1) * more_pct
        if one_c > other_c:
            one_c, other_c = other_c, one_c
        if one_pct > other_pct:
            one_pct, other_pct = other_pct, one_pct
        return self._intake.sensor.between(from_s, until_s, one_c, other_c, one_pct, other_pct)

    def _pass_by_around(self, first: int, end: int, around: Line) -> None:
        """Leave out looks at the air around."""
        if self._intake is None or end == first:
            return
        intake = self._intake.sensor
        assert intake is not None, "asked only of sensors that may be passed by"
        first_c, more_c, first_pct, more_pct = around
        recalled = range(max(first, end - intake.recall), end)
        intake.pass_by(
            end - first,
            [first_c + i * more_c for i in recalled],
            [first_pct + i * more_pct for i in recalled],
        )
