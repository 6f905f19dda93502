"""A stand-in for libgpiod's Python bindings, version 2, over a kernel that keeps its own rules.

As much as `controller.outputs.gpiod_pins` uses (names as in the bindings' own documentation, from
memory and from their source 2.5). `driven` lists every level a line was driven to, and "float" when
nothing drove it.
"""

from __future__ import annotations

import errno
import os
import types
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, NamedTuple


class Value(Enum):
    INACTIVE, ACTIVE = 0, 1


class Direction(Enum):
    AS_IS, INPUT, OUTPUT = 1, 2, 3


class Bias(Enum):
    AS_IS, UNKNOWN, DISABLED, PULL_UP, PULL_DOWN = 1, 2, 3, 4, 5


class EdgeDetection(Enum):
    NONE, RISING, FALLING, BOTH = 1, 2, 3, 4


@dataclass
class LineSettings:
    direction: Direction = Direction.AS_IS
    edge_detection: EdgeDetection = EdgeDetection.NONE
    bias: Bias = Bias.AS_IS
    output_value: Value = Value.INACTIVE


class Event(NamedTuple):
    timestamp_ns: int
    event_type: Any
    line_seqno: int

    class Type(Enum):
        RISING_EDGE, FALLING_EDGE = 1, 2


@dataclass
class Line:
    """One line of the kernel."""

    driven: list[int | str] = field(default_factory=lambda: ["float"])
    level: int = 0
    consumer: str = ""
    settings: LineSettings = field(default_factory=LineSettings)
    queue: deque[Event] = field(default_factory=deque)
    edges: int = 0

    def drive(self, level: int | str) -> None:
        if self.driven[-1] != level:
            self.driven.append(level)
        if isinstance(level, int):
            self.level = level

    def configure(self, settings: LineSettings) -> None:
        if settings.direction is Direction.OUTPUT:
            self.drive(settings.output_value.value)
        elif settings.direction is Direction.INPUT:
            self.drive("float")
            self.level = {Bias.PULL_UP: 1, Bias.PULL_DOWN: 0}.get(settings.bias, self.level)
        self.settings = settings


class _Request:
    def __init__(self, line: Line, room: int) -> None:
        self._line: Line | None = line
        line.queue = deque(maxlen=min(room, 1024))

    @property
    def _held(self) -> Line:
        assert self._line is not None, "used after its release"
        return self._line

    def release(self) -> None:
        self._held.consumer = ""  # the level stays: so does the Pi kernel's
        self._line = None

    def reconfigure_lines(self, config: dict[int, LineSettings]) -> None:
        (settings,) = config.values()
        self._held.configure(settings)

    def get_value(self, number: int) -> Value:
        return Value(self._held.level)

    def set_value(self, number: int, value: Value) -> None:
        if self._held.settings.direction is not Direction.OUTPUT:
            raise OSError(errno.EPERM, os.strerror(errno.EPERM))
        self._held.drive(value.value)

    def wait_edge_events(self, timeout: float) -> bool:
        assert timeout == 0, "a tick must not wait"
        return bool(self._held.queue)

    def read_edge_events(self) -> list[Event]:
        queue = self._held.queue
        return [queue.popleft() for _ in range(min(64, len(queue)))]


class FakeKernel:
    """The GPIO chips of a machine.

    Attributes
    ----------
    lines : dict of (int, Line)
        The lines of the header's chip.
    refused : set of str
        Chips that this user may not open, by file name.
    """

    def __init__(self) -> None:
        self.labels: dict[str, str] = {}
        self.lines: dict[int, Line] = {}
        self.refused: set[str] = set()
        self.open_chips = 0

    def line(self, number: int) -> Line:
        return self.lines.setdefault(number, Line())

    def move(self, number: int, levels: Iterator[tuple[int, int]]) -> None:
        """Have something outside move a line: (monotonic time [ns], level)."""
        line = self.line(number)
        for at_ns, level in levels:
            if level == line.level:
                continue
            line.level = level
            if line.settings.edge_detection is EdgeDetection.BOTH:
                line.edges += 1
                kind = Event.Type.RISING_EDGE if level else Event.Type.FALLING_EDGE
                line.queue.append(Event(at_ns, kind, line.edges % 2**32))

    def modules(self) -> dict[str, types.ModuleType]:
        """The modules `gpiod` and `gpiod.line` on this kernel."""
        kernel = self

        class Chip:
            def __init__(self, path: str) -> None:
                name = path.rpartition("/")[2]
                if name in kernel.refused:
                    raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), path)
                self._label = kernel.labels[name]
                kernel.open_chips += 1

            def __enter__(self) -> Chip:
                return self

            def __exit__(self, *_: object) -> None:
                self.close()

            def close(self) -> None:
                kernel.open_chips -= 1

            def get_info(self) -> Any:
                return types.SimpleNamespace(label=self._label)

            def get_line_info(self, number: int) -> Any:
                driven = kernel.line(number).driven[-1]
                direction = Direction.INPUT if driven == "float" else Direction.OUTPUT
                return types.SimpleNamespace(direction=direction)

            def request_lines(
                self, config: dict[int, LineSettings], *, consumer: str, event_buffer_size: int
            ) -> _Request:
                ((number, settings),) = config.items()
                line = kernel.line(number)
                if line.consumer:
                    raise OSError(errno.EBUSY, os.strerror(errno.EBUSY))
                line.consumer = consumer
                request = _Request(line, event_buffer_size)
                line.configure(settings)
                return request

        gpiod, line = types.ModuleType("gpiod"), types.ModuleType("gpiod.line")
        for module, contents in (
            (gpiod, {"Chip": Chip, "LineSettings": LineSettings, "LineRequest": _Request}),
            (
                line,
                {"Value": Value, "Direction": Direction, "Bias": Bias, "Edge": EdgeDetection},
            ),
        ):
            vars(module).update(contents)
        vars(gpiod)["line"] = line
        return {"gpiod": gpiod, "gpiod.line": line}
