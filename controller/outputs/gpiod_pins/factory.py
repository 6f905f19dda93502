"""gpiozero's pins on lines that the kernel holds for us."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import gpiod
from gpiod.line import Bias, Direction, Value
from gpiod.line import Edge as EdgeDetection
from gpiozero import (
    PinEdgeDetectUnsupported,
    PinFixedPull,
    PinInvalidFunction,
    PinInvalidPull,
    PinPWMUnsupported,
    PinSetInput,
)
from gpiozero.pins.local import LocalPiFactory, LocalPiPin

from controller.outputs.gpiod_pins.chip import find_header_chip
from controller.outputs.gpiod_pins.pulses import Edge, PulseCounter

# The most that the kernel queues for one line: what comes beyond is counted by its numbers.
_QUEUED_EDGES = 1024

_PULLS = {"up": Bias.PULL_UP, "down": Bias.PULL_DOWN, "floating": Bias.DISABLED}


class GpiodFactory(LocalPiFactory):  # type: ignore[misc]
    """Pins of the Pi's header, on libgpiod.

    Parameters
    ----------
    consumer : str
        Who holds the lines, as `gpioinfo` shows it.
    chip : pathlib.Path, optional
        The GPIO chip; without it that which has the header's label.

    Raises
    ------
    OSError
        If there is no such chip, or no permission to use it.
    """

    # Asked when a fan is opened: better than refusing its first speed between off and full.
    can_time_pwm = False

    def __init__(self, consumer: str = "gpiozero", chip: Path | None = None) -> None:
        super().__init__()
        self.consumer = consumer
        self.chip: gpiod.Chip | None = gpiod.Chip(str(chip or find_header_chip()))
        self.pin_class = GpiodPin

    def close(self) -> None:
        """Let every line go, and the chip."""
        super().close()
        if self.chip is not None:
            self.chip.close()
            self.chip = None


class GpiodPin(LocalPiPin):  # type: ignore[misc]
    """A line; nobody is asked for it until it is to be something.

    Parameters
    ----------
    factory : GpiodFactory
        Whose line it is.
    info : gpiozero.PinInfo
        Where it is on the header.
    """

    def __init__(self, factory: GpiodFactory, info: Any) -> None:
        super().__init__(factory, info)
        self._request: gpiod.LineRequest | None = None
        self._settings = gpiod.LineSettings()
        self._pulses: PulseCounter | None = None

    def close(self) -> None:
        """Let the line go: the Pi's kernel keeps an output's level (unless `strict_gpiod`)."""
        if self._request is not None:
            self._request.release()
            self._request = None
        self._pulses = None

    def output_with_state(self, state: bool) -> None:
        """Hold the line as an output that has this level from its first instant."""
        self._hold(
            gpiod.LineSettings(direction=Direction.OUTPUT, output_value=Value(int(bool(state))))
        )

    def input_with_pull(self, pull: str) -> None:
        """Hold the line as an input with this pull from its first instant."""
        self._hold(gpiod.LineSettings(direction=Direction.INPUT, bias=self._bias(pull)))

    def start_pulse_count(self, shortest_s: float) -> None:
        """Have the kernel queue the edges of this input, to be counted by `pulse_count`.

        Parameters
        ----------
        shortest_s : float
            Shortest time that a level must last to count [s].
        """
        self._pulses = PulseCounter(round(shortest_s * 1e9))
        self._hold(
            gpiod.LineSettings(
                direction=Direction.INPUT,
                bias=self._settings.bias,
                edge_detection=EdgeDetection.BOTH,
            )
        )

    def pulse_count(self) -> int:
        """Whole pulses since `start_pulse_count`; reads what the kernel queued."""
        if self._pulses is None or self._request is None:
            raise OSError(errno.EBADF, f"the pulses of {self!r} are not counted")
        edges: list[Edge] = []
        # Bounded, so that noise without end can't keep the caller.
        while len(edges) < 2 * _QUEUED_EDGES and self._request.wait_edge_events(0):
            edges += [Edge(e.timestamp_ns, e.line_seqno) for e in self._request.read_edge_events()]
        self._pulses.take(edges)
        return self._pulses.count

    def _hold(self, settings: gpiod.LineSettings) -> None:
        """Request the line, or change what it is; either way in one call of the kernel."""
        if self._request is not None:
            self._request.reconfigure_lines({self._number: settings})
        else:
            chip = self.factory.chip
            if chip is None:
                raise OSError(errno.EBADF, "the GPIO chip is closed")
            self._request = chip.request_lines(
                {self._number: settings},
                consumer=self.factory.consumer,
                event_buffer_size=_QUEUED_EDGES,
            )
        self._settings = settings

    def _held(self) -> gpiod.LineRequest:
        if self._request is None:
            self._hold(gpiod.LineSettings())
        assert self._request is not None
        return self._request

    def _bias(self, pull: str) -> Bias:
        if pull not in _PULLS:
            raise PinInvalidPull(f'invalid pull "{pull}" for pin {self!r}')
        if self.info.pull:
            if pull != self.info.pull:
                raise PinFixedPull(f"{self!r} has a pull-{self.info.pull} resistor on the board")
            return Bias.AS_IS
        return _PULLS[pull]

    def _get_function(self) -> str:
        direction = self._settings.direction
        if self._request is None or direction is Direction.AS_IS:
            direction = self.factory.chip.get_line_info(self._number).direction
        return "output" if direction is Direction.OUTPUT else "input"

    def _set_function(self, value: str) -> None:
        if value == "input":
            self.input_with_pull(self.info.pull or "floating")
        elif value == "output":
            self.output_with_state(self._request is not None and self._get_state())
        else:
            raise PinInvalidFunction(f'invalid function "{value}" for pin {self!r}')

    def _get_state(self) -> bool:
        return bool(self._held().get_value(self._number) is Value.ACTIVE)

    def _set_state(self, value: float) -> None:
        if self._settings.direction is not Direction.OUTPUT:
            raise PinSetInput(f"cannot set state of pin {self!r}")
        self._held().set_value(self._number, Value(int(bool(value))))

    def _get_pull(self) -> str:
        if self.info.pull:
            return str(self.info.pull)
        named = {bias: pull for pull, bias in _PULLS.items()}
        return named.get(self._settings.bias, "floating")

    def _set_pull(self, value: str) -> None:
        if self.function != "input":
            raise PinFixedPull(f"cannot set pull on non-input pin {self!r}")
        self.input_with_pull(value)

    def _set_frequency(self, value: float | None) -> None:
        if value is not None:
            raise PinPWMUnsupported(f"PWM is not supported on pin {self!r}")

    def _enable_event_detect(self) -> None:
        raise PinEdgeDetectUnsupported(f"edges of pin {self!r} are counted, not called back")

    def _disable_event_detect(self) -> None:
        """Nothing is called back."""
