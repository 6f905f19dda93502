"""Pins that fail must not end the control: their errors become events."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from controller.daemon.tick_events import Event

T = TypeVar("T")


class DeviceUse:
    """Uses outputs and inputs, and remembers which of them fail."""

    def __init__(self) -> None:
        self._failed: set[str] = set()

    @property
    def failed(self) -> tuple[str, ...]:
        """Which of them failed when they were last used."""
        return tuple(sorted(self._failed))

    def use(self, kind: str, name: str, action: Callable[[], T], events: list[Event]) -> T | None:
        """Use a device; one event when it begins to fail, one when it works again.

        Parameters
        ----------
        kind, name : str
            "input" or "output", and which.
        action : callable
            What to do with it.
        events : list of Event
            Gets the event, if there is one.

        Returns
        -------
        object or None
            What the action gave; None where it failed.
        """
        try:
            value = action()
        except Exception as error:  # any error of a pin library must not stop the control
            if name not in self._failed:
                self._failed.add(name)
                events.append(Event(f"{kind}.failed", "error", {kind: name, "error": str(error)}))
            return None
        if name in self._failed:
            self._failed.discard(name)
            events.append(Event(f"{kind}.recovered", "info", {kind: name}))
        return value
