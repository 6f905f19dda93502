"""Looking at the rig at the pace of a tick, on whatever clock it has."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass

from controller.clock import Clock
from controller.control.types import Reading
from controller.daemon.edges import Edges
from controller.sensors.array import SensorState

TICK_S = 2.0


@dataclass(frozen=True, slots=True)
class RigSnapshot:
    """What the rig shows at one instant.

    Attributes
    ----------
    at_s : float
        Monotonic time [s].
    sensors : tuple of SensorState
        Each sensor by itself.
    tent, intake : Reading or None
        The air inside and at the intake, as the daemon would see it.
    rpm : float or None
        Speed of the fan [1/min]; None without a tachometer or before it can tell.
    draws_current : bool or None
        Whether the fan does; None without a current switch.
    """

    at_s: float
    sensors: tuple[SensorState, ...]
    tent: Reading | None
    intake: Reading | None
    rpm: float | None
    draws_current: bool | None = None


class RigWatch:
    """Polls sensors and tachometer while time passes.

    Parameters
    ----------
    edges : Edges
        The rig.
    clock : Clock
        Its time.
    """

    def __init__(self, edges: Edges, clock: Clock) -> None:
        self._edges = edges
        self._clock = clock
        self._never = threading.Event()

    def now_s(self) -> float:
        """Monotonic time [s]."""
        return self._clock.monotonic_s()

    def look(self) -> RigSnapshot:
        """Poll once."""
        now_s = self._clock.monotonic_s()
        sensors, tachometer = self._edges.sensors, self._edges.tachometer
        sensors.poll(now_s)
        readings = sensors.readings(now_s)
        rpm = None if tachometer is None else tachometer.rpm(now_s)
        switch = self._edges.current_switch
        draws = None if switch is None else switch.draws_current()
        return RigSnapshot(now_s, sensors.states(now_s), readings.tent, readings.intake, rpm, draws)

    def looks(self, for_s: float) -> Iterator[RigSnapshot]:
        """Look every two seconds for a while; the caller may stop earlier [s]."""
        end_s = self._clock.monotonic_s() + for_s
        while (left_s := end_s - self._clock.monotonic_s()) > 0.0:
            self._clock.wait(min(TICK_S, left_s), self._never)
            yield self.look()
