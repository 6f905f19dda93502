"""The air a tent draws in, as straight lines in time from one knot to the next."""

from __future__ import annotations

from typing import Protocol

from simulators.room import STEP_S, Room


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

    def step(self, tent_w: float = 0.0, tent_kg_s: float = 0.0) -> None:
        """Go on to the next line, told what heat [W] and water [kg/s] the tent gives off now."""


class RoomAir:
    """The air of a simulated room; see `IntakeAir`.

    Parameters
    ----------
    room : Room
        At the time to begin; it is carried along.
    """

    __slots__ = (
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
        self.until_s = room.at_s
        self.air_c = self.ratio = self.humidity_pct = 0.0
        self.step()

    def step(self, tent_w: float = 0.0, tent_kg_s: float = 0.0) -> None:
        """Go on by half an hour; see `IntakeAir.step`."""
        room = self._room
        self.from_s = room.at_s
        self.air_c, self.ratio = room.air_c, room.ratio
        self.humidity_pct = room.humidity_pct
        room.step(tent_w, tent_kg_s)
        self.until_s = room.at_s
        self.air_c_s = (room.air_c - self.air_c) / STEP_S
        self.ratio_s = (room.ratio - self.ratio) / STEP_S
        self.humidity_pct_s = (room.humidity_pct - self.humidity_pct) / STEP_S
