"""Where commissioning takes place: the real rig, or a simulated one."""

from __future__ import annotations

import contextlib
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Protocol

from controller.clock import Clock, SystemClock
from controller.daemon.edges import Edges

if TYPE_CHECKING:
    from controller.config import Settings


class Site(Protocol):
    """A rig that can be claimed and opened."""

    clock: Clock
    simulated: bool

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        """Claim record and pins for this process alone, until the context ends."""

    def open_edges(self, settings: Settings) -> Edges:
        """Open sensors and outputs, with the fan at rest and a lamp of ours dark."""


class RealSite:
    """This machine's pins, sensors and clock."""

    simulated = False

    def __init__(self) -> None:
        self.clock: Clock = SystemClock()

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        """Claim as the daemon does, so that the two never drive one fan."""
        from controller.daemon.world import RealWorld

        return RealWorld(self.clock).claim(settings)

    def open_edges(self, settings: Settings) -> Edges:
        """Open the pins without starting the fan, then the sensors."""
        from controller.daemon.world import RealWorld

        return RealWorld(self.clock).open_edges(settings, fan_speed=0.0)


class SimulatedSite:
    """A simulated tent at noon of a hot day, on a clock that doesn't wait.

    Parameters
    ----------
    settings : Settings
        The tent.
    seed : int
        Of the sensors' errors.
    """

    simulated = True

    def __init__(self, settings: Settings, seed: int = 1) -> None:
        from controller.timetable import Timetable
        from simulators.clock import FastClock
        from simulators.simulated_world import HOT_DAY, HOT_JULY
        from simulators.weather import load_weather

        day = Timetable.from_settings(settings).day(HOT_DAY)
        start_s = day.start_s + 12 * 3600.0
        self._weather = load_weather(HOT_JULY).covering(day.start_s, day.start_s + 86_400.0)
        self._seed = seed
        self.clock: Clock = FastClock(start_s)

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        """Nothing real is used."""
        return contextlib.nullcontext()

    def open_edges(self, settings: Settings) -> Edges:
        """Open real gpiozero devices on mock pins."""
        from simulators.rig.edges import open_on_rig
        from simulators.rig.simulated_rig import build_rig

        rig = build_rig(settings, self._weather, self.clock, self._seed)
        return open_on_rig(rig, settings, self.clock, fan_speed=0.0)
