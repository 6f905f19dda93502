"""How fast the fan turns, from the pulses of its speed signal."""

from __future__ import annotations

from collections import deque
from typing import Any

from controller.outputs.errors import explained
from controller.outputs.gpio import PinFactory

# Long enough to count a slow fan (300 turns a minute, 2 pulses: 60 in 6 s, so to 2 %), short
# enough to notice a stop soon.
WINDOW_S = 6.0
_LEAST_SPAN_S = 1.0
# Shorter pulses than any fan's are noise that the PWM line next to it induces: 20 000 turns a
# minute with 2 pulses are high for 750 µs (common practice, no source).
_DEBOUNCE_S = 0.0003


class Tachometer:
    """Counts falling edges and gives the speed over the last seconds.

    The edges are counted by the kernel where the pin can have that done, else by gpiozero in a
    thread of its own; time comes from the caller alone, so a fan that stands still reads 0 as soon
    as the averaging time has passed.

    Parameters
    ----------
    pin : int
        GPIO of the speed signal; an open collector, so the pin's own pull-up is switched on.
    pulses_per_turn : int
        Pulses per turn of the fan.
    pin_factory : gpiozero.Factory
        Where the pin is.
    """

    def __init__(self, pin: int, *, pulses_per_turn: int, pin_factory: PinFactory) -> None:
        from gpiozero import InputDevice

        self._name = f"the tachometer on GPIO {pin}"
        self._pulses_per_turn = pulses_per_turn
        self._count = 0
        self._counts: deque[tuple[float, int]] = deque()
        with explained(self._name):
            self._line: Any = InputDevice(pin, pull_up=True, pin_factory=pin_factory)
            # Pins of controller.outputs.gpiod_pins count by themselves.
            self._pin_counts = hasattr(self._line.pin, "start_pulse_count")
            if self._pin_counts:
                self._line.pin.start_pulse_count(_DEBOUNCE_S)
            else:
                # Not DigitalInputDevice: its events cost a call per rising edge too.
                self._line.pin.bounce = _DEBOUNCE_S
                self._line.pin.edges = "falling"
                self._line.pin.when_changed = self._count_edge

    def _count_edge(self, ticks: object, state: object) -> None:
        self._count += 1  # by gpiozero's thread alone

    def _pulse_count(self) -> int:
        return int(self._line.pin.pulse_count()) if self._pin_counts else self._count

    def rpm(self, now_s: float) -> float | None:
        """The speed over the last seconds.

        Parameters
        ----------
        now_s : float
            Monotonic time [s].

        Returns
        -------
        float or None
            Turns per minute, 0 when it stands still; None before a second has been counted.
        """
        counts = self._counts
        if counts and now_s < counts[-1][0]:
            counts.clear()  # another clock: the older counts can't be compared
        if not counts or now_s > counts[-1][0]:
            with explained(self._name):
                counts.append((now_s, self._pulse_count()))
        # The oldest count kept is the last that is a whole averaging time old.
        while len(counts) > 2 and now_s - counts[1][0] >= WINDOW_S:
            counts.popleft()
        since_s, count = counts[0]
        span_s = now_s - since_s
        if span_s < _LEAST_SPAN_S:
            return None
        return (counts[-1][1] - count) / self._pulses_per_turn / span_s * 60.0

    def close(self) -> None:
        """Release the pin."""
        if not self._line.closed:
            self._line.pin.when_changed = None
            self._line.close()
