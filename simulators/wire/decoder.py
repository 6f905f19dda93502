"""The real adafruit_dht decoder, listening to a line of our own instead of a Pi's GPIO."""

from __future__ import annotations

import importlib.util
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import ModuleType
from typing import Any

# The start signal that wakes each kind (data sheets: at least 0.8 ms and 18 ms low) [µs].
_WAKES_US = {"dht22": 800, "dht11": 18_000}


class Line:
    """The wire, with a sensor at its other end; stands in for the library's pin object.

    Parameters
    ----------
    kind : {"dht22", "dht11"}
        Which sensor.
    answer : callable or None
        Gives the pulse widths of the next answer [µs]; None leaves `next_answer` to be set.
    """

    __slots__ = ("_answer", "_wakes_us", "next_answer")

    def __init__(self, kind: str, answer: Callable[[], Sequence[int]] | None = None) -> None:
        self._wakes_us = _WAKES_US[kind]
        self._answer = answer
        self.next_answer: Sequence[int] = ()

    def start_signal(self, low_us: int) -> Sequence[int]:
        """Answer a start signal, if it is long enough to wake the sensor."""
        if low_us < self._wakes_us:
            return ()
        return self._answer() if self._answer is not None else self.next_answer


class PulseIn(deque[int]):
    """Listens to a `Line` as pulseio.PulseIn does to a pin: keeps the last `maxlen` pulses.

    adafruit_dht calls `resume`, `pause` and `deinit`.
    """

    def __init__(self, pin: Line, maxlen: int = 2, idle_state: bool = False) -> None:
        super().__init__(maxlen=maxlen)
        self._line = pin

    def resume(self, trigger_duration: int = 0) -> None:
        """Send the start signal and listen."""
        self.extend(self._line.start_signal(trigger_duration))

    def pause(self) -> None:
        """Stop listening."""

    def deinit(self) -> None:
        """Let go of the line."""


class WireTime:
    """The `time` the decoder sees; its sleeps pass at once.

    Parameters
    ----------
    now_s : float
        Where it starts [s]; not 0, which the decoder takes for "never measured".
    """

    __slots__ = ("now_s",)

    def __init__(self, now_s: float = 1.0) -> None:
        self.now_s = now_s

    def monotonic(self) -> float:
        """Seconds of this time."""
        return self.now_s

    def sleep(self, seconds: float) -> None:
        """Let seconds pass."""
        self.now_s += seconds


def _fakes() -> dict[str, ModuleType]:
    pulseio: Any = ModuleType("pulseio")
    pulseio.PulseIn = PulseIn
    # Imported by the library for its other way of listening, which is not used here.
    digitalio: Any = ModuleType("digitalio")
    digitalio.DigitalInOut = digitalio.Direction = digitalio.Pull = object
    microcontroller: Any = ModuleType("microcontroller")
    microcontroller.Pin = Line
    return {"pulseio": pulseio, "digitalio": digitalio, "microcontroller": microcontroller}


@contextmanager
def fake_blinka(**more: ModuleType) -> Iterator[None]:
    """Put fakes in place of Blinka's modules while this context lasts.

    Parameters
    ----------
    **more : ModuleType
        Further modules by name, such as `board`.
    """
    fakes = {**_fakes(), **more}
    saved = {name: sys.modules.get(name) for name in fakes}
    sys.modules.update(fakes)
    try:
        yield
    finally:
        for name, module in saved.items():
            if module is None:
                del sys.modules[name]
            else:
                sys.modules[name] = module


def load_decoder(time: WireTime) -> Any:
    """Load a copy of adafruit_dht of its own, with a faked clock and pulse input.

    Neither Blinka nor the copy stays behind in `sys.modules`.

    Parameters
    ----------
    time : WireTime
        The clock that the library goes by.

    Returns
    -------
    module
        With `DHT22(line)` and `DHT11(line)`, where a `Line` takes the place of a pin.

    Raises
    ------
    ImportError
        When adafruit-circuitpython-dht is not installed.
    """
    spec = importlib.util.find_spec("adafruit_dht")
    if spec is None or spec.loader is None:
        raise ImportError("adafruit-circuitpython-dht is not installed; pip install it")
    module: Any = importlib.util.module_from_spec(spec)
    with fake_blinka():
        spec.loader.exec_module(module)
    module.time = time
    return module
