"""The air a tent draws in, as straight lines in time from one knot to the next."""

from __future__ import annotations

from math import floor
from typing import Protocol

from simulators.room import Response, Room, RoomState
from simulators.tent.outflow import NOTHING, GivenOff

# Into how many parts a step of the room may be cut, so that ticks of minutes fit.
_PARTS = (1, 2, 3, 6)


class IntakeAir(Protocol):
    """Air around a tent; between two knots everything changes evenly.

    Attributes
    ----------
    from_s, until_s : float
        The knots the present line lies between [Unix s].
    air_c, ratio, humidity_pct : float
        Temperature [°C], humidity ratio [kg/kg] and relative humidity [%] at `from_s`.
    air_c_s, ratio_s, humidity_pct_s : float
        How fast they change [1/s].
    """

    from_s: float
    until_s: float
    air_c: float
    ratio: float
    humidity_pct: float
    air_c_s: float
    ratio_s: float
    humidity_pct_s: float

    def go_on(self, at_s: float, given: GivenOff = NOTHING) -> None:
        """Go on to the line on which a time lies [Unix s], told what the tent has given off.

        That is all it has given off since the last time, and this is called at the first time
        not before `until_s`.
        """


class RoomAir:
    """The air of a simulated room; see `IntakeAir`.

    A line ends where the room is expected to be; what the tent really gave off is known only then.
    The room is carried on by that, so that its books close, and the next line leads there. Lines
    are as long as the room's step; shorter where the tent's leaves and the room's air would come
    to rest with each other sooner.

    Parameters
    ----------
    room : Room
        At the time to begin; it is carried along.
    """

    __slots__ = (
        "_end",
        "_longest_s",
        "_room",
        "air_c",
        "air_c_s",
        "from_s",
        "humidity_pct",
        "humidity_pct_s",
        "ratio",
        "ratio_s",
        "until_s",
    )

    def __init__(self, room: Room) -> None:
        self._room = room
        self._longest_s = room.step_s
        self._end = RoomState(room.air_c, room.ratio, room.humidity_pct)
        self.until_s = room.at_s
        self._lead(Response(0.0, 0.0, 0.0, room.air_c), Response(0.0, 0.0, 0.0, room.ratio))

    def go_on(self, at_s: float, given: GivenOff = NOTHING) -> None:
        """Go on by as many steps of the room as it takes; see `IntakeAir.go_on`."""
        room, was_s = self._room, self._room.step_s
        steps = max(1, floor((at_s - self.until_s) / was_s) + 1)
        in_all_s = steps * was_s
        tent_w, tent_kg_s = given.heat_j / in_all_s, given.water_kg / in_all_s
        by_k, by_ratio = given.heat_j_k / in_all_s, given.water_kg_ratio / in_all_s
        for step in range(steps):
            end = self._end
            room.step(tent_w, tent_kg_s)
            # What is stored in a step counts as given off less in it, so by its length.
            heat = tent_w + given.stores_j_k / was_s * (end.air_c - self.air_c)
            water = tent_kg_s + given.stores_kg / was_s * (end.ratio - self.ratio)
            heat += by_k * 0.5 * (self.air_c + end.air_c)
            water += by_ratio * 0.5 * (self.ratio + end.ratio)
            if step == steps - 1:
                self._set_step(by_k, by_ratio)
            self._lead(
                Response(heat, by_k, given.stores_j_k / room.step_s, end.air_c),
                Response(water, by_ratio, given.stores_kg / room.step_s, end.ratio),
            )

    def _set_step(self, by_k: float, by_ratio: float) -> None:
        """Choose the length of the next line by how strongly the tent answers the room."""
        p = self._room.physics
        acts_s = self._longest_s * max(by_k / p.heat_j_k, by_ratio / p.air_kg)
        step_s = self._longest_s / next((n for n in _PARTS if n >= acts_s), _PARTS[-1])
        if step_s != self._room.step_s:
            self._room.set_step(step_s)

    def _lead(self, heat: Response, water: Response) -> None:
        """Draw the line from where the last one ended to where the room is expected next."""
        start, step_s = self._end, self._room.step_s
        self.from_s, self.until_s = self._room.at_s, self._room.at_s + step_s
        self._end = end = self._room.expected(heat, water)
        self.air_c, self.ratio, self.humidity_pct = start
        self.air_c_s = (end.air_c - start.air_c) / step_s
        self.ratio_s = (end.ratio - start.ratio) / step_s
        self.humidity_pct_s = (end.humidity_pct - start.humidity_pct) / step_s
